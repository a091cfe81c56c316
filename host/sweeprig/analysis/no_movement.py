"""A signal that never moved, or of which it cannot be told."""

from __future__ import annotations

import numpy as np

from sweepboard.wire import CHANNEL_NAMES
from sweeprig.analysis.model import Cause, Code, Finding

AT_RAIL_PERCENT = 6.0  # % of supply: all of a signal so near a rail is a short or an open wire
STILL_SHARE = 0.02  # of supply: what moves by less does not move


def stays_at_rail(low_v: float, high_v: float, supply_v: float) -> bool:
    """Whether a signal between these levels never leaves one rail's neighbourhood."""
    near = AT_RAIL_PERCENT / 100 * supply_v
    return high_v < near or low_v > supply_v - near


def no_movement(level_v: float, supply_v: float, moved_v: float, channel: int = 0) -> Finding:
    """One finding for a signal that never moved."""
    numbers = {"level_v": level_v, "moved_v": moved_v}
    share = 100 * level_v / supply_v if supply_v > 0 else np.nan
    level = f"{level_v:z.3f} V ({share:.0f} % of supply)"
    text = f"{CHANNEL_NAMES[channel]} stays at {level} and moves by {moved_v * 1e3:z.0f} mV"
    if share < AT_RAIL_PERCENT / 2:
        step = (
            "Look for a short to ground, an open signal wire or a missing supply; the connection test shows which "
            "(`sweeprig check`). On a full or driven rig jumper J1 must be at LEAD, not at RAMP."
        )
        return Finding(Code.STUCK_LOW, Cause.WIRING, channel, None, text, step, numbers=numbers)
    if share > 100 - AT_RAIL_PERCENT / 2:
        step = "Look for a short between signal and supply, and for an open ground wire."
        return Finding(Code.STUCK_HIGH, Cause.WIRING, channel, None, text, step, numbers=numbers)
    if moved_v >= AT_RAIL_PERCENT / 100 * supply_v:
        return _lost(moved_v, channel)
    text += ": the lever did not move, or it no longer moves the sensor"
    step = "Move the lever over its whole travel; if you did, check the coupling between lever and sensor."
    return Finding(Code.NO_MOVEMENT, Cause.MOUNTING, channel, None, text, step, numbers=numbers)


def _lost(moved_v: float, channel: int) -> Finding:
    """A signal that changes from reading to reading by as much as a lever would change it."""
    text = (
        f"{CHANNEL_NAMES[channel]} goes to and fro by {moved_v * 1e3:z.0f} mV from reading to reading: no movement of "
        "the lever shows in that. Interference does so, and strokes that are too quick for the readings"
    )
    step = (
        "Move the leads away from motors, alternator and mains; check screen and ground. Sweep again slowly, with at "
        "least 500 readings a second."
    )
    numbers = {"moved_v": moved_v}
    return Finding(Code.INTERFERENCE, Cause.INTERFERENCE, channel, None, text, step, "doubt", numbers)
