"""Events in readings, or windows, too far apart to follow a lever: what goes out and comes back between them.

At some hundred readings a second a spring's release or a quick hand moves the lever from one reading to the next as
far as a fault would. A movement in one direction leaves no peak, however fast; a lift does.
"""

from __future__ import annotations

import numpy as np

from sweeprig.analysis.model import FloatArray, IntArray
from sweeprig.analysis.settled import BEND, Scale, settled, straight_before
from sweeprig.analysis.speed import side_speed
from sweeprig.capture.model import Channel

COARSE_S = 0.003  # s between readings, from which this is used
LIFT_S = 0.02  # s; the widest peak that counts
LEAST_SHARE = (
    0.1  # of the signal's way: a lever bounces off its stop by nearly as much (common practice, no source)
)
SKIRT = 0.05  # of a peak, by which the readings before it bend: they belong to it. Own choice, no source
SLOPE_FACTOR = (
    1.6  # peak of a movement that turns round between two readings, in units of the speed beside it
)


def is_coarse(window_s: float) -> bool:
    """Whether readings, or windows, are so far apart."""
    return window_s > COARSE_S


def peak_heights_v(channel: Channel, window_s: float) -> FloatArray:
    """How far each reading stands out of those around it beyond what movement explains [V], shape (n,).

    Of windows the highest value stands out upwards and the lowest downwards.
    """
    from scipy.ndimage import grey_closing, grey_opening

    n, width = channel.mean_v.size, max(1, round(LIFT_S / window_s)) + 1
    if n <= 2 * width:
        return np.zeros(n)
    up = channel.max_v - grey_opening(channel.max_v, width)
    down = grey_closing(channel.min_v, width) - channel.min_v
    over = np.maximum(up, down) - SLOPE_FACTOR * side_speed(channel.mean_v, 3)
    over[:1] = over[-1:] = 0.0  # nothing is known of one side
    return np.asarray(over, dtype=float)


def widened(runs: IntArray, heights_v: FloatArray, mean_v: FloatArray, scale: Scale) -> list[tuple[int, int]]:
    """Runs of peaks from where the signal leaves a straight line, by SKIRT of the peak, to where it settles.

    None reaches into another, nor to the first or last reading.
    """
    out: list[tuple[int, int]] = []
    bounds: list[list[int]] = runs.tolist()
    for k, (start, stop) in enumerate(bounds):
        least_v = max(BEND * scale.limit, SKIRT * float(heights_v[start:stop].max()))
        first = out[-1][1] if out else 1
        a = straight_before(max(first, start), first, mean_v, least_v, scale)
        end = bounds[k + 1][0] if k + 1 < len(bounds) else heights_v.size - 1
        out.append((a, settled(stop, end, mean_v, least_v, scale)))
    return out


def least_v(mean_v: FloatArray) -> float:
    """Least depth of an event [V]."""
    return LEAST_SHARE * float(np.ptp(mean_v))


def off_line(channel: Channel, a: int, b: int) -> tuple[float, float, float]:
    """Departure of readings a..b from the line between their neighbours, downwards and upwards, and its level [V]."""
    low, high = (_beside(v, a, b) for v in (channel.min_v, channel.max_v))
    down, up = float((low - channel.min_v[a:b]).max()), float((channel.max_v[a:b] - high).max())
    return down, up, float(_beside(channel.mean_v, a, b).mean())


def _beside(values: FloatArray, a: int, b: int) -> FloatArray:
    """The line between the values on both sides of a..b, shape (b - a,)."""
    return np.linspace(values[a - 1], values[b], b - a + 2)[1:-1]
