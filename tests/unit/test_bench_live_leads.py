"""Ground and battery stand for the leads, not for the nodes that the slow converter reads."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from sweepboard import wire
from sweeprig.bench.readings.live import RigVolts, levels
from sweeprig.calibration.nominal import nominal_calibration
from sweeprig.capture.model import SweepSetup
from sweeprig.frontend import front_end
from sweeprig.frontend.tables import parts, table
from sweeprig.link.messages import Records, SlowReading

RIG = {"build": "full", "chip": "rp2040", "uid": "00", "window": 166, "conversion_hz": 500_000.0}


def seen(*slow: tuple[int, float]) -> Any:
    n = 40
    records = Records(
        np.arange(n, dtype=np.int64),
        np.full((n, 3), 1000 * 166, np.uint32),
        np.full((n, 3), 999, np.uint16),
        np.full((n, 3), 1001, np.uint16),
        np.full(n, 0xFFFF, np.uint16),
        np.zeros(n, np.uint16),
    )
    client: Any = SimpleNamespace(hello=lambda: RIG)
    volts = RigVolts(client, SweepSetup(), nominal_calibration(RIG), front_end("full"))
    return levels(volts, [records, *(SlowReading(0, q, 0, round(v * 1e6)) for q, v in slow)])


def test_the_battery_is_that_of_its_lead() -> None:
    p = parts("full")
    top = p["r_battery_guard"].value + p["r_battery_top"].value
    bottom = p["r_battery_bottom"].value
    node = 12.6 * bottom / (top + bottom)  # a divider: Ohm
    assert seen((wire.SLOW_BATTERY, node)).battery_v == pytest.approx(12.6, abs=1e-3)


def test_sensor_ground_is_taken_back_through_its_two_resistors() -> None:
    p = parts("full")
    sense, lift = p["r_ground_sense"].value, p["r_ground_lift"].value
    rail = float(table()["rail"]["nominal_v"])
    node = (0.080 / sense + rail / lift) / (1 / sense + 1 / lift)  # superposition at the node
    assert seen((wire.SLOW_GROUND, node)).ground_v == pytest.approx(0.080, abs=1e-4)


def test_what_was_not_read_is_not_known() -> None:
    assert seen().battery_v is None
    assert seen().ground_v is None
