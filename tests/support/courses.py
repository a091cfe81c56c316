"""Courses of a lever in volts over time, cut into traces as they would come from a rig."""

from __future__ import annotations

import numpy as np

from sweeprig.capture.model import Channel, FloatArray, Trace

WINDOW_S = 1e-3


def course(*legs: tuple[float, float]) -> FloatArray:
    """Volts over time from (seconds, volts at their end); a leg that ends where it began is a rest."""
    parts, at = [], legs[0][1]
    for seconds, goal in legs:
        u = np.arange(1, round(seconds / WINDOW_S) + 1) / round(seconds / WINDOW_S)
        parts.append(at + (goal - at) * (3 * u**2 - 2 * u**3))
        at = goal
    return np.concatenate(parts)


def traces(v: FloatArray, *, chunk: int = 137, noise_v: float = 1e-3) -> list[Trace]:
    """Cut a course into traces of `chunk` windows, with the noise of a good rig."""
    v = v + np.random.default_rng(1).normal(0, noise_v, v.size)
    return [_trace(v[k : k + chunk], k) for k in range(0, v.size, chunk)]


def trace_of(v: FloatArray, *, first: int = 0, noise_v: float = 1e-3) -> Trace:
    """Volts as one trace that begins with window `first`, with the noise of a good rig."""
    return _trace(v + np.random.default_rng(first).normal(0, noise_v, v.size), first)


def _trace(part: FloatArray, first: int) -> Trace:
    return Trace(
        t_s=(first + np.arange(part.size)) * WINDOW_S,
        signal_a=Channel(part, part, part),
        signal_b=None,
        supply=None,
        window_s=WINDOW_S,
        n_per_window=166,
        lsb_v=1e-3,
        full_scale_v=5.5,
        gap_before=np.zeros(part.size, bool),
    )
