"""Slow readings of the precise converter: from its input nodes to what is on the leads."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from sweepboard import wire
from sweeprig.capture.model import Capture, FloatArray
from sweeprig.frontend import FrontEnd
from sweeprig.frontend.supply import battery_ohm
from sweeprig.frontend.tables import parts, table
from sweeprig.link.messages import SlowReading

NOT_CONNECTED_V = 1.0  # a ground lead that hangs free reads the lift's 3.3 V
CHIP_WORKS_C = (
    -40.0,
    125.0,
)  # °C of a chip that answers, from memory: the widest range that such chips are sold for
RAIL_TOL = 0.01  # of the board's 3.3 V, relative half-width: as of the converter's reference in parts.toml


def ground_of_node(node_v: FloatArray, front_end: FrontEnd) -> FloatArray:
    """Return sensor ground against rig ground [V] from the node between its sense and lift resistors [V].

    node = (ground R_lift + rail R_sense) / (R_sense + R_lift), so a tolerance of the rail shifts it whole.
    """
    p = parts(front_end.build)
    sense, lift = p["r_ground_sense"].value, p["r_ground_lift"].value
    rail = float(table()["rail"]["nominal_v"])
    return np.asarray((node_v * (sense + lift) - rail * sense) / lift)


def ground_half_width_v(front_end: FrontEnd) -> float:
    """Return what the tolerance of the rail makes of sensor ground [V], half-width."""
    p = parts(front_end.build)
    share = p["r_ground_sense"].value / p["r_ground_lift"].value
    return RAIL_TOL * float(table()["rail"]["nominal_v"]) * share


def battery_of_node(node_v: float, front_end: FrontEnd) -> float:
    """Return the battery's volts from the node of its divider [V]."""
    top, bottom = battery_ohm(parts(front_end.build))
    return node_v * (top + bottom) / bottom


def battery_readings(slow: Sequence[SlowReading], front_end: FrontEnd) -> list[tuple[int, float]]:
    """Return (record index, battery [V]) of its good readings, inf above the divider's range; [] without a lead."""
    if "battery" not in front_end.capabilities:
        return []
    most = _most_node_v()
    return [
        (s.index, math.inf if s.value / 1e6 >= most else battery_of_node(s.value / 1e6, front_end))
        for s in slow
        if s.quantity == wire.SLOW_BATTERY and (s.status == 0 or s.value / 1e6 >= most)
    ]


def _most_node_v() -> float:
    """Return where the clamp of a divided node begins [V]: what reads this may be anything above it."""
    return (1 - RAIL_TOL) * float(table()["rail"]["nominal_v"])


def most_battery_v(front_end: FrontEnd) -> float:
    """Return the most that the battery's divider can show [V]."""
    return battery_of_node(_most_node_v(), front_end)


def readings(slow: tuple[SlowReading, ...], quantity: int) -> tuple[NDArray[np.int64], FloatArray]:
    """Return (record index, value in millionths of the wire's unit) of the good readings of a quantity, (m,)."""
    good = [s for s in slow if s.quantity == quantity and s.status == 0]
    return np.array([s.index for s in good], np.int64), np.array([s.value / 1e6 for s in good], np.float64)


def board_temperature_c(capture: Capture) -> float | None:
    """Return the board's mean temperature over a capture [°C]; None where it was not read.

    Readings at which no chip works are left out.
    """
    values = _possible(_temperatures_c(capture))
    return float(values.mean()) if values.size else None


def impossible_temperatures(capture: Capture) -> int:
    """Return how many readings of the board's temperature no chip could have made."""
    values = _temperatures_c(capture)
    return values.size - _possible(values).size


def _temperatures_c(capture: Capture) -> FloatArray:
    return 1e3 * readings(capture.slow, wire.SLOW_TEMPERATURE)[1]


def _possible(values_c: FloatArray) -> FloatArray:
    low, high = CHIP_WORKS_C
    return values_c[(values_c >= low) & (values_c <= high)]


def ground_at_sensor(capture: Capture, front_end: FrontEnd) -> FloatArray | None:
    """Return sensor ground [V] at each record (n,), each reading held until the next; None where not observed.

    Only of a tapped sensor: powered, sensor ground is the rig's. A level that the rail's tolerance alone can make
    is taken as zero; movements about it are kept.
    """
    tapped = str(capture.setup.hookup) == "tapped"
    at, node_v = readings(capture.slow, wire.SLOW_GROUND)
    if not tapped or not at.size or "ground-sense" not in front_end.capabilities:
        return None
    ground = ground_of_node(node_v, front_end)
    level = float(np.median(ground))
    if abs(level) > NOT_CONNECTED_V:
        return None
    ground = ground - level if abs(level) <= ground_half_width_v(front_end) else ground
    place = np.clip(np.searchsorted(at, capture.records.index, side="right") - 1, 0, at.size - 1)
    return np.asarray(ground[place])
