"""Rests at an end without the creep into it and out of it: the part in which the lever stands at its outermost level.

A slow hand needs seconds for the last per cent of the travel, and moves there no faster than what looks like a rest.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from sweeprig.analysis.model import FloatArray, IntArray, Rest
from sweeprig.analysis.strokes import REST_S, rest_of
from sweeprig.analysis.visits import Visit
from sweeprig.capture.model import BoolArray

NEAR = 6.0  # standard deviations of a mean over some time: noise takes none further from the outermost
STEPS, ROUNDING = 1.1, 0.05  # steps of single readings; codes of means of many
LONGEST, MUCH_LONGER = (
    0.7,
    2.0,
)  # of the longest stay at any level, and at any apart from it, that at the outermost
SHARE = 3  # of the time that is left: means are taken over no more than a third of it


def settled(
    rests: tuple[Rest, ...],
    visits: tuple[Visit, ...],
    path: FloatArray,
    good: BoolArray,
    *,
    noise_v: float,
    window_s: float,
    lsb_v: float,
    single: bool,
) -> tuple[Rest, ...]:
    """Return the rests, those at the level of a visit cut to where they stand; one that creeps all along is left out.

    `single`: readings, no means of many, of which a step may show no creep.
    """
    out: dict[int, Rest | None] = dict(enumerate(rests))
    for visit in visits:
        at = _windows([rests[k] for k in visit.rests], good)
        outward = -path[at] if visit.low else path[at]
        first, last, creep_v = _standing(
            outward,
            noise_v=noise_v,
            least_v=(STEPS if single else ROUNDING) * lsb_v,
            n=max(3, round(REST_S / window_s)),
        )
        if last - first < at.size or creep_v > 0.0:
            for k in visit.rests:
                own = _cut(rests[k], path, good, span=(int(at[first]), int(at[last - 1]) + 1), lsb_v=lsb_v)
                out[k] = None if own is None else replace(own, creep_v=creep_v)
    return tuple(r for r in out.values() if r is not None)


def _windows(rests: list[Rest], good: BoolArray) -> IntArray:
    """Untouched windows of some rests, in order."""
    at = [np.arange(r.start, r.stop) for r in rests]
    every = np.concatenate(at) if at else np.zeros(0, dtype=np.int64)
    return np.asarray(every[good[every]], dtype=np.int64)


def _standing(outward: FloatArray, *, noise_v: float, least_v: float, n: int) -> tuple[int, int, float]:
    """First and last of the values from the first to the last mean of n of them that is at the outermost one's level.

    Then of ever longer means, whose noise is less. And by how much [V] the mean of what is left is further in than the
    outermost, where anything was cut off or the lever gives way without standing anywhere; 0 where noise alone is seen.
    """
    a, b, creep_v = 0, outward.size, 0.0
    while SHARE * n <= b - a:
        sums = np.cumsum(np.concatenate([[0.0], outward[a:b]]))
        means = (sums[n:] - sums[:-n]) / n
        near_v = max(NEAR * noise_v / np.sqrt(n), least_v)
        if not _stands_outermost(means, near_v):
            return a, b, float(means.max() - outward[a:b].mean()) if np.ptp(means) > 2 * near_v else creep_v
        near = np.flatnonzero(means >= means.max() - near_v)
        a, b = a + int(near[0]), a + int(near[-1]) + n
        creep_v = float(means.max() - outward[a:b].mean()) if b - a < outward.size else 0.0
        n *= 2
    return a, b, creep_v


def _stands_outermost(means: FloatArray, near_v: float) -> bool:
    """Whether the lever stays much longer at the outermost level than at any other, as one that creeps there does.

    A hand that relaxes, and a supply that drifts, stay as long at each level.
    """
    ordered = np.sort(means)
    there = np.searchsorted(ordered, ordered + near_v, side="right") - np.arange(ordered.size)
    outermost = ordered.size - int(np.searchsorted(ordered, ordered[-1] - near_v))
    apart = there[: np.searchsorted(ordered, ordered[-1] - 2 * near_v)]
    return outermost >= LONGEST * int(there.max()) and outermost >= MUCH_LONGER * int(apart.max(initial=0))


def _cut(
    rest: Rest, path: FloatArray, good: BoolArray, *, span: tuple[int, int], lsb_v: float
) -> Rest | None:
    """The part of a rest inside a span of windows; None where hardly anything is."""
    a, b = max(span[0], rest.start), min(span[1], rest.stop)
    return rest_of(path, good, a, b, lsb_v=lsb_v) if a < b else None
