"""A signal that goes to a rail at once and stays there: a plug or wire that came off, no end of the travel."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sweeprig.analysis.events import RawEvent
from sweeprig.analysis.model import FloatArray
from sweeprig.capture.model import BoolArray

NEAR_PERCENT = 1.5  # % of supply: at a rail
JUMP_PERCENT = 5.0  # % of supply: as far as it was from that rail before or after
SPEEDS = 4.0  # windows of the movement beside it, at most
LEAST_S = 0.02  # s at the rail
OFF_S = 0.5  # s; as long as this, or to the end of the sweep, it is off and no dropout


@dataclass(frozen=True)
class Off:
    """Windows start..stop at a rail."""

    start: int
    stop: int
    high: bool  # at the supply, else at ground
    lasts: bool  # too long for a dropout


def off_runs(mean_v: FloatArray, *, supply_v: float, window_s: float) -> tuple[Off, ...]:
    """Return the times at a rail that a jump leads to or from, in order."""
    near, out = NEAR_PERCENT / 100 * supply_v, []
    for high, at in ((False, mean_v < near), (True, mean_v > supply_v - near)):
        for a, b in np.flatnonzero(np.diff(np.pad(at.astype(np.int8), 1))).reshape(-1, 2).tolist():
            rail = supply_v if high else 0.0
            if (b - a) * window_s >= LEAST_S and _jumped(mean_v, a, b, rail, supply_v):
                lasts = (b - a) * window_s >= OFF_S or b >= mean_v.size - 1
                out.append(Off(a, b, high, lasts))
    return tuple(sorted(out, key=lambda o: o.start))


def _jumped(mean_v: FloatArray, a: int, b: int, rail_v: float, supply_v: float) -> bool:
    """Whether the level before or after was far from the rail and no movement made the way."""
    sides = (mean_v[max(0, a - 9) : a][::-1], mean_v[b : b + 9])
    return any(_far(side, rail_v, supply_v) for side in sides)


def _far(side: FloatArray, rail_v: float, supply_v: float) -> bool:
    """`side`: levels away from the rail, the nearest in time first; the first of them may be on the edge."""
    if side.size < 3:
        return False
    speed = float(np.median(np.abs(np.diff(side[1:])))) if side.size > 3 else 0.0
    return abs(float(side[1]) - rail_v) > JUMP_PERCENT / 100 * supply_v + SPEEDS * speed


def unexplained(events: tuple[RawEvent, ...], runs: tuple[Off, ...]) -> tuple[RawEvent, ...]:
    """Return the events without the edges of what is off for good."""
    lasting = [r for r in runs if r.lasts]
    return tuple(
        e for e in events if not any(e.start <= r.stop + 3 and e.stop >= r.start - 3 for r in lasting)
    )


def windows_of(runs: tuple[Off, ...], n: int) -> BoolArray:
    """Which of n windows belong to one of them, with one on either side."""
    out = np.zeros(n, dtype=bool)
    for run in runs:
        out[max(0, run.start - 1) : run.stop + 1] = True
    return out
