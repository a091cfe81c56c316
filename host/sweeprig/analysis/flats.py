"""Flat spots in the middle and dead bands at the ends."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sweeprig.analysis.model import FloatArray, Span, Stroke
from sweeprig.capture.model import BoolArray, Channel

STEP_PERCENT = 0.25  # of span, between levels
N_LEVELS = 401
LEVELS = np.arange(N_LEVELS) * STEP_PERCENT
WIDE = 2  # steps over which a dwell is taken; they overlap, so that a level on a border is not split
NEAR, FAR = 6, 16  # steps: what counts as beside
SHARE = 0.7  # of the strokes that cross
SLOW_WINDOWS = 0.4  # a stroke that takes less time beside it is too fast to tell
EDGE_PERCENT = 6.0  # the ends, where every hand slows down, are left out
FEWEST_STROKES = 3
TIMES = 3.5  # dwell against that beside it
LEAST_S = 0.002  # s of stay at a level, beyond the time beside it
RAIL_PERCENT = 1.0  # % of supply


@dataclass(frozen=True)
class Flat:
    """A level at which the signal stays in stroke after stroke."""

    where: Span
    n_seen: int
    n_strokes: int
    dwell_s: float  # [s] median


def find_flats(
    place: FloatArray, strokes: tuple[Stroke, ...], *, window_s: float, gap_before: BoolArray
) -> tuple[Flat, ...]:
    """Levels where 3 strokes, and SHARE of those that cross slowly enough, stay TIMES longer than beside it."""
    if len(strokes) < FEWEST_STROKES:
        return ()
    moves = [slice(s.start, s.stop) for s in strokes]
    dwell = np.stack([_dwell(place[m], gap_before[m]) for m in moves]) * window_s
    beside = _beside(dwell)
    crossed = np.stack([_crossed(place[m]) for m in moves]) & (beside > SLOW_WINDOWS * window_s)
    flat = (dwell > TIMES * beside) & (dwell - beside > LEAST_S) & crossed
    seen, passes = flat.sum(axis=0), crossed.sum(axis=0)
    share = np.where(passes > 0, seen / np.maximum(passes, 1), 0.0)
    hit = (seen >= FEWEST_STROKES) & (share >= SHARE)
    edge = round(EDGE_PERCENT / STEP_PERCENT)
    hit[:edge] = hit[-edge:] = False
    out = []
    for a, b in np.flatnonzero(np.diff(np.pad(hit.astype(np.int8), 1))).reshape(-1, 2):
        best = a + int(np.argmax(seen[a:b]))
        stay = float(np.median((dwell - beside)[flat[:, best], best]))
        where = (a * STEP_PERCENT, (b - 1) * STEP_PERCENT + WIDE * STEP_PERCENT)
        out.append(Flat(where, int(seen[best]), int(passes[best]), stay))
    return tuple(out)


def _dwell(place: FloatArray, gap_before: BoolArray) -> FloatArray:
    """Windows from reaching each level to reaching the one WIDE steps on, shape (N_LEVELS - WIDE,).

    Levels are reached once, by the furthest place so far, and between two windows by a straight line, so the
    answer does not depend on how a level falls among windows. Levels that were not reached, or reached while
    nothing was seen, give nan.
    """
    if place.size < 2:
        return np.full(N_LEVELS - WIDE, np.nan)
    rising = place[-1] >= place[0]
    far = np.maximum.accumulate(place if rising else 100.0 - place)
    at = np.searchsorted(far, LEVELS)
    k = np.clip(at, 1, far.size - 1)
    inside = (at > 0) & (at < far.size) & ~gap_before[k]
    when = np.where(inside, k - 1 + (LEVELS - far[k - 1]) / np.maximum(far[k] - far[k - 1], 1e-12), np.nan)
    out = when[WIDE:] - when[:-WIDE]
    return np.asarray(out if rising else out[::-1], dtype=float)


def _beside(dwell: FloatArray) -> FloatArray:
    """Median dwell of the known ones NEAR to FAR steps away on both sides, shape as `dwell`; nan with too few."""
    shifts = [k for k in range(-FAR, FAR + 1) if abs(k) >= NEAR]
    wide = np.pad(dwell, ((0, 0), (FAR, FAR)), mode="edge")
    ordered = np.sort([wide[:, FAR + k : FAR + k + dwell.shape[1]] for k in shifts], axis=0)  # nan last
    n = np.isfinite(ordered).sum(axis=0)[None]
    middle = (np.maximum((n - 1) // 2, 0), np.minimum(n // 2, len(shifts) - 1))
    low, high = (np.take_along_axis(ordered, k, axis=0)[0] for k in middle)
    return np.where(n[0] >= len(shifts) // 2, (low + high) / 2, np.nan)


def _crossed(place: FloatArray) -> BoolArray:
    centres = (np.arange(N_LEVELS - WIDE) + WIDE / 2) * STEP_PERCENT
    if place.size == 0:
        return np.zeros(N_LEVELS - WIDE, dtype=bool)
    return np.asarray((centres > place.min() + 3) & (centres < place.max() - 3), dtype=bool)


@dataclass(frozen=True)
class Pinned:
    """An end at a rail."""

    place: str  # low | high
    level_v: float
    rail_v: float
    seconds: float
    noise_ratio: float  # range in there over range elsewhere


def pinned_ends(
    channel: Channel,
    path: FloatArray,
    *,
    supply_v: float,
    ground_v: float,
    window_s: float,
) -> tuple[Pinned, ...]:
    """Ends that stand at a rail: within RAIL_PERCENT of supply of measured ground or supply."""
    near = RAIL_PERCENT / 100 * supply_v
    out = []
    for place, rail, at in (
        ("low", ground_v, path <= ground_v + near),
        ("high", supply_v, path >= supply_v - near),
    ):
        seconds = float(at.sum()) * window_s
        if seconds < 0.02 or at.all():
            continue
        spread = channel.max_v - channel.min_v
        ratio = float(np.median(spread[at]) / max(float(np.median(spread[~at])), 1e-9))
        out.append(Pinned(place, float(np.median(path[at])), rail, seconds, ratio))
    return tuple(out)
