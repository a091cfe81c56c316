"""Path of the lever, its rests and its strokes, found by the noise of the data itself."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from sweeprig.analysis.events import RawEvent
from sweeprig.analysis.model import FloatArray, Rest, Stroke
from sweeprig.analysis.statistics import batch_u, spread_of
from sweeprig.analysis.stretches import Stretches, second_differences
from sweeprig.capture.model import BoolArray

REST_S = 0.06  # s; shorter stands are turning points
STEP_S = 0.02  # s; speed is taken over this time
SLOWEST_SPAN_PER_S = 0.04  # a movement slower than this cannot be told from a rest
PLACE_SHARE = 0.03  # of span: a rest this near an extreme rest is at that end


def clean_path(mean_v: FloatArray, events: tuple[RawEvent, ...]) -> tuple[FloatArray, BoolArray]:
    """Window means with the events' windows bridged by straight lines, and which windows are untouched."""
    good = np.ones(mean_v.size, dtype=bool)
    for event in events:
        good[
            max(0, event.start - (event.stop - event.start > 1)) : event.stop + (event.stop - event.start > 1)
        ] = False
    if good.all() or not good.any():
        return mean_v, good
    index = np.arange(mean_v.size)
    path = mean_v.copy()
    path[~good] = np.interp(index[~good], index[good], mean_v[good])
    return path, good


def noise_of(path: FloatArray, parts: Stretches) -> float:
    """Noise of one window's mean [V] from second differences, which a smooth movement does not reach."""
    d = second_differences(path, parts)
    if d.size < 6:
        return 0.0
    quiet = np.abs(d) <= np.quantile(np.abs(d), 0.9)
    return float(max(spread_of(d), 0.8 * spread_of(d[quiet])) / np.sqrt(6.0))


def find_rests(
    path: FloatArray, good: BoolArray, *, window_s: float, lsb_v: float, parts: Stretches
) -> tuple[Rest, ...]:
    """Times whose speed stays within what noise alone gives, none of them across what is missing."""
    still = _still(path, window_s=window_s, lsb_v=lsb_v, parts=parts)
    least = max(4, round(REST_S / window_s))
    found = [_rest(path, good, a, b, lsb_v) for a, b in _runs(still, parts) if b - a >= least]
    kept = [r for r in found if r is not None]
    return _placed(kept, path)


def _runs(still: BoolArray, parts: Stretches) -> list[tuple[int, int]]:
    out: list[tuple[int, int]] = []
    for part in parts:
        edge = np.flatnonzero(np.diff(np.pad(still[part].astype(np.int8), 1))).reshape(-1, 2)
        out += [(part.start + int(a), part.start + int(b)) for a, b in edge]
    return out


def _still(path: FloatArray, *, window_s: float, lsb_v: float, parts: Stretches) -> BoolArray:
    k = max(1, round(STEP_S / window_s))
    if path.size < 4 * k:
        return np.zeros(path.size, dtype=bool)
    step = np.concatenate([_steps(path[part], k) for part in parts])
    known = step[np.isfinite(step)]
    own = 4 * float(np.quantile(known, 0.2)) if known.size else 0.0
    own += 4 * noise_of(path, parts) / np.sqrt(k) + 0.3 * lsb_v
    slowest = 2 * k * window_s * SLOWEST_SPAN_PER_S * float(np.ptp(path))
    return np.asarray(step <= min(own, max(slowest, 2 * lsb_v)), dtype=bool)


def _steps(path: FloatArray, k: int) -> FloatArray:
    """Change over 2 k windows about each window of one stretch, smoothed over k; without end where it is too short."""
    from scipy.ndimage import uniform_filter1d

    if path.size < 2 * k:
        return np.full(path.size, np.inf)
    padded = np.pad(uniform_filter1d(path, k, mode="nearest"), k, mode="edge")
    return np.asarray(np.abs(padded[2 * k :] - padded[: -2 * k]), dtype=float)


def _rest(path: FloatArray, good: BoolArray, a: int, b: int, lsb_v: float) -> Rest | None:
    values = path[a:b][good[a:b]]
    if values.size < 4:
        return None
    middle, spread = float(np.median(values)), max(spread_of(values), 0.3 * lsb_v)
    kept = values[np.abs(values - middle) <= 4 * spread]
    u, _ = batch_u(kept)
    return Rest(a, b, float(kept.mean()), max(u, 0.03 * lsb_v), "middle")


def _placed(rests: list[Rest], path: FloatArray) -> tuple[Rest, ...]:
    if not rests:
        return ()
    low, high = (float(q) for q in np.quantile(path, (0.001, 0.999)))
    near = PLACE_SHARE * (high - low)
    out = []
    for r in rests:
        place = "low" if r.value_v - low <= near else "high" if high - r.value_v <= near else "middle"
        out.append(Rest(r.start, r.stop, r.value_v, r.u_v, place))
    return tuple(out)


def find_strokes(path: FloatArray, *, noise_v: float, window_s: float, t_s: FloatArray) -> tuple[Stroke, ...]:
    """Movements between turning points that are at least 8 % of span (and 12 times the noise) apart."""
    from scipy.ndimage import median_filter

    every = max(1, round(0.005 / window_s))
    thin = median_filter(path[::every], 5, mode="nearest")
    low, high = float(thin.min()), float(thin.max())
    least = max(0.08 * (high - low), 12 * noise_v)
    turns = _turns(thin, least)
    out = []
    for a, b in pairwise(turns):
        start, stop = _tight(thin, a, b, 0.01 * abs(thin[b] - thin[a]) + 2 * noise_v)
        v0, v1 = float(thin[a]), float(thin[b])
        ends = min(v0, v1) - low < 0.05 * (high - low) and high - max(v0, v1) < 0.05 * (high - low)
        first, last = start * every, min(path.size, (stop + 1) * every)
        unseen = _unseen_percent(t_s[first:last], window_s)
        out.append(Stroke(first, last, v0, v1, 1 if v1 > v0 else -1, ends, unseen))
    return tuple(out)


def _unseen_percent(t_s: FloatArray, window_s: float) -> float:
    """Share of the time from the first window to the last of which nothing came [%]."""
    if t_s.size < 2:
        return 0.0
    whole = round((float(t_s[-1]) - float(t_s[0])) / window_s) + 1
    return 100.0 * max(0, whole - t_s.size) / whole


def _turns(values: FloatArray, least: float) -> list[int]:
    """Indices of alternating extremes at least `least` apart."""
    best = {1: 0, -1: 0}  # index of the highest and of the lowest value since the last turn
    turns: list[int] = []
    direction = 0
    for i, v in enumerate(values.tolist()):
        for way in (1, -1) if direction == 0 else (direction,):
            ahead = way * (v - values[best[way]])
            if ahead > 0:
                best[way] = i
            elif -ahead >= least:
                turns.append(best[way])
                direction, best[-way] = -way, i
                break
    return [*turns, best[direction]] if turns else turns


def _tight(values: FloatArray, a: int, b: int, near: float) -> tuple[int, int]:
    """The part of a..b that moves: from the last value near its start to the first near its end."""
    part = values[a : b + 1]
    leaves = np.flatnonzero(np.abs(part - part[0]) <= near)
    start = int(leaves[-1]) if leaves.size else 0
    comes = np.flatnonzero(np.abs(part[start:] - part[-1]) <= near)
    return a + start, a + start + (int(comes[0]) if comes.size else part.size - 1 - start)
