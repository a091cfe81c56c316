"""Events in readings too far apart to follow a lever: only what goes out and comes back between them counts.

At some hundred readings a second a spring's release or a quick hand moves the lever from one reading to the next as
far as a fault would. A movement in one direction leaves no peak, however fast; a lift does.
"""

from __future__ import annotations

import numpy as np

from sweeprig.analysis.model import FloatArray
from sweeprig.analysis.speed import side_speed
from sweeprig.capture.model import Channel

COARSE_S = 0.003  # s between single readings, from which this is used
LIFT_S = 0.02  # s; the widest peak that counts
LEAST_SHARE = (
    0.1  # of the signal's way: a lever bounces off its stop by nearly as much (common practice, no source)
)
SLOPE_FACTOR = (
    1.6  # peak of a movement that turns round between two readings, in units of the speed beside it
)


def is_coarse(channel: Channel, window_s: float) -> bool:
    """Whether the data holds single readings, so far apart."""
    return window_s > COARSE_S and bool(np.array_equal(channel.max_v, channel.min_v))


def peak_heights_v(mean_v: FloatArray, window_s: float) -> FloatArray:
    """How far each reading stands out of those around it beyond what movement explains [V], shape (n,)."""
    from scipy.ndimage import grey_closing, grey_opening

    width = max(1, round(LIFT_S / window_s)) + 1
    if mean_v.size <= 2 * width:
        return np.zeros(mean_v.size)
    up, down = mean_v - grey_opening(mean_v, width), grey_closing(mean_v, width) - mean_v
    over = np.maximum(up, down) - SLOPE_FACTOR * side_speed(mean_v, 3)
    over[:1] = over[-1:] = 0.0  # nothing is known of one side
    return np.asarray(over, dtype=float)


def least_v(mean_v: FloatArray) -> float:
    """Least depth of an event [V]."""
    return LEAST_SHARE * float(np.ptp(mean_v))


def off_line(mean_v: FloatArray, a: int, b: int) -> tuple[float, float]:
    """Deepest departure of readings a..b from the line between their neighbours, signed, and the level there [V]."""
    line = np.linspace(mean_v[a - 1], mean_v[b], b - a + 2)[1:-1]
    off = mean_v[a:b] - line
    return float(off[np.argmax(np.abs(off))]), float(line.mean())
