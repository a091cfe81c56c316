"""Path of the lever, its rests and its strokes, found by the noise of the data itself."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from sweeprig.analysis.events import RawEvent
from sweeprig.analysis.model import FloatArray, Rest, Stroke
from sweeprig.analysis.statistics import batch_means_u, spread_of
from sweeprig.analysis.stretches import Stretches, second_differences
from sweeprig.analysis.visits import TurningPoint, turns_of
from sweeprig.capture.model import BoolArray

REST_S = 0.06  # s; shorter stands are turning points
TO_AND_FRO_LSB, MEAN_LSB = 1.1, 0.3  # codes that a rest may seem to move by
STEP_S = 0.02  # s; speed is taken over this time
FAR = 10  # times that, over which what stands for long must stand
COARSEST = 2.0  # codes that a rest may move by over such a time, whatever the speed
SLOWEST_SPAN_PER_S = 0.04  # a movement slower than this looks like a rest
THIN_S = 0.005  # s between the medians that turning points are looked for in
THIN_OVER_S = 0.02  # s that each of them is over
TURN_SHARE = 0.08  # of span between two turning points, at least
FULL = 0.05  # of span: how far from each end a full stroke may begin and stop


def clean_path(
    mean_v: FloatArray, events: tuple[RawEvent, ...], off: BoolArray | None = None
) -> tuple[FloatArray, BoolArray]:
    """Window means with the events' windows, and those of `off`, bridged; and which windows are untouched."""
    good = np.ones(mean_v.size, dtype=bool) if off is None else ~off
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


def noise_of(path: FloatArray, parts: Stretches | None = None) -> float:
    """Noise of one window's mean [V] from second differences, which a smooth movement does not reach."""
    d = second_differences(path, parts or (slice(0, path.size),))
    if d.size < 6:
        return 0.0
    quiet = np.abs(d) <= np.quantile(np.abs(d), 0.9)
    return float(max(spread_of(d), 0.8 * spread_of(d[quiet])) / np.sqrt(6.0))


def find_rests(
    path: FloatArray,
    good: BoolArray,
    *,
    window_s: float,
    lsb_v: float,
    parts: Stretches,
    single: bool = False,
    off: BoolArray | None = None,
) -> tuple[Rest, ...]:
    """Times whose speed stays within what noise alone gives, none of them across what is missing.

    `single`: readings, no means of many; at rest they go to and fro between two steps of their resolution. `off` (n,):
    windows that hold no signal.
    """
    steps = TO_AND_FRO_LSB if single else MEAN_LSB
    still = _still(path, window_s=window_s, least_v=steps * lsb_v, lsb_v=lsb_v, parts=parts)
    if off is not None:
        still &= ~off
    least = max(4, round(REST_S / window_s))
    runs = [
        one for a, b in _runs(still, parts) for one in _standing(path, a, b, window_s=window_s, lsb_v=lsb_v)
    ]
    found = [rest_of(path, good, a, b, lsb_v=lsb_v) for a, b in runs if b - a >= least]
    return tuple(r for r in found if r is not None)


def _standing(path: FloatArray, a: int, b: int, *, window_s: float, lsb_v: float) -> list[tuple[int, int]]:
    """The parts of windows a..b that stand over FAR times STEP_S too, in which coarse steps hide less of a movement."""
    k = max(1, round(STEP_S / window_s))
    far = FAR * k
    if b - a < 4 * far:
        return [(a, b)]
    most = 2 * far * window_s * SLOWEST_SPAN_PER_S * float(np.ptp(path))
    most = max(most, COARSEST * lsb_v) + 6 * noise_of(path[a:b]) / np.sqrt(far)
    still = _steps(path[a:b], far) <= most
    return [(a + c, a + d) for c, d in _runs(still, (slice(0, b - a),))]


def _runs(still: BoolArray, parts: Stretches) -> list[tuple[int, int]]:
    out: list[tuple[int, int]] = []
    for part in parts:
        edge = np.flatnonzero(np.diff(np.pad(still[part].astype(np.int8), 1))).reshape(-1, 2)
        out += [(part.start + int(a), part.start + int(b)) for a, b in edge]
    return out


