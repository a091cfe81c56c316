"""A live reading in words."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sweeprig.bench.readings.watch import WatchState

FLAG_WORDS = {
    "clear": "CLEAR of ground and supply",
    "near-lower": "NEAR GROUND",
    "at-lower": "AT GROUND",
    "near-upper": "NEAR THE SUPPLY",
    "at-upper": "AT THE SUPPLY",
}
ZOOM = 8  # half widths of a target's window that its enlarged scale reaches
NO_READING = "NO READING"
FIRST_READING = "WAITING FOR THE FIRST READING"


def near_scale(low_v: float, target_v: float, high_v: float) -> tuple[float, float]:
    """Return both ends [V] of the enlarged scale around a target."""
    reach = ZOOM * (high_v - low_v) / 2
    return target_v - reach, target_v + reach


def volts(value: float | None, digits: int = 3) -> str:
    """Return volts without their unit; dashes where there are none."""
    return "-.---" if value is None or not math.isfinite(value) else f"{value:z.{digits}f}"


def flag_mark(state: WatchState) -> str:
    """Return what tells a flag without colour: !! at a rail, ! near one."""
    where = state.flag.where
    return "" if where == "clear" else "!!" if where.startswith("at") else "!"


def flag_words(state: WatchState) -> tuple[str, str]:
    """Return where the reading stands, and the detail; "" where there is none."""
    if state.reading_v is None:
        return FIRST_READING if state.low_v is None else NO_READING, ""
    return FLAG_WORDS[state.flag.where], state.flag.text


def facts(state: WatchState) -> list[tuple[str, ...]]:
    """Return each fact, the longest way of saying it first; while a sensor is turned only those that matter then."""
    supply = "not observed" if state.supply_v is None else f"{state.supply_v:z.3f} V"
    share = ""
    if state.supply_v and state.reading_v is not None:
        share = f" (signal {100 * state.reading_v / state.supply_v:.1f} %)"
    spikes = f"{volts(state.spike_low_v)} to {volts(state.spike_high_v)} V"
    moved = [
        (f"lever: {state.follows}",),
        (f"sense: {state.sense} ({state.sense_why})", f"sense: {state.sense}"),
        (f"range {volts(state.low_v)} to {volts(state.high_v)} V",),
        (f"single conversions {spikes}", f"single {spikes}"),
    ]
    return [
        (f"supply {supply}{share}", f"supply {supply}"),
        *([] if state.signal_b_v is None else [(f"signal B {state.signal_b_v:z.3f} V",)]),
        *(moved if state.target is None else []),
        *([(f"{state.n_lost} ms LOST",)] if state.n_lost else []),
    ]
