"""Flat spots in the middle and dead bands at the ends."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sweeprig.analysis.model import FloatArray, Span, Stroke
from sweeprig.capture.model import BoolArray, Channel

N_BINS = 200
EDGE_PERCENT = 6.0  # the ends, where every hand slows down, are left out
FEWEST_STROKES = 3
TIMES = 4.0  # dwell against the bins beside it
LEAST_S = 0.003  # s of stay at a level
RAIL_PERCENT = 1.0  # % of supply


@dataclass(frozen=True)
class Flat:
    """A level at which the signal stays in stroke after stroke."""

    where: Span
    n_seen: int
    n_strokes: int
    dwell_s: float  # [s] median


def find_flats(place: FloatArray, strokes: tuple[Stroke, ...], *, window_s: float) -> tuple[Flat, ...]:
    """Levels where at least 3 strokes and 70 % of those that cross stay TIMES longer than beside it."""
    if len(strokes) < FEWEST_STROKES:
        return ()
    dwell = np.stack([_dwell(place[s.start : s.stop]) for s in strokes]) * window_s
    beside = _beside(dwell)
    crossed = np.stack([_crossed(place[s.start : s.stop]) for s in strokes])
    flat = (dwell > TIMES * beside) & (dwell > LEAST_S) & crossed
    seen, passes = flat.sum(axis=0), crossed.sum(axis=0)
    share = np.where(passes > 0, seen / np.maximum(passes, 1), 0.0)
    hit = (seen >= FEWEST_STROKES) & (share >= 0.7)
    edge = round(EDGE_PERCENT / 100 * N_BINS)
    hit[:edge] = hit[-edge:] = False
    out = []
    for a, b in np.flatnonzero(np.diff(np.pad(hit.astype(np.int8), 1))).reshape(-1, 2):
        best = a + int(np.argmax(seen[a:b]))
        stay = float(np.median(dwell[flat[:, best], best]))
        step = 100 / N_BINS
        out.append(Flat((a * step, b * step), int(seen[best]), int(passes[best]), stay))
    return tuple(out)


def _dwell(place: FloatArray) -> FloatArray:
    """Windows per bin, each bin together with the one after, so that a level on a border is not split."""
    bins = np.minimum((place / 100 * N_BINS).astype(np.int64), N_BINS - 1)
    count = np.bincount(bins, minlength=N_BINS).astype(float)
    return np.asarray(count + np.append(count[1:], 0.0), dtype=float)


def _beside(dwell: FloatArray) -> FloatArray:
    """Median dwell of the bins 3 to 8 away on both sides, shape as `dwell`."""
    shifts = [k for k in range(-8, 9) if abs(k) >= 3]
    wide = np.pad(dwell, ((0, 0), (8, 8)), mode="edge")
    n = dwell.shape[1]
    return np.asarray(np.median([wide[:, 8 + k : 8 + k + n] for k in shifts], axis=0), dtype=float)


def _crossed(place: FloatArray) -> BoolArray:
    centres = (np.arange(N_BINS) + 0.5) * 100 / N_BINS
    if place.size == 0:
        return np.zeros(N_BINS, dtype=bool)
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