def _still(path: FloatArray, *, window_s: float, least_v: float, lsb_v: float, parts: Stretches) -> BoolArray:
    k = max(1, round(STEP_S / window_s))
    if path.size < 4 * k:
        return np.zeros(path.size, dtype=bool)
    step = np.concatenate([_steps(path[part], k) for part in parts])
    known = step[np.isfinite(step)]
    own = 4 * float(np.quantile(known, 0.2)) if known.size else 0.0
    own += 4 * noise_of(path, parts) / np.sqrt(k) + least_v
    slowest = 2 * k * window_s * SLOWEST_SPAN_PER_S * float(np.ptp(path))
    return np.asarray(step <= min(own, max(slowest, COARSEST * lsb_v)), dtype=bool)


def _steps(path: FloatArray, k: int) -> FloatArray:
    """Change over 2 k windows about each window of one stretch, smoothed over k; without end where it is too short."""
    from scipy.ndimage import uniform_filter1d

    if path.size < 2 * k:
        return np.full(path.size, np.inf)
    padded = np.pad(uniform_filter1d(path, k, mode="nearest"), k, mode="edge")
    return np.asarray(np.abs(padded[2 * k :] - padded[: -2 * k]), dtype=float)


def rest_of(path: FloatArray, good: BoolArray, a: int, b: int, *, lsb_v: float) -> Rest | None:
    """Return the rest that windows a..b are; None where fewer than 4 of them are untouched."""
    values = path[a:b][good[a:b]]
    if values.size < 4:
        return None
    middle, spread = float(np.median(values)), max(spread_of(values), 0.3 * lsb_v)
    kept = values[np.abs(values - middle) <= 4 * spread]
    u, _ = batch_means_u(kept)
    return Rest(a, b, float(kept.mean()), max(u, 0.03 * lsb_v), "middle")


@dataclass(frozen=True)
class Thinned:
    """A path without its short lifts, one value for some 5 ms, and where it turns."""

    values: FloatArray
    every: int  # windows from one value to the next
    turns: tuple[TurningPoint, ...]  # indices are windows


def thin(path: FloatArray, *, noise_v: float, window_s: float) -> Thinned:
    """Turning points that are at least 8 % of travel (and 12 times the noise) apart."""
    from scipy.ndimage import median_filter

    every = max(1, round(THIN_S / window_s))
    over = 2 * max(1, round(THIN_OVER_S / (every * window_s) / 2)) + 1
    values = median_filter(path[::every], over, mode="nearest")
    least = max(TURN_SHARE * float(np.ptp(values)), 12 * noise_v)
    turns = tuple(replace(t, at=t.at * every) for t in turns_of(values, least))
    return Thinned(values, every, turns)


def find_strokes(
    thinned: Thinned, ends_v: tuple[float, float], *, noise_v: float, window_s: float, t_s: FloatArray
) -> tuple[Stroke, ...]:
    """Movements between turning points; full where they reach both of `ends_v` but for FULL of the way between them."""
    low, high = ends_v
    near, every = FULL * (high - low), thinned.every
    out = []
    for a, b in pairwise(thinned.turns):
        v0, v1 = a.level_v, b.level_v
        start, stop = _tight(thinned.values, a.at // every, b.at // every, 0.01 * abs(v1 - v0) + 2 * noise_v)
        full = min(v0, v1) - low < near and high - max(v0, v1) < near
        first, last = start * every, min(t_s.size, (stop + 1) * every)
        unseen = _unseen_percent(t_s[first:last], window_s)
        out.append(Stroke(first, last, v0, v1, 1 if v1 > v0 else -1, full, unseen))
    return tuple(out)


def _unseen_percent(t_s: FloatArray, window_s: float) -> float:
    """Share of the time from the first window to the last of which nothing came [%]."""
    if t_s.size < 2:
        return 0.0
    whole = round((float(t_s[-1]) - float(t_s[0])) / window_s) + 1
    return 100.0 * max(0, whole - t_s.size) / whole


def _tight(values: FloatArray, a: int, b: int, near: float) -> tuple[int, int]:
    """The part of a..b that moves: from the last value near its start to the first near its end."""
    part = values[a : b + 1]
    leaves = np.flatnonzero(np.abs(part - part[0]) <= near)
    start = int(leaves[-1]) if leaves.size else 0
    comes = np.flatnonzero(np.abs(part[start:] - part[-1]) <= near)
    return a + start, a + start + (int(comes[0]) if comes.size else part.size - 1 - start)
