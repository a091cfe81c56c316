"""A signal that goes to a rail at once and stays there: a plug or wire that came off, no end of the travel."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from sweeprig.analysis.events import RawEvent
from sweeprig.analysis.model import FloatArray
from sweeprig.capture.model import BoolArray

NEAR_PERCENT = 1.5  # % of supply: at a rail
JUMP_PERCENT = 5.0  # % of supply: as far as it was from that rail before or after
SPEEDS = 4.0  # windows of the movement beside it, at most
SPEEDS_BOTH = 1.6  # of that before and of that after, where it goes and comes back
LEAST_S = 0.0199  # s at the rail, 0.02 less what a step of time is rounded by
STAYS_S = 0.1  # s that each lasts at least: a worn spot is passed sooner. Own choice, no source
FEWEST_TIMES = 3  # at a rail, from which on one place shows; own choice, no source
MOVING_S, MOVED_PERCENT = (
    0.03,
    0.5,
)  # s before it goes, and % of supply that the signal moves in them at least
ONE_PLACE_PERCENT = 1.0  # % of supply that the levels may differ by, beside a reading's movement
OFF_S = 0.5  # s; as long as this, or to the end of the sweep, it is off and no dropout


@dataclass(frozen=True)
class Off:
    """Windows start..stop at a rail."""

    start: int
    stop: int
    high: bool  # at the supply, else at ground
    lasts: bool  # too long for a dropout
    at_place: bool = False  # it went there at the place of all the others, while the lever moved
    sinks: bool = False  # goes there slowly, as what a filter holds


def off_runs(mean_v: FloatArray, *, supply_v: float, window_s: float) -> tuple[Off, ...]:
    """Return the times at a rail that a jump leads to or from, in order."""
    out = []
    for a, b, high in _at_rails(mean_v, supply_v, window_s):
        if is_jump(mean_v, a, b, high=high, supply_v=supply_v):
            lasts = (b - a) * window_s >= OFF_S or b >= mean_v.size - 1
            out.append(Off(a, b, high, lasts))
    return tuple(sorted(out, key=lambda o: o.start))


def is_jump(mean_v: FloatArray, a: int, b: int, *, high: bool, supply_v: float) -> bool:
    """Whether a jump leads to or from windows a..b at a rail: from further off than the movement beside them makes."""
    return any(_far(side, high, supply_v, SPEEDS) for side in _sides(mean_v, a, b))


def at_one_place(
    runs: tuple[Off, ...], mean_v: FloatArray, *, supply_v: float, window_s: float
) -> tuple[Off, ...]:
    """Return the times at a rail, marked where each began at one place in movement: a track that ends there.

    A wire that comes off does so anywhere. How the signal came back does not count: a spring is too quick to show it.
    """
    back = max(1, round(MOVING_S / window_s))
    left = [(r, mean_v[max(0, r.start - 2 - back) : max(0, r.start - 1)]) for r in runs]
    if len(left) < FEWEST_TIMES or any(before.size < 2 for _, before in left):
        return runs
    steps = [float(np.median(np.abs(np.diff(before)))) for _, before in left]
    moved = min(abs(float(before[-1] - before[0])) for _, before in left)
    levels = [float(before[-1]) for _, before in left]
    near = ONE_PLACE_PERCENT / 100 * supply_v + max(steps)
    brief = min(r.stop - r.start for r in runs) * window_s < STAYS_S
    if brief or moved < MOVED_PERCENT / 100 * supply_v or max(levels) - min(levels) > near:
        return runs
    return tuple(replace(r, lasts=True, at_place=True) for r in runs)


def gone_and_back(mean_v: FloatArray, *, supply_v: float, window_s: float) -> tuple[RawEvent, ...]:
    """Return as events the times at a rail between two jumps, in single readings too far apart to show edges.

    No lever goes from far off to a rail and back from one reading to the next.
    """
    out = []
    for a, b, high in _at_rails(mean_v, supply_v, window_s):
        sides = _sides(mean_v, a, b)
        if (b - a) * window_s < OFF_S and all(_far(side, high, supply_v, SPEEDS_BOTH) for side in sides):
            path, level = float(mean_v[a - 1] + mean_v[b]) / 2, float(np.median(mean_v[a:b]))
            depth, seconds = level - path, (b - a) * window_s
            out.append(
                RawEvent(a, b, depth, level, seconds, abs(depth) / (NEAR_PERCENT / 100 * supply_v), path)
            )
    return tuple(sorted(out, key=lambda e: e.start))


def _at_rails(mean_v: FloatArray, supply_v: float, window_s: float) -> list[tuple[int, int, bool]]:
    """Windows a..b for LEAST_S or longer at ground, then those at the supply (True)."""
    near, out = NEAR_PERCENT / 100 * supply_v, []
    for high, at in ((False, mean_v < near), (True, mean_v > supply_v - near)):
        runs = np.flatnonzero(np.diff(np.pad(at.astype(np.int8), 1))).reshape(-1, 2).tolist()
        out += [(a, b, high) for a, b in runs if (b - a) * window_s >= LEAST_S]
    return out


def _sides(mean_v: FloatArray, a: int, b: int) -> tuple[FloatArray, FloatArray]:
    """Levels before and after, the nearest in time first."""
    return mean_v[max(0, a - 9) : a][::-1], mean_v[b : b + 9]


def _far(side: FloatArray, high: bool, supply_v: float, speeds: float) -> bool:
    """Whether the level was far from the rail and no movement made the way; the first of `side` may be on the edge."""
    if side.size < 3:
        return False
    speed = float(np.median(np.abs(np.diff(side[1:])))) if side.size > 3 else 0.0
    rail_v = supply_v if high else 0.0
    return abs(float(side[1]) - rail_v) > JUMP_PERCENT / 100 * supply_v + speeds * speed


def without_off_edges(events: tuple[RawEvent, ...], runs: tuple[Off, ...]) -> tuple[RawEvent, ...]:
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
