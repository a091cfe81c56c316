"""Which events of a signal its supply made: what signal over supply does not show is none of the signal."""

from __future__ import annotations

import numpy as np

from sweeprig.analysis.events import RawEvent
from sweeprig.analysis.model import FloatArray
from sweeprig.analysis.runs import BESIDE
from sweeprig.capture.model import Channel

LEFT = 0.5  # share of an event that the supply may leave unexplained; own choice, no source


def is_made_by(supply: Channel | None, e: RawEvent) -> bool:
    """Whether the supply moved as a ratiometric signal did, by at least as large a share; False where not observed."""
    if supply is None:
        return False
    before, after = supply.mean_v[max(0, e.start - BESIDE) : e.start], supply.mean_v[e.stop : e.stop + BESIDE]
    if not before.size or not after.size:
        return False
    made = _made_v(e, supply, float(np.median(before)), float(np.median(after)))
    return made * e.depth_v > 0 and abs(e.depth_v - made) <= LEFT * abs(e.depth_v)


def _made_v(e: RawEvent, supply: Channel, before: float, after: float) -> float:
    """What the supply's own change makes of the signal [V]; 0 for what goes both ways or a supply that is off."""
    if min(before, after) <= 0 or e.both_ways:
        return 0.0
    if e.step:
        return (e.path_v - e.depth_v / 2) * (after / before - 1)
    inside = _inside(supply, e)
    return e.path_v * (2 * inside / (before + after) - 1)


def _inside(supply: Channel, e: RawEvent) -> float:
    part: FloatArray = (supply.min_v if e.depth_v < 0 else supply.max_v)[e.start : e.stop]
    return float(part.min() if e.depth_v < 0 else part.max())
