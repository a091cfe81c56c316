"""Flat spots in the middle of the travel."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sweeprig.analysis.model import FloatArray, IntArray, Span, Stroke
from sweeprig.analysis.statistics import median_known
from sweeprig.capture.model import BoolArray

STEP_PERCENT = 0.25  # of span, between levels
N_LEVELS = 401
LEVELS = np.arange(N_LEVELS) * STEP_PERCENT
WIDE = 2  # steps over which a dwell is taken; they overlap, so that a level on a border is not split
NEAR, FAR = 6, 16  # steps: what counts as beside
SHARE = 0.7  # of the strokes that cross
SHARE_OF_A_WAY = 0.5  # of the strokes that cross it in one direction: a track is the same both ways
SAME_WIDTH = 0.15  # of its stay: how far one stroke may be from the usual width
FINEST = 0.3  # of the width over which a dwell is taken
BAND_PERCENT = 0.12  # of span: what counts as one place
STANDS, STANDS_OF_FLAT = (
    0.45,
    0.8,
)  # share of the stay at one place; and of what a flat stretch would stand there
WIDE_PERCENT = (
    10.0  # % of travel; from here on a lever that stops there looks the same, however well its stops agree
)
SLOW_WINDOWS = 0.4  # a stroke that takes less time beside it is too fast to tell
EDGE_PERCENT = 6.0  # the ends, where every hand slows down, are left out
FEWEST_STROKES = 3
UNREST = (
    np.pi
)  # times a signal's unrest, peak to peak: a movement that a ripple stops goes on by no more in a period
NARROWEST_PERCENT = 0.8  # of span: the narrowest that is found (docs/methods.md)
STICKS = (
    4.0  # places a stroke at which the lever stays, from which it sticks all along: own choice, no source
)
TIMES = 2.4  # dwell against that beside it
LEAST_S = 0.002  # s of stay at a level, beyond the time beside it
WAIT_S = 0.05  # s; no hand waits for less, stroke after stroke (common practice, no source)
NEAR_A_WAIT = 12  # steps: a lever that stops slows down so near before and after it
WAITS = 6.0  # times the shortest: by how much a hand's waits at one place differ (assumed, no source)
BY_CHANCE = 0.005  # chance of waits that look like one width, from which that is a doubt
BY_ITSELF = 0.1  # chance that stays meet anywhere, from which it says nothing: own choice, no source
SNAP_NEAR, SNAP_FAR = 3, 7  # steps from the level: where a lever that is drawn into a notch hurries or lags
SNAP = 3.0  # times the time that the same way takes in the other direction
SNAP_LEAST = 0.1  # of the time beside it: less counts as that


@dataclass(frozen=True)
class Flat:
    """A level at which the signal stays in stroke after stroke."""

    where: Span
    n_seen: int
    n_strokes: int
    dwell_s: float  # [s] median
    p_by_hand: float = 0.0  # p-value of its one width and one place; null hypothesis: pauses of hand or lever
    wide: bool = (
        False  # as wide as only a stop of the lever is, or a track that is bare over much of its length
    )


def fine_enough(lsb_v: float, span_v: float) -> bool:
    """Whether the data's own steps are well below the width over which a dwell is taken."""
    return lsb_v <= FINEST * WIDE * STEP_PERCENT / 100 * span_v


