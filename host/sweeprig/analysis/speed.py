"""Speed of a signal beside a window, which its own event does not touch."""

from __future__ import annotations

import numpy as np

from sweeprig.analysis.model import FloatArray


def side_speed(mean_v: FloatArray, side: int) -> FloatArray:
    """Largest of the median speeds over `side` windows just before and just after each [V per window], shape (n,)."""
    from scipy.ndimage import median_filter

    speed = np.abs(np.diff(mean_v, prepend=mean_v[:1]))
    middle = median_filter(speed, side, mode="nearest")
    reach = side // 2 + 2
    padded = np.pad(middle, reach, mode="edge")
    n = mean_v.size
    return np.asarray(np.maximum(padded[:n], padded[2 * reach : 2 * reach + n]), dtype=float)
