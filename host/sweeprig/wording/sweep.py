"""A sweep in words."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sweeprig.bench.sweep.prompts import SweepState


NEVER_RESTS = "The signal never rests. Lever held still? Then end the sweep and run: sweeprig check"
AT_RAIL = "The signal stays at {}: open or shorted wire? Move the lever; if it stays there, end and run: sweeprig check"

MISSING_ONE = "Hold still {:.1f} s at the other stop: no rest there so far."
MISSING = {
    ("closed",): "Hold still {:.1f} s at the closed stop: no rest there so far.",
    ("open",): "Hold still {:.1f} s at the open stop: no rest there so far.",
    ("closed", "open"): "Hold still {:.1f} s at each stop: no rest there so far.",
    ("open", "closed"): "Hold still {:.1f} s at each stop: no rest there so far.",
}


def clock_words(state: SweepState, *, short: bool = False) -> str:
    """Return the time of a sweep, or how long it waits to begin; `short`: without its longest."""
    if state.waiting:
        return "waiting" if short else f"waiting, ends in {math.ceil(state.wait_left_s)} s"
    if short:
        return f"{state.seconds:5.1f} s"
    of = f"{state.plan.longest_s:.0f}"
    return (
        f"{state.seconds:5.1f} of {of} s" if state.plan.timed else f"{state.seconds:5.1f} s, at most {of} s"
    )


def under_line(state: SweepState) -> str:
    """Return what the large words mean just now: how long, how slowly, or what starts the sweep."""
    if state.unrest_s or state.at_rail:
        return NEVER_RESTS if state.unrest_s else AT_RAIL.format(state.at_rail)
    if state.armed:
        return f"Move the lever to begin: about {state.plan.stroke_s:.1f} s to the other stop."
    if state.step == "DONE":
        return "The verdict follows."
    if state.step in ("HOLD CLOSED", "HOLD OPEN", "HOLD STILL"):
        return f"{math.ceil(10 * state.hold_left_s) / 10:.1f} s more" if state.hold_left_s > 0 else "Good."
    return _on_the_way(state)


def _on_the_way(state: SweepState) -> str:
    """Return where the lever goes, and how slowly."""
    plan = state.plan
    if state.lacking:
        return MISSING.get(state.lacking, MISSING_ONE).format(plan.hold_s)
    if state.step == "FULL STROKES":
        return f"Stop to stop, about {plan.stroke_s:.1f} s each."
    good = f"{plan.fastest_s:.1f} to {plan.slowest_s:.1f} s is accepted"
    return f"Aim for {plan.stroke_s:.1f} s from stop to stop; {good}."


def strokes_words(state: SweepState) -> str:
    """Return strokes done of strokes wanted."""
    over = state.strokes > state.plan.strokes
    if over:
        done = f"strokes {state.strokes}, {state.plan.strokes} are enough"
        return f"{done}, goes on to {state.plan.longest_s:.0f} s" if state.plan.timed else done
    done = f"strokes {state.strokes} of {state.plan.strokes}"
    left = state.plan.strokes - state.strokes
    return f"{done}, {left} more to decide" if state.added_strokes and left else done


def pace_words(state: SweepState) -> str:
    """Return how fast the stroke is; "" where there is none yet."""
    if state.pace is None or state.stroke_s is None:
        return ""
    places = (
        2 if state.stroke_s < 1 else 1
    )  # near the limit one place would call 0.4 s both good and too fast
    return f"pace: {state.pace}, {state.stroke_s:.{places}f} s"


def ends_words(state: SweepState) -> tuple[str, ...]:
    """Return the ends seen so far, the supply once there is a reading, and lost records where there are any."""
    reading = state.reading
    if reading.low_v is None or reading.high_v is None:
        return ("nothing seen so far",)
    supply = "not observed" if reading.supply_v is None else f"{reading.supply_v:z.3f} V"
    lost = (f"{reading.n_lost} ms LOST",) if reading.n_lost else ()
    return (f"seen {reading.low_v:z.3f} to {reading.high_v:z.3f} V", f"supply {supply}", *lost)


def dropouts_words(state: SweepState) -> str:
    """Return how many dropouts came so far, and where the last one was."""
    if not state.dropouts:
        return "no dropout so far"
    place = (
        "" if state.dropout_percent is None else f", the last near {state.dropout_percent:.0f} % of travel"
    )
    return f"DROPOUTS {state.dropouts}{place}"