def find_flats(
    place: FloatArray,
    strokes: tuple[Stroke, ...],
    *,
    window_s: float,
    gap_before: BoolArray,
    unrest_percent: float = 0.0,
) -> tuple[Flat, ...]:
    """Levels at which the signal stays as long as one width of the track takes at each stroke's own speed.

    FEWEST_STROKES strokes, and SHARE of those that cross slowly enough, stay TIMES longer than beside it and agree
    on the width, up and down. A hand that hesitates or a lever that sticks there stays as long as it likes.
    `unrest_percent`: what the signal goes to and fro by in movement [% of travel], which makes narrow ones anywhere.
    """
    if len(strokes) < FEWEST_STROKES:
        return ()
    moves = [slice(s.start, s.stop) for s in strokes]
    dwell, beside, crossed = _dwells(place, strokes, window_s=window_s, gap_before=gap_before)
    stays = _stays(dwell, beside, crossed, window_s)
    flat, ways = stays & _agree(dwell, beside, stays, window_s), np.array([s.direction for s in strokes])
    hit, share, seen, out = _often(flat, crossed, ways), dwell / beside, flat.sum(axis=0), []
    for a, b in np.flatnonzero(np.diff(np.pad(hit.astype(np.int8), 1))).reshape(-1, 2):
        best = a + int(np.argmax(seen[a:b]))
        own = flat[:, best]
        parts = [place[m] for m, f in zip(moves, own, strict=True) if f]
        width = float(np.median(share[own, best])) * WIDE * STEP_PERCENT
        if width <= UNREST * unrest_percent or _beside_a_wait(dwell, own, best):
            continue
        n_crossed = int(crossed[:, best].sum())
        meeting = _meeting(flat, (a, b), int(seen[best]), n_crossed)
        if meeting >= BY_ITSELF:
            continue
        if _stands(parts, best, 1 / share[own, best]) and not _snaps(share, best, ways):
            stay = float(np.median((dwell - beside)[own, best]))
            where = (a * STEP_PERCENT, (b - 1) * STEP_PERCENT + WIDE * STEP_PERCENT)
            waits = 0.0 if stay < WAIT_S else _chance(share[own, best], int(stays[:, best].sum()))
            chance = max(waits, meeting)
            out.append(Flat(where, int(seen[best]), n_crossed, stay, chance, width > WIDE_PERCENT))
    return tuple(out)


