"""Where two slopes of a track meet: the law of the sensor bends there, which looks like a dip."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sweeprig.analysis.model import FloatArray, IntArray, Span
from sweeprig.analysis.statistics import median_known

LEAST_BEND, BEND_SHARE = 0.15, 0.6  # of the sum of two paces, and of a dip's depth: the law bends there


def is_bend(
    where: Span, depth_v: float, parts: Sequence[FloatArray], ways: IntArray, *, chord: float, span_v: float
) -> bool:
    """Whether the signal is steeper on one side of a dip than on the other, up and down, by what makes most of it.

    `parts`: places of each stroke [% of travel]; `ways` (len(parts),) their directions.

    Where two straight lines meet, at paces v and w, the chord is c (w - v) / (w + v) beside their corner.
    """
    at = sum(where) / 2
    steeper = np.array([_steeper(part, at, chord) for part in parts])
    least = min(float(median_known(steeper[ways == way])[0]) for way in (1, -1))
    return least >= LEAST_BEND and least * chord / 100 * span_v >= BEND_SHARE * depth_v


def _steeper(place: FloatArray, at: float, chord: float) -> float:
    """By how much a stroke is faster just above a place than just below, over the sum of both paces.

    Paces 1 to 2 and 2 to 3 chords away are drawn on to the place, so that a hand that speeds up there makes nothing.
    """
    rising = place[-1] >= place[0]
    far = np.maximum.accumulate(place if rising else 100.0 - place)
    levels = (at if rising else 100.0 - at) + chord * np.array([-3.0, -2.0, -1.0, 1.0, 2.0, 3.0])
    when = np.interp(levels, far, np.arange(place.size, dtype=float))
    took = np.diff(when)[[0, 1, 3, 4]]
    if not (took > 0).all():
        return np.nan
    pace = -np.log(took)
    below, above = pace[1] + 1.5 * (pace[1] - pace[0]), pace[2] - 1.5 * (pace[3] - pace[2])
    return (1 if rising else -1) * float(np.tanh((above - below) / 2))
