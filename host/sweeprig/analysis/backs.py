"""A signal that goes back against the movement of its stroke, from one level and by as much, in many strokes.

No lever does it up and down at one place. In strokes of one direction, or in a run of strokes among others, a hand
might: a doubt. A hand that turns back here and there does so at another level in the next stroke. Own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sweeprig.analysis.model import FloatArray, IntArray
from sweeprig.capture.model import BoolArray

BACK_PERCENT = 1.0  # of span: a signal that goes back by so much against its movement is looked at by itself
SAME_TOP_PERCENT, SAME_DEPTH = (
    1.5,
    0.3,
)  # of span, and share: how far strokes may differ in where and how much
BACK_EDGE_PERCENT = 4.0  # of span from either end: a lever bounces there
FEWEST_STROKES = 3
SHARE = 0.7  # of the strokes that cross it


@dataclass(frozen=True)
class Back:
    """Where, and in which strokes, the signal goes back."""

    top: float  # [% of travel] level from which it does
    depth: float  # [% of travel]
    n_seen: int
    n_strokes: int  # of all, or of one direction
    which: str  # "" for all; else which strokes, in words


def back_of(place: FloatArray) -> tuple[float, float]:
    """Level from which one stroke goes back the furthest, and by how much [% of travel]; nan where it does not."""
    rising = place[-1] >= place[0]
    ahead = place if rising else 100.0 - place
    far = np.maximum.accumulate(ahead)
    back = np.where((far > BACK_EDGE_PERCENT) & (far < 100 - BACK_EDGE_PERCENT), far - ahead, 0.0)
    at = int(np.argmax(back))
    if back[at] < BACK_PERCENT:
        return np.nan, np.nan
    return float(far[at] if rising else place[at]), float(back[at])


def find_back(seen: list[tuple[float, float]], ways: IntArray) -> Back | None:
    """Return what the strokes' own levels and depths have in common: up and down, one way, or in a run of strokes."""
    tops, depths = np.array(seen).T
    every = np.ones(tops.size, dtype=bool)
    same = _same(tops, depths)
    if _enough(same, every) and len(set(ways[same])) == 2:
        return _back(tops, depths, same, every, "")
    return _one_way(tops, depths, ways) or _in_a_run(tops, depths, ways)


def _one_way(tops: FloatArray, depths: FloatArray, ways: IntArray) -> Back | None:
    for way, name in ((1, "rising"), (-1, "falling")):
        own = ways == way
        same = own & _same(np.where(own, tops, np.nan), depths)
        if _enough(same, own):
            return _back(tops, depths, same, own, f"{name} strokes")
    return None


def _in_a_run(tops: FloatArray, depths: FloatArray, ways: IntArray) -> Back | None:
    """Nearly all from one stroke to another: a track that warms up, a grain that comes and goes."""
    same = _same(tops, depths)
    at = np.flatnonzero(same)
    if not at.size:
        return None
    run = np.zeros(tops.size, dtype=bool)
    run[at[0] : at[-1] + 1] = True
    if not _enough(same, run) or len(set(ways[same])) < 2:
        return None
    every = np.ones(tops.size, dtype=bool)
    return _back(tops, depths, same, every, f"strokes, all from number {at[0] + 1} to {at[-1] + 1}")


def _same(tops: FloatArray, depths: FloatArray) -> BoolArray:
    """Which strokes go back as most of those do that go back at all."""
    known = np.isfinite(tops)
    if not known.any():
        return known
    top, depth = float(np.median(tops[known])), float(np.median(depths[known]))
    return (np.abs(tops - top) <= SAME_TOP_PERCENT) & (np.abs(depths - depth) <= SAME_DEPTH * depth)


def _enough(same: BoolArray, of: BoolArray) -> bool:
    return int(np.count_nonzero(same)) >= max(FEWEST_STROKES, SHARE * np.count_nonzero(of))


def _back(tops: FloatArray, depths: FloatArray, same: BoolArray, of: BoolArray, which: str) -> Back:
    n, every = int(np.count_nonzero(same)), int(np.count_nonzero(of))
    return Back(float(np.median(tops[same])), float(np.median(depths[same])), n, every, which)
