"""How signal B follows signal A."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np

from sweeprig.analysis.model import FloatArray, TwoTracks
from sweeprig.calibration.volts import unloaded
from sweeprig.capture.model import BoolArray

SAME_GAIN = (
    0.016  # how far two channels of a build that was never calibrated may differ: dividers of 1 % parts
)
SAME_LSB = 6.0  # codes between two signals that are one
SAME_V = (0.003, 0.008)  # [V] that the codes come to, at least and at most
SAME_STEP = 0.5  # of the data's own step, where that is more
JOINED_PERCENT = 3.5  # % of supply: how far joined opposed tracks may be apart, and move
JOINED_FROM, JOINED_TO = 0.3, 0.7  # of supply: where they then stand
FEWEST_WINDOWS = 2  # in a bin; a fast stroke has no more
SAME_PERCENT = 1.0  # % of supply
TRACKS_OHM = (
    2500.0,
    5000.0,
    7500.0,
    10000.0,
)  # [ohm] tried; sensors have 1 to 10 kohm (common practice, no source)


def compare(
    path_a: FloatArray,
    path_b: FloatArray,
    good: BoolArray,
    *,
    place: FloatArray,
    supply_v: float,
    lsb_v: float,
    load_ohm: float | None = None,
) -> TwoTracks | None:
    """Straight line B = slope A + offset as measured, and the largest residual over travel; None where A hardly moves.

    A track bends under the rig's load [ohm]: r = x / (1 + x(1 - x) k), k = track / load. Where the residual counts, it
    is the smallest that a track of up to 10 kohm leaves once its bend is taken out.
    """
    found = _compared(path_a, path_b, good, place, supply_v)
    if found is not None and _one_signal(path_a[good], path_b[good], place[good], lsb_v):
        return replace(found, relation="same")
    if found is None or load_ohm is None or found.max_error_percent < SAME_PERCENT:
        return found
    best = found
    for track_ohm in TRACKS_OHM:
        a, b = (
            unloaded(p, supply_v=supply_v, track_ohm=track_ohm, load_ohm=load_ohm) for p in (path_a, path_b)
        )
        free = _compared(a, b, good, place, supply_v)
        if free is not None and free.max_error_v < best.max_error_v:
            best = free
    return replace(best, relation=found.relation, slope=found.slope, offset_v=found.offset_v)


def _compared(
    path_a: FloatArray, path_b: FloatArray, good: BoolArray, place: FloatArray, supply_v: float
) -> TwoTracks | None:
    """Straight line B = slope A + offset through untouched windows, and the largest residual over travel.

    The residual is the largest median of 50 bins of place, so that neither noise nor one window makes it.
    None where A hardly moves.
    """
    a, b, at = path_a[good], path_b[good], place[good]
    if a.size < 50 or float(np.ptp(a)) < 0.02 * supply_v:
        return None
    slope, offset = _theil_like(a, b)
    left = b - slope * a - offset
    sized = by_place(left, at)
    worst, where = max(sized, key=lambda s: abs(s[0])) if sized else (0.0, 0)
    return TwoTracks(
        relation=_relation(slope, float(np.ptp(b)), supply_v),
        slope=slope,
        offset_v=offset,
        max_error_v=float(abs(worst)),
        max_error_percent=float(100 * abs(worst) / supply_v),
        at_percent=2.0 * where + 1.0 if sized else None,
    )


def by_place(residual: FloatArray, at: FloatArray) -> list[tuple[float, int]]:
    """Return the median residual in each of 50 bins of place that has enough windows, and the bin."""
    bins = np.minimum((at / 2).astype(np.int64), 49)
    order = np.argsort(bins, kind="stable")
    cuts = np.searchsorted(bins[order], np.arange(51))
    return [
        (float(np.median(residual[order[i:j]])), k)
        for k, (i, j) in enumerate(pairwise(cuts))
        if j - i >= FEWEST_WINDOWS
    ]


def _one_signal(a: FloatArray, b: FloatArray, at: FloatArray, lsb_v: float) -> bool:
    """Whether B is A at every place but for the gains of two channels: a line through zero and a few codes.

    Two sound tracks, however alike, bend by themselves or stand apart by some offset.
    """
    gain = float(np.dot(a, b)) / max(float(np.dot(a, a)), 1e-12)
    most = same_within(lsb_v)
    return abs(gain - 1) <= SAME_GAIN and all(abs(v) <= most for v, _ in by_place(b - gain * a, at))


def same_within(lsb_v: float) -> float:
    """How far two channels of one signal may be apart beside their gains [V]."""
    return max(min(max(SAME_LSB * lsb_v, SAME_V[0]), SAME_V[1]), SAME_STEP * lsb_v)


def joined(path_a: FloatArray, path_b: FloatArray, *, supply_v: float) -> bool:
    """Whether two signals stay together and hardly move, away from both rails: opposed tracks, joined.

    Sources of equal resistance that run against each other give the middle between them.
    """
    level = float(np.median(path_a))
    apart = float(np.quantile(np.abs(path_b - path_a), 0.99))
    moved = max(float(np.ptp(np.quantile(p, (0.002, 0.998)))) for p in (path_a, path_b))
    near = JOINED_PERCENT / 100 * supply_v
    return apart < near and moved < near and JOINED_FROM * supply_v < level < JOINED_TO * supply_v


def _theil_like(a: FloatArray, b: FloatArray) -> tuple[float, float]:
    """Least squares, then once more without the worst 2 %."""
    slope, offset = np.polyfit(a, b, 1)
    left = np.abs(b - slope * a - offset)
    kept = left <= np.quantile(left, 0.98)
    if np.ptp(a[kept]) > 0.5 * np.ptp(a):
        slope, offset = np.polyfit(a[kept], b[kept], 1)
    return float(slope), float(offset)


def _relation(slope: float, moved: float, supply_v: float) -> str:
    if moved < 0.02 * supply_v:
        return "none"
    if abs(slope - 1) < 0.1:
        return "parallel"
    if abs(slope - 0.5) < 0.05 or abs(slope - 2) < 0.2:
        return "half-scale"
    return "opposed" if abs(slope + 1) < 0.15 else "other"
