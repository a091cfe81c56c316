"""What a signal goes to and fro by while the lever moves: ripple, hum and noise, which make stays and dips anywhere."""

from __future__ import annotations

import numpy as np

from sweeprig.analysis.model import FloatArray, Stroke
from sweeprig.capture.model import BoolArray

OVER_S = 0.02  # s: the departure from the mean over that is no movement of a hand
SHARE = 0.9  # of the windows in movement: a ripple of the supply grows with the signal
PEAK_TO_PEAK = 2.02  # of a sine over what SHARE of it stays below
FEWEST = 50  # windows in movement


def in_movement(path: FloatArray, strokes: tuple[Stroke, ...], *, good: BoolArray, window_s: float) -> float:
    """Return the unrest of a signal in its strokes, peak to peak [V]; arrays (n,), `good`: windows without an event."""
    from scipy.ndimage import uniform_filter1d

    moving = np.zeros(path.size, dtype=bool)
    for s in strokes:
        moving[s.start : s.stop] = True
    over = (
        max(3, round(OVER_S / window_s)) | 1
    )  # odd: an even mean is half a window late, and movement looks like noise
    off = np.abs(path - uniform_filter1d(path, over, mode="nearest"))
    own = off[moving & good]
    return PEAK_TO_PEAK * float(np.quantile(own, SHARE)) if own.size >= FEWEST else 0.0
