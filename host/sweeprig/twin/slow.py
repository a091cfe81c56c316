"""Slow, precise readings of a full build, as the board would send them."""

from __future__ import annotations

import numpy as np

from sweepboard import wire
from sweeprig.frontend.supply import battery_ohm
from sweeprig.frontend.tables import table
from sweeprig.twin.circuit import parts_of, settled
from sweeprig.twin.rig import Rig
from sweeprig.twin.scene import Knots
from sweeprig.twin.sources import sources

MONITOR_FULL_V = 4.096
MONITOR_LSB_V = MONITOR_FULL_V / 32768
MONITOR_NOISE_V = 60e-6  # from memory: about half a step
OVER = 1


def readings(
    rig: Rig, knots: Knots, outputs: int, rng: np.random.Generator, *, battery_v: float
) -> list[tuple[int, int, int]]:
    """Return (quantity, status, value) for all that this build measures: microvolts at the monitor's input."""
    out = [(wire.SLOW_TEMPERATURE, 0, round((rig.settings.temperature_c + rng.normal(0, 0.2)) * 1000))]
    if not rig.front_end.has_monitor:
        return out
    for quantity, volts in _inputs(rig, knots, outputs, battery_v):
        seen = (volts + rng.normal(0, MONITOR_NOISE_V)) * rig.monitor_gain
        code = round(seen / MONITOR_LSB_V)
        out.append((quantity, OVER if code > 32767 else 0, round(min(code, 32767) * MONITOR_LSB_V * 1e6)))
    if rig.spec.own_supply_v is None and not outputs & wire.OUT_TAPPED:
        current = rig.supply_v(outputs) / rig.supply_load_ohm
        out.append((wire.SLOW_SUPPLY_CURRENT, 0, round(current * 1e6)))
    return out


def _inputs(rig: Rig, knots: Knots, outputs: int, battery_v: float) -> list[tuple[int, float]]:
    given, nets = sources(rig, knots, outputs), rig.networks(outputs)
    low, high = rig.limits()
    volts = []
    for c in range(wire.CHANNELS):
        source = given.normal[c]
        node = settled(nets[c], source.e_v[-1:], source.g_s[-1:])[1][0] + rig.board.offset_v[c]
        volts.append(float(np.clip(node, low, high)))
    p = parts_of(rig.front_end.build)
    sense, lift = p["r_ground_sense"].value, p["r_ground_lift"].value
    rail = float(table()["rail"]["nominal_v"])
    ground = (knots.ground_v[-1] * lift + rail * sense) / (sense + lift)
    top, bottom = battery_ohm(p)
    return [
        (wire.SLOW_SIGNAL_A, volts[0]), (wire.SLOW_SIGNAL_B, volts[1]), (wire.SLOW_SUPPLY, volts[2]),
        (wire.SLOW_GROUND, float(ground)), (wire.SLOW_BATTERY, battery_v * bottom / (top + bottom)),
    ]  # fmt: skip
