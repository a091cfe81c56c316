"""Events: what no hand and no spring can do to a lever.

A hand's voluntary movement has a bandwidth of some 10 Hz (common practice, no source), a spring's release
some hundred. Both change SPEED at once at most, as at a stop; neither puts an impulse into speed. So the
range max - min inside a window is compared with the movement per window on both sides of it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sweeprig.analysis.model import FloatArray, IntArray
from sweeprig.capture.model import BoolArray, Channel

SLOPE_FACTOR = 1.6  # range per window that movement may have, in units of the speed beside it
NOISE_FACTOR = 8.0  # threshold above the usual range, in units of its 90 % quantile less its median
FLOOR_LSB = 14.0  # codes; the steps of a converter with wide codes are below (references: RP2040-E11)
FLOOR_PERCENT = 0.6  # % of supply
SIDE = 7  # windows on either side whose median speed counts
BOTH_WAYS = 0.3  # share of the deeper side that the other reaches in a burst from outside
LONGEST = 120  # windows between two edges of one dropout


@dataclass(frozen=True)
class RawEvent:
    """One event in windows and volts."""

    start: int
    stop: int
    depth_v: float  # [V] signed: negative towards ground
    extreme_v: float
    duration_s: float
    score: float
    path_v: float
    step: bool = False  # the level does not come back
    both_ways: bool = False  # it leaves the path upwards and downwards


def excess(channel: Channel) -> FloatArray:
    """Range of each window beyond what the movement beside it explains [V], shape (n,)."""
    return channel.max_v - channel.min_v - SLOPE_FACTOR * side_speed(channel.mean_v)


def side_speed(mean_v: FloatArray) -> FloatArray:
    """Largest of the median speeds just before and just after each window [V per window], shape (n,)."""
    from scipy.ndimage import median_filter

    speed = np.abs(np.diff(mean_v, prepend=mean_v[:1]))
    middle = median_filter(speed, SIDE, mode="nearest")
    reach = SIDE // 2 + 2
    padded = np.pad(middle, reach, mode="edge")
    n = mean_v.size
    return np.asarray(np.maximum(padded[:n], padded[2 * reach : 2 * reach + n]), dtype=float)


def threshold(over: FloatArray, *, lsb_v: float, supply_v: float) -> tuple[float, float]:
    """(threshold, scale of the excess), each [V], from the data's own noise."""
    usual, upper = np.quantile(over, (0.5, 0.9))
    scale = max(float(upper - usual), 0.3 * lsb_v, 1e-6)
    floor = max(FLOOR_LSB * lsb_v, FLOOR_PERCENT / 100 * supply_v)
    return float(usual) + max(NOISE_FACTOR * scale, floor), scale


def find(channel: Channel, *, window_s: float, lsb_v: float, supply_v: float) -> tuple[RawEvent, ...]:
    """All events of one channel, in order of time."""
    over = _both(channel)
    limit, scale = threshold(over, lsb_v=lsb_v, supply_v=supply_v)
    hit = over > limit
    if not hit.any():
        return ()
    runs = _merge(_runs(hit), channel, limit)
    made = (_event(channel, a, b, window_s=window_s, limit=limit, scale=scale) for a, b in runs)
    return tuple(e for e in made if e is not None)


def _both(channel: Channel) -> FloatArray:
    """Excess inside windows, and between the centres of two, so that an edge on a border is seen."""
    over = excess(channel)
    mean = channel.mean_v
    if channel.max_v is mean or np.array_equal(channel.max_v, channel.min_v):
        step = np.abs(np.diff(mean, prepend=mean[:1]))
        return np.asarray(step - SLOPE_FACTOR * side_speed(mean), dtype=float)
    border = np.maximum(channel.min_v[1:] - channel.max_v[:-1], channel.min_v[:-1] - channel.max_v[1:])
    speed = side_speed(mean)
    gap = np.pad(border, (1, 0), constant_values=-np.inf) - SLOPE_FACTOR * speed
    return np.asarray(np.maximum(over, gap), dtype=float)


def _runs(hit: BoolArray) -> IntArray:
    edge = np.flatnonzero(np.diff(np.pad(hit.astype(np.int8), 1)))
    return edge.reshape(-1, 2)


def _merge(runs: IntArray, channel: Channel, limit: float) -> list[tuple[int, int]]:
    """Join two edges when the level between them stands off the line from before to after."""
    out: list[tuple[int, int]] = []
    for a, b in runs.tolist():
        if out and a - out[-1][1] <= LONGEST and _stands_off(channel.mean_v, out[-1], (a, b), limit):
            out[-1] = (out[-1][0], b)
        else:
            out.append((a, b))
    return out


def _stands_off(mean: FloatArray, first: tuple[int, int], second: tuple[int, int], limit: float) -> bool:
    if second[0] - first[1] <= 1:
        return True
    before, after = _beside(mean, first[0], second[1])
    between = float(np.median(mean[first[1] : second[0]]))
    low, high = min(before, after), max(before, after)
    return between < low - limit / 2 or between > high + limit / 2


def _beside(mean: FloatArray, start: int, stop: int) -> tuple[float, float]:
    """Levels just before and just after, carried on to the event by their own slope."""
    left, right = mean[max(0, start - 5) : start], mean[stop : stop + 5]
    if left.size == 0:
        left = right
    if right.size == 0:
        right = left
    return (float(np.median(left)), float(np.median(right))) if left.size else (float(mean[start]),) * 2


def _event(
    channel: Channel, a: int, b: int, *, window_s: float, limit: float, scale: float
) -> RawEvent | None:
    before, after = _beside(channel.mean_v, a, b)
    low, high = min(before, after), max(before, after)
    down = low - float(channel.min_v[a:b].min())
    up = float(channel.max_v[a:b].max()) - high
    path = (before + after) / 2
    step = abs(after - before)
    side = max(down, up)
    if side < limit / 2 and step < limit:
        return None
    if side < step / 2:
        return RawEvent(a, b, after - before, after, (b - a) * window_s, step / scale, path, step=True)
    depth = -down if down >= up else up
    area = float(np.abs(channel.mean_v[a:b] - path).sum())
    inside = min(b - a, max(area / side, 0.0)) * window_s
    extreme = float(channel.min_v[a:b].min() if depth < 0 else channel.max_v[a:b].max())
    ringing = min(down, up) > max(limit / 2, BOTH_WAYS * side)
    return RawEvent(a, b, depth, extreme, inside, side / scale, path, both_ways=ringing)
