"""A lever moved by a hand, leg by leg, and what a sound sensor on it gives."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from support.outcomes import CLOSED_V, OPEN_V, make_trace
from sweeprig.capture.model import Channel, FloatArray, Trace

WINDOW_S = 166 * 3 / 500_000
Legs = list[tuple[float, float]]  # share of travel to go to, seconds that takes; the same share again: a rest


def lever(legs: Legs, *, start: float = 0.0, step_s: float = WINDOW_S) -> FloatArray:
    """Places of the lever (n,), share of travel; each leg begins and ends at once, as a hand against a stop does."""
    parts, at = [], start
    for to, seconds in legs:
        n = max(1, round(seconds / step_s))
        parts.append(at + (to - at) * (np.arange(n) + 1) / n)
        at = to
    return np.concatenate(parts)


def through_play(x: FloatArray, width: float) -> FloatArray:
    """The wiper's place where lever and wiper have play of `width` between them."""
    out, at = np.empty_like(x), 0.0
    for k, place in enumerate(x):
        at = min(max(at, place - width / 2), place + width / 2)
        out[k] = at
    return out


def strokes(times: list[float], *, rest_s: float = 0.5) -> Legs:
    """Rest at closed, then strokes open and back of the given times, each with a rest after it."""
    legs: Legs = [(0.0, rest_s)]
    for k, seconds in enumerate(times):
        to = float(k % 2 == 0)
        legs += [(to, seconds), (to, rest_s)]
    return legs


def sensed(x: FloatArray, *, low: float = CLOSED_V, high: float = OPEN_V, seed: int = 5) -> Trace:
    """A sound rising sensor on a lever at x (n,), as windows with the usual noise."""
    t = make_trace(n=x.size, seed=seed)
    mean = low + (high - low) * x + np.random.default_rng(seed).normal(0, 6e-4, x.size)
    return replace(t, signal_a=Channel(mean, mean - 2.6e-3, mean + 2.6e-3))


def changed(c: Channel, by_v: FloatArray) -> Channel:
    """The channel with something added to every conversion [V], (n,)."""
    return Channel(c.mean_v + by_v, c.min_v + by_v, c.max_v + by_v)
