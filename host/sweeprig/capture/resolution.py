"""The step in which readings are written down."""

from __future__ import annotations

import numpy as np

from sweeprig.capture.model import FloatArray


def resolution(volts: FloatArray) -> float:
    """Return the smallest distance of two different values [V], (n,) without NaN; 0 of one value alone."""
    steps = np.diff(np.unique(np.round(volts, 7)))
    return float(steps.min()) if steps.size else 0.0
