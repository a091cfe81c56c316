"""All strokes folded onto position, and whether events keep to one place."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from sweeprig.analysis.detection_power import CLUSTER_P, N_FINE, more_strokes
from sweeprig.analysis.model import Event, FloatArray, IntArray, Rest, Stroke, TrackMap
from sweeprig.analysis.smoothness import residual
from sweeprig.analysis.statistics import again_p, binomial_p, scan_p
from sweeprig.analysis.stretches import Stretches, clear_of
from sweeprig.capture.model import BoolArray

N_BINS = 100
BURST_S = 0.05  # s; events closer in time are one encounter, not several
FEWEST = 2  # encounters needed for a test
DECISIVE_P = 0.004  # of the first test; then the second is not made
MOST_STROKES = 60  # that the test of strokes looks at


def percent_of(path: FloatArray, low_v: float, high_v: float) -> FloatArray:
    """Place of each window in per cent of travel, low = 0, shape (n,)."""
    return np.asarray(np.clip(100 * (path - low_v) / max(high_v - low_v, 1e-9), 0, 100), dtype=float)


def encounters(events: tuple[Event, ...]) -> tuple[Event, ...]:
    """The first event of every burst in time."""
    out: list[Event] = []
    last = -np.inf
    for event in events:
        if event.start_s - last > BURST_S:
            out.append(event)
        last = max(event.end_s, event.start_s + event.duration_s)
    return tuple(out)


def fold(
    *,
    place: FloatArray,
    path: FloatArray,
    strokes: tuple[Stroke, ...],
    resting: BoolArray,
    events: tuple[Event, ...],
    parts: Stretches,
    ringing: BoolArray | None = None,
) -> TrackMap:
    """Passes, events and noise per bin of 1 % of travel, with the two tests of place; arrays (n,).

    `ringing`: windows in which a burst dies down, whose noise is not the track's.
    """
    bins = np.minimum((place / 100 * N_BINS).astype(np.int64), N_BINS - 1)
    moving = ~resting & clear_of(parts, path.size, 1)
    square, heard = residual(path) ** 2, moving if ringing is None else moving & ~ringing
    noise = _rms(bins[heard], square[heard])
    p_place, p_rest = _tests(events, place, strokes, resting)
    edges = np.linspace(0.0, 100.0, N_BINS + 1)
    more = None if p_place is not None and p_place <= CLUSTER_P else more_strokes(events, place, strokes)
    passes = _passes(bins, strokes, parts)
    again = _shown_again([_rms(bins[own], square[own]) for own in _parts_of(strokes, heard)])
    return TrackMap(edges, passes, _hits(events), noise, p_place, p_rest, len(strokes), more, again)


def _rms(bins: IntArray, square: FloatArray) -> FloatArray:
    """Root of the mean of `square` in each bin, nan where there is none, shape (N_BINS,)."""
    count = np.bincount(bins, minlength=N_BINS)
    total = np.bincount(bins, weights=square, minlength=N_BINS)
    return np.where(count > 0, np.sqrt(total / np.maximum(count, 1)), np.nan)


def _parts_of(strokes: tuple[Stroke, ...], moving: BoolArray) -> list[IntArray]:
    """Windows of each stroke in which the lever moves."""
    return [s.start + np.flatnonzero(moving[s.start : s.stop]) for s in strokes]


def _shown_again(noise: list[FloatArray]) -> FloatArray:
    """What half of the strokes that crossed a bin, and two at least, have as noise there, shape (N_BINS,)."""
    if len(noise) < 2:
        return np.full(N_BINS, np.nan)
    falling = -np.sort(-np.stack(noise), axis=0)  # nan last
    n = np.isfinite(falling).sum(axis=0)
    rank = np.maximum(1, (n - 1) // 2)
    return np.asarray(np.take_along_axis(falling, rank[None], axis=0)[0])


def _tests(
    events: tuple[Event, ...], place: FloatArray, strokes: tuple[Stroke, ...], resting: BoolArray
) -> tuple[float | None, float | None]:
    """Chance of events so concentrated, and of so many at rest; of those in movement alone where there are enough.

    A lever that rests tells nothing about place: its events would only blur those met in passing. Two tests look
    for one place, how many events and how many strokes meet there; the smaller chance is doubled for that.
    """
    met = encounters(tuple(e for e in events if e.at_percent is not None))
    if len(met) < FEWEST:
        return None, None
    bins = np.minimum((place / 100 * N_BINS).astype(np.int64), N_BINS - 1)
    passing = tuple(e for e in met if not e.at_rest)
    use, windows = (passing, ~resting) if len(passing) >= FEWEST else (met, np.ones(bins.size, dtype=bool))
    p = scan_p(_hits(use), np.bincount(bins[windows], minlength=N_BINS).astype(np.float64) + 1e-9)
    again = None if p <= DECISIVE_P else _again_p(events, place, strokes)
    p_place = min(1.0, 2 * (p if again is None else min(p, again)))
    return p_place, binomial_p(len(met) - len(passing), len(met), float(resting.mean()))


def _again_p(events: tuple[Event, ...], place: FloatArray, strokes: tuple[Stroke, ...]) -> float | None:
    """Chance that so many strokes meet something within 1.5 % of travel; None with fewer than two such strokes."""
    k = N_FINE
    hits: dict[int, list[int]] = {}
    for e in events:
        if e.stroke is not None and e.at_percent is not None:
            hits.setdefault(e.stroke, []).append(min(int(e.at_percent / 100 * k), k - 1))
    used = sorted(hits)[:MOST_STROKES]
    if len(used) < FEWEST:
        return None
    spent = []
    for n in used:
        part = np.minimum((place[strokes[n].start : strokes[n].stop] / 100 * k).astype(np.int64), k - 1)
        spent.append(np.bincount(part, minlength=k).astype(np.float64) + 1e-9)
    return again_p([np.array(hits[n], dtype=np.int64) for n in used], spent)


def resting_windows(n: int, rests: tuple[Rest, ...]) -> BoolArray:
    """Which of n windows belong to a rest."""
    out = np.zeros(n, dtype=bool)
    for rest in rests:
        out[rest.start : rest.stop] = True
    return out


def _hits(events: tuple[Event, ...]) -> IntArray:
    places = [min(int(e.at_percent / 100 * N_BINS), N_BINS - 1) for e in events if e.at_percent is not None]
    return np.bincount(np.array(places, dtype=np.int64), minlength=N_BINS).astype(np.int64)


def _passes(bins: IntArray, strokes: tuple[Stroke, ...], parts: Stretches) -> IntArray:
    """Strokes that were seen in each bin: from the lowest to the highest of every stretch of them.

    A bin in which something is missing was not seen: what is missing may be the one window that counts.
    """
    passes = np.zeros(N_BINS, dtype=np.int64)
    for s in strokes:
        met = np.zeros(N_BINS, dtype=bool)
        seen = [bins[max(s.start, p.start) : min(s.stop, p.stop)] for p in parts]
        seen = [part for part in seen if part.size]
        for part in seen:
            met[int(part.min()) : int(part.max()) + 1] = True
        for before, after in pairwise(seen):
            edges = sorted((int(before[-1]), int(after[0])))
            met[edges[0] : edges[1] + 1] = False
        passes += met
    return passes
