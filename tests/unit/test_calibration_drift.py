"""What the front end moves between a calibration and a sweep: a line of the budget each, checked on drawn rigs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sweepboard import wire
from sweeprig.calibration.drift import AGEING, DIVIDER, GROUND_LEAD, LEAKAGE, drift_lines
from sweeprig.calibration.model import BudgetLine, Calibration
from sweeprig.calibration.nominal import nominal_calibration
from sweeprig.calibration.uncertainty import calibration_lines, combine
from sweeprig.frontend import front_end
from sweeprig.twin.circuit import settled
from sweeprig.twin.rig import Rig, RigSettings
from sweeprig.twin.sensors import load_sensor, stiff

ON = wire.OUT_SUPPLY
VOLTS = (0.45, 4.3)


def lines(
    build: str, value_v: float, now_c: float | None, calibration_c: float | None = 25.0
) -> dict[str, BudgetLine]:
    calibration = Calibration("line", "x", build, "rp2040",
        nominal_calibration({"build": build, "chip": "rp2040"}).channels,
                temperature_c=calibration_c)  # fmt: skip
    found = drift_lines(value_v, calibration=calibration, front_end=front_end(build), temperature_c=now_c)
    return {b.name: b for b in found}


def node_v(build: str, volts: float, seed: int, celsius: float) -> float:
    """Volts at the divided node of signal A of one drawn rig, all leads on a stiff voltage."""
    rig = Rig(stiff(volts), RigSettings(rig_seed=seed, build=build, temperature_c=celsius))
    net = rig.networks(ON)[0]
    return float(settled(net, np.array([volts]), np.array([1.0]))[1][0])


@pytest.mark.parametrize("build", ["plain", "full"])
@pytest.mark.parametrize("volts", VOLTS)
def test_15_kelvin_are_held_by_divider_and_leakage(build: str, volts: float) -> None:
    own = lines(build, volts, 40.0)
    u95 = combine((own[DIVIDER], own[LEAKAGE])).u95
    moved = []
    for seed in range(200):
        cold, warm = (node_v(build, volts, seed, c) for c in (25.0, 40.0))
        moved.append((warm - cold) / front_end(build).divider_ratio)
    assert np.mean(np.abs(moved) <= u95) >= 0.93
    assert u95 < 4 * np.std(moved)  # nor is it far too wide


def test_nothing_moves_at_the_temperature_of_the_calibration() -> None:
    same = lines("plain", 4.3, 25.0)
    assert DIVIDER not in same
    assert LEAKAGE not in same
    assert lines("plain", 4.3, None)[DIVIDER].u == pytest.approx(lines("plain", 4.3, 35.0)[DIVIDER].u)


def test_an_uncalibrated_rig_has_all_of_its_leakage() -> None:
    """Through R1 parallel R2, 6 kohm, over a ratio of 0.6."""
    end, calibration = front_end("plain"), nominal_calibration({"build": "plain", "chip": "rp2040"})
    found = drift_lines(0.45, calibration=calibration, front_end=end, temperature_c=25.0)
    leak = next(b for b in found if b.name == LEAKAGE)
    assert leak.contribution == pytest.approx(end.clamp_leakage_a * 6e3 / 0.6 / np.sqrt(3), rel=1e-3)
    assert AGEING not in {b.name for b in found}


def test_the_ground_lead_drops_what_a_sensor_draws() -> None:
    """5 mA through 0.1 ohm; a rig that feeds 1 kohm reads all of it too much, which the line holds."""
    half = lines("full", 0.45, 25.0)[GROUND_LEAD].u * np.sqrt(3)
    assert half == pytest.approx(0.5e-3)
    rig = Rig(replace(load_sensor("good"), track_ohm=1000.0), RigSettings(rig_seed=3))
    assert 0.0 < rig.ground_drop_v(ON) <= half
    assert rig.ground_drop_v(wire.OUT_TAPPED) == 0.0


def test_every_budget_of_a_calibrated_rig_has_the_lines() -> None:
    calibration = Calibration("line", "x", "plain", "rp2040",
        nominal_calibration({"build": "plain", "chip": "rp2040"}).channels,
                temperature_c=25.0)  # fmt: skip
    names = {
        b.name
        for b in calibration_lines(
            4.3, calibration=calibration, channel=0, front_end=front_end("plain"), temperature_c=40.0
        )
    }
    assert {DIVIDER, LEAKAGE, GROUND_LEAD, AGEING} <= names
