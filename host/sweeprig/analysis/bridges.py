"""Two tracks with a bridge between them: through some ohms all along, or as one signal for a part of the time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sweeprig.analysis.model import FloatArray
from sweeprig.analysis.statistics import spread_of
from sweeprig.analysis.two_tracks import SAME_GAIN, by_place, same_within
from sweeprig.capture.model import BoolArray

TRACKS_OVER_BRIDGE = np.geomspace(10.0, 2000.0, 30)  # both tracks over the bridge, ohm by ohm, that are tried
BETTER = 3.0  # times nearer to that shape than to a straight line
FEWEST_PLACES = 20
MOVED_PERCENT = 5.0  # % of supply that the lever moves both by while they are one
LEAST_S = 0.05  # s for which they are one
EDGE_PERCENT = 0.5  # % of supply by which they come together or part at once
EDGE_WINDOWS = 3
PARTED_S = 0.1  # s; a contact of one track that opens for less is no joint that parts: own choice, no source
BENT = 2.0  # times the usual, how much the tracks' difference changes with the lever somewhere: no track is straight
OFF_RAIL_PERCENT = 3.0  # % of supply from ground, where a track that has lost its contact is
NOISES = 6.0  # standard deviations of the difference, which noise alone does not jump by


@dataclass(frozen=True)
class Bridge:
    """Difference of the tracks near the ends and in the middle of the travel [V]."""

    ends_v: float
    middle_v: float


@dataclass(frozen=True)
class Joined:
    """Windows start..stop in which two signals are one."""

    start: int
    stop: int
    apart_v: float  # [V] just before or after


def find_bridge(
    a: FloatArray, b: FloatArray, place: FloatArray, *, supply_v: float, lsb_v: float
) -> Bridge | None:
    """Whether the tracks differ as with a bridge of some ohms between them; arrays (n,) [V], [%].

    Each track has the source resistance R r (1 - r) at the ratio r, so of a difference d is left
    d / (1 + m r (1 - r)), m = 2 R over the bridge: least in the middle. Two sound tracks differ by a straight line, and
    by bends of their own that have no such shape.
    """
    apart, mean = by_place(b - a, place), {k: v for v, k in by_place((a + b) / 2, place)}
    if len(apart) < FEWEST_PLACES:
        return None
    d, r = np.array([v for v, _ in apart]), np.array([mean[k] for _, k in apart]) / supply_v
    bent = float(np.std(d - np.polyval(np.polyfit(r, d, 1), r)))
    shapes = 1 / (1 + TRACKS_OVER_BRIDGE[:, None] * np.clip(r * (1 - r), 0.0, None))
    sizes = shapes @ d / (shapes**2).sum(axis=1)
    left = np.std(d - sizes[:, None] * shapes, axis=1)
    if float(np.ptp(d)) < same_within(lsb_v) or BETTER * float(left.min()) > bent:
        return None
    best = (sizes[:, None] * shapes)[int(np.argmin(left))]
    return Bridge(float(max(best[0], best[-1], key=abs)), float(min(best, key=abs)))


def joined_times(
    a: FloatArray, b: FloatArray, *, supply_v: float, lsb_v: float, window_s: float
) -> tuple[Joined, ...]:
    """Return the times in which two signals move as one, if they come together and part at once.

    At once is more than the lever's own movement makes in these windows, by how the difference changes with it; and a
    track that loses its contact for a moment, or is at ground, does not part.
    """
    over = np.abs(b - a) - SAME_GAIN * np.abs(a) - same_within(lsb_v)
    one = _without_gaps(over <= 0, round(PARTED_S / window_s))
    least_v = max(EDGE_PERCENT / 100 * supply_v, NOISES * spread_of(np.diff(b - a, 2)) / np.sqrt(6.0))
    on_path = np.minimum(a, b) > OFF_RAIL_PERCENT / 100 * supply_v
    slope = BENT * _slope(a[on_path], (b - a)[on_path]) + SAME_GAIN
    out = []
    for start, stop in np.flatnonzero(np.diff(np.pad(one.astype(np.int8), 1))).reshape(-1, 2).tolist():
        moved = float(np.ptp(a[start:stop]))
        if (stop - start) * window_s < LEAST_S or moved < MOVED_PERCENT / 100 * supply_v:
            continue
        sides = (
            (slice(max(0, start - EDGE_WINDOWS), start), start),
            (slice(stop, stop + EDGE_WINDOWS), stop - 1),
        )
        apart = [
            float((over[part] - slope * np.abs(a[part] - a[edge]))[on_path[part]].max(initial=0.0))
            for part, edge in sides
            if over[part].size
        ]
        if apart and min(apart) >= least_v:
            out.append(Joined(start, stop, max(apart)))
    return tuple(out)


def _without_gaps(one: BoolArray, most: int) -> BoolArray:
    """Return where the signals are one, the times shorter than `most` windows between two such times taken in, (n,)."""
    from scipy.ndimage import binary_closing

    closed = binary_closing(np.pad(one, EDGE_WINDOWS, mode="edge"), iterations=2)[EDGE_WINDOWS:-EDGE_WINDOWS]
    out = np.array(closed, dtype=bool)
    for start, stop in np.flatnonzero(np.diff(np.pad(~out, 1).astype(np.int8))).reshape(-1, 2).tolist():
        if start > 0 and stop < out.size and stop - start < most:
            out[start:stop] = True
    return out


def _slope(a: FloatArray, apart: FloatArray) -> float:
    """Return by how much the difference of the tracks changes a volt of track A, whatever its sign."""
    if a.size < FEWEST_PLACES or float(np.ptp(a)) == 0:
        return 0.0
    return abs(float(np.polyfit(a, apart, 1)[0]))