def _dwells(
    place: FloatArray, strokes: tuple[Stroke, ...], *, window_s: float, gap_before: BoolArray
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Dwell at each level [s], that beside it, and whether the stroke crosses slowly enough; (strokes, levels)."""
    moves = [slice(s.start, s.stop) for s in strokes]
    dwell = np.stack([_dwell(place[m], gap_before[m]) for m in moves]) * window_s
    beside = _beside(dwell)
    crossed = np.stack([_crossed(place[m]) for m in moves]) & (beside > SLOW_WINDOWS * window_s)
    return dwell, beside, crossed


def _stays(dwell: FloatArray, beside: FloatArray, crossed: BoolArray, window_s: float) -> BoolArray:
    long = (dwell > TIMES * beside) & (dwell - beside > max(LEAST_S, 2 * window_s))
    return np.asarray(long & crossed, dtype=bool)


def stays_per_stroke(
    place: FloatArray, strokes: tuple[Stroke, ...], *, window_s: float, gap_before: BoolArray
) -> float:
    """Return at how many places the lever stays in a stroke (median); 0 with too few strokes to look at."""
    if len(strokes) < FEWEST_STROKES:
        return 0.0
    stays = _stays(*_dwells(place, strokes, window_s=window_s, gap_before=gap_before), window_s)
    return float(np.median(np.count_nonzero(np.diff(stays.astype(np.int8), axis=1, prepend=0) == 1, axis=1)))


def _beside_a_wait(dwell: FloatArray, own: BoolArray, level: int) -> bool:
    """Whether half of the strokes that stay for less than a hand waits do wait near that level, and slow down there."""
    if float(np.median(dwell[own, level])) >= WAIT_S:
        return False
    near = dwell[own, max(0, level - NEAR_A_WAIT) : level + NEAR_A_WAIT + 1]
    return bool(np.mean((near >= WAIT_S).any(axis=1)) >= SHARE_OF_A_WAY)


def _snaps(share: FloatArray, level: int, ways: IntArray) -> bool:
    """Whether the lever comes near a level slowly and leaves it fast, or the other way, on both sides: a notch.

    `share`: dwell over that beside, shape (strokes, levels). A track takes one way up and down.
    """
    steps = np.arange(SNAP_NEAR, SNAP_FAR + 1)
    times = 1.0
    for side in (-1, 1):
        near = np.maximum(
            share[:, np.clip(level + side * steps, 0, share.shape[1] - 1)].mean(axis=1), SNAP_LEAST
        )
        comes, goes = near[ways == -side], near[ways == side]
        comes, goes = comes[np.isfinite(comes)], goes[np.isfinite(goes)]
        if not comes.size or not goes.size or (comes.min() < goes.max() and goes.min() < comes.max()):
            return False
        times *= float(np.median(comes) / np.median(goes))
    return max(times, 1 / times) >= SNAP**2


def _chance(width: FloatArray, n: int) -> float:
    """Bound on the chance that so many of `n` waits of a hand, up to WAITS apart, agree as well as these on a width."""
    from scipy.stats import binom

    within = float(np.log(width.max() / width.min()) / np.log(WAITS))
    return min(1.0, n * float(binom.sf(width.size - 2, n - 1, min(1.0, within))))


def _meeting(flat: BoolArray, at: tuple[int, int], n_seen: int, n_crossed: int) -> float:
    """Bound on the chance that so many strokes stay at one level anywhere, each staying where it likes.

    Each stroke stays as often as it does away from the levels `at`: a lever that sticks all along stays in many places.
    """
    from scipy.stats import binom

    away = np.ones(flat.shape[1], dtype=bool)
    away[max(0, at[0] - NEAR) : at[1] + NEAR] = False
    own = float(flat[:, away].mean())
    at_one = float(binom.sf(n_seen - 1, n_crossed, own))
    return float(min(1.0, flat.shape[1] / WIDE * at_one))


def _often(flat: BoolArray, crossed: BoolArray, ways: IntArray) -> BoolArray:
    """Levels that enough of the strokes, and of those of each direction, stay at; the ends are left out."""
    seen = flat.sum(axis=0)
    hit = (seen >= FEWEST_STROKES) & (seen >= SHARE * crossed.sum(axis=0))
    for own in (ways > 0, ways < 0):
        hit &= flat[own].sum(axis=0) >= SHARE_OF_A_WAY * crossed[own].sum(axis=0)
    edge = round(EDGE_PERCENT / STEP_PERCENT)
    hit[:edge] = hit[-edge:] = False
    return np.asarray(hit, dtype=bool)


def _stands(parts: list[FloatArray], level: int, beside: FloatArray) -> bool:
    """Whether the strokes stand at one place and do not creep; `beside`: share of the stay that movement takes."""
    shares = np.array([_standing(part, level) for part in parts])
    wanted = np.minimum(STANDS, STANDS_OF_FLAT * (1 - beside))
    return bool(np.count_nonzero(shares >= wanted) >= FEWEST_STROKES)


def _standing(place: FloatArray, level: int) -> float:
    """Largest share of the windows from reaching a level to reaching the one WIDE steps on that stand at one place."""
    far = np.maximum.accumulate(place if place[-1] >= place[0] else 100.0 - place)
    low = LEVELS[level] if place[-1] >= place[0] else 100.0 - LEVELS[level + WIDE]
    first, last = np.searchsorted(far, (low, low + WIDE * STEP_PERCENT))
    there = np.sort(place[first:last])
    if there.size == 0:
        return 0.0
    within = np.searchsorted(there, there + BAND_PERCENT, side="right") - np.arange(there.size)
    return float(within.max() / there.size)


def _agree(dwell: FloatArray, beside: FloatArray, flat: BoolArray, window_s: float) -> BoolArray:
    """Which strokes stay as long as the usual width takes at their speed, shape as `dwell`; nan counts as no."""
    width, _ = median_known(np.where(flat, dwell / np.maximum(beside, 1e-12), np.nan))
    near = np.abs(dwell - width * beside) <= SAME_WIDTH * dwell + window_s / 2
    return np.asarray(near, dtype=bool)


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
    middle, n = median_known([wide[:, FAR + k : FAR + k + dwell.shape[1]] for k in shifts])
    return np.where(n >= len(shifts) // 2, middle, np.nan)


def _crossed(place: FloatArray) -> BoolArray:
    centres = (np.arange(N_LEVELS - WIDE) + WIDE / 2) * STEP_PERCENT
    if place.size == 0:
        return np.zeros(N_LEVELS - WIDE, dtype=bool)
    return np.asarray((centres > place.min() + 3) & (centres < place.max() - 3), dtype=bool)
