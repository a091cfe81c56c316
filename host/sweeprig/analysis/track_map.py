"""All strokes folded onto position, and whether events keep to one place."""

from __future__ import annotations

import numpy as np

from sweeprig.analysis.model import Event, FloatArray, IntArray, Rest, Stroke, TrackMap
from sweeprig.analysis.statistics import binomial_p, scan_p
from sweeprig.capture.model import BoolArray

N_BINS = 100
BURST_S = 0.05  # s; events closer in time are one encounter, not several
FEWEST = 2  # encounters needed for a test


def percent_of(path: FloatArray, low_v: float, high_v: float) -> FloatArray:
    """Place of each window in per cent of signal span, low = 0, shape (n,)."""
    return np.asarray(np.clip(100 * (path - low_v) / max(high_v - low_v, 1e-9), 0, 100), dtype=float)


def encounters(events: tuple[Event, ...]) -> tuple[Event, ...]:
    """The first event of every burst in time."""
    out: list[Event] = []
    last = -np.inf
    for event in events:
        if event.start_s - last > BURST_S:
            out.append(event)
        last = event.start_s + event.duration_s
    return tuple(out)


def fold(
    *,
    place: FloatArray,
    residual_v: FloatArray,
    strokes: tuple[Stroke, ...],
    rests: tuple[Rest, ...],
    events: tuple[Event, ...],
) -> TrackMap:
    """Passes, events and noise per bin of 1 % of span, with the two tests of place."""
    bins = np.minimum((place / 100 * N_BINS).astype(np.int64), N_BINS - 1)
    resting = _resting(place.size, rests)
    moving = ~resting
    count = np.bincount(bins[moving], minlength=N_BINS)
    square = np.bincount(bins[moving], weights=residual_v[moving] ** 2, minlength=N_BINS)
    noise = np.where(count > 0, np.sqrt(square / np.maximum(count, 1)), np.nan)
    met = encounters(tuple(e for e in events if e.at_percent is not None))
    hits = _hits(met)
    p_place = p_rest = None
    if len(met) >= FEWEST:
        p_place = scan_p(hits, np.bincount(bins, minlength=N_BINS).astype(float) + 1e-9)
        p_rest = binomial_p(sum(e.at_rest for e in met), len(met), float(resting.mean()))
    passes = _passes(bins, strokes)
    edges = np.linspace(0.0, 100.0, N_BINS + 1)
    return TrackMap(edges, passes, _hits(events), noise, np.full(N_BINS, np.nan), p_place, p_rest)


def _resting(n: int, rests: tuple[Rest, ...]) -> BoolArray:
    out = np.zeros(n, dtype=bool)
    for rest in rests:
        out[rest.start : rest.stop] = True
    return out


def _hits(events: tuple[Event, ...]) -> IntArray:
    places = [min(int(e.at_percent / 100 * N_BINS), N_BINS - 1) for e in events if e.at_percent is not None]
    return np.bincount(np.array(places, dtype=np.int64), minlength=N_BINS).astype(np.int64)


def _passes(bins: IntArray, strokes: tuple[Stroke, ...]) -> IntArray:
    passes = np.zeros(N_BINS, dtype=np.int64)
    for s in strokes:
        part = bins[s.start : s.stop]
        if part.size:
            passes[int(part.min()) : int(part.max()) + 1] += 1
    return passes


def strokes_at(events: tuple[Event, ...], centre: float, *, reach: float = 2.0) -> set[int | None]:
    """Strokes in which something was met within `reach` per cent of `centre`."""
    return {e.stroke for e in events if e.at_percent is not None and abs(e.at_percent - centre) <= reach}
