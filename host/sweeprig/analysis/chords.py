"""How far a stroke is beside the straight line in time between the moments a chord further back and further on."""

from __future__ import annotations

import numpy as np

from sweeprig.analysis.model import FloatArray

STEP_PERCENT = 0.25  # of span, between places
N_PLACES = 401
PLACES = np.arange(N_PLACES) * STEP_PERCENT
WAITED = 4.0  # times the usual time across a chord: the hand pauses there, and shows no dip
FEWEST_WINDOWS = 4.0  # that a chord must take: a faster stroke shows no dip


def departure(place: FloatArray, chord: float) -> FloatArray:
    """How far one stroke is beside its chord at each of PLACES [% of travel]; nan where that is not known."""
    rising = place[-1] >= place[0]
    ahead = place if rising else 100.0 - place
    far, t = np.maximum.accumulate(ahead), np.arange(place.size, dtype=float)
    inside = (ahead > far[0] + chord) & (ahead < far[-1] - chord)
    if np.count_nonzero(inside) < FEWEST_WINDOWS:
        return np.full(N_PLACES, np.nan)
    at, now = ahead[inside], t[inside]
    first, last = _around(at, chord, far, t)
    took = np.maximum(last - first, 1e-9)
    line = at + chord * (2 * (now - first) / took - 1)
    paced = (took >= FEWEST_WINDOWS) & (took <= WAITED * _usual(chord, far, t))
    off = np.where(paced, at - line, np.nan)
    order = np.argsort(line, kind="stable")
    found = np.interp(PLACES, line[order], off[order], left=np.nan, right=np.nan)
    return np.asarray(found if rising else -found[::-1], dtype=float)


def _around(at: FloatArray, chord: float, far: FloatArray, t: FloatArray) -> tuple[FloatArray, FloatArray]:
    """When a stroke was a chord further back and further on than each of some places."""
    first, last = (np.asarray(np.interp(at + way * chord, far, t)) for way in (-1, 1))
    return first, last


def _usual(chord: float, far: FloatArray, t: FloatArray) -> float:
    """The time that a stroke takes from a chord before a place to a chord behind it, at half of its places."""
    first, last = _around(PLACES[(far[0] + chord < PLACES) & (far[-1] - chord > PLACES)], chord, far, t)
    return float(np.median(last - first)) if first.size else 0.0
