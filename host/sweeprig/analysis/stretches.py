"""Stretches of a trace with nothing missing inside: whatever looks for movement looks in one at a time."""

from __future__ import annotations

import numpy as np

from sweeprig.analysis.model import FloatArray
from sweeprig.capture.model import BoolArray

Stretches = tuple[slice, ...]


def stretches(gap_before: BoolArray) -> Stretches:
    """Runs of windows that follow one another; `gap_before` (n,): something is missing before that window."""
    n = gap_before.size
    starts = [0, *(int(k) for k in np.flatnonzero(gap_before) if k > 0)]
    return tuple(slice(a, b) for a, b in zip(starts, [*starts[1:], n], strict=True) if b > a)


def clear_of(parts: Stretches, n: int, reach: int) -> BoolArray:
    """Windows with nothing missing within `reach` windows of them, shape (n,); the ends of the whole count as clear."""
    out = np.ones(n, dtype=bool)
    for part in parts[1:]:
        out[max(0, part.start - reach) : part.start + reach] = False
    return out


def second_differences(path: FloatArray, parts: Stretches) -> FloatArray:
    """Second differences inside the stretches, one after another."""
    return np.concatenate([np.diff(path[part], 2) for part in parts]) if parts else path[:0]
