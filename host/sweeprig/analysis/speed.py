"""Speed of a signal beside a window, which its own event does not touch."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sweeprig.analysis.model import FloatArray

GOES_ON = 2  # readings before and after which a lever that slips moves on the same way


def side_speed(mean_v: FloatArray, side: int, breaks: Sequence[int] = ()) -> FloatArray:
    """Largest of the median speeds over `side` windows just before and just after each [V per window], shape (n,)."""
    from scipy.ndimage import median_filter

    middle = median_filter(np.abs(steps_of(mean_v, breaks)), side, mode="nearest")
    reach = side // 2 + 2
    padded = np.pad(middle, reach, mode="edge")
    n = mean_v.size
    return np.asarray(np.maximum(padded[:n], padded[2 * reach : 2 * reach + n]), dtype=float)


def speed_around(mean_v: FloatArray, breaks: Sequence[int] = ()) -> FloatArray:
    """Larger of the speeds GOES_ON readings before and after each, 0 where one of them goes another way, shape (n,).

    A lever that slips on in few readings moves the same way all the while; the edge of a fault is alone.
    """
    step = steps_of(mean_v, breaks)
    padded = np.pad(step, GOES_ON, mode="edge")
    before, after = (part * np.sign(step) for part in (padded[: step.size], padded[2 * GOES_ON :]))
    return np.where(np.minimum(before, after) > 0, np.maximum(before, after), 0.0)


def steps_of(mean_v: FloatArray, breaks: Sequence[int] = ()) -> FloatArray:
    """Change of each window from the one before [V], shape (n,).

    That of the first, and of those of `breaks`, before which something is missing, is the mean of those beside it.
    """
    step = np.diff(mean_v, prepend=mean_v[:1])
    if step.size > 1:
        own = np.array([0, *breaks])
        step[own] = (step[np.maximum(own - 1, 0)] + step[np.minimum(own + 1, step.size - 1)]) / 2
        step[0] = step[1]
    return np.asarray(step, dtype=float)
