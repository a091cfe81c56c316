"""Events: what no hand and no spring can do to a lever.

A hand's voluntary movement has a bandwidth of some 10 Hz (common practice, no source), a spring's release
some hundred. Both change SPEED at once at most, as at a stop; neither puts an impulse into speed. So the
range max - min inside a window is compared with the movement per window on both sides of it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from sweeprig.analysis.coarse import is_coarse, least_v, off_line, peak_heights_v, widened
from sweeprig.analysis.model import FloatArray
from sweeprig.analysis.runs import Reach, Run, levelled, line_of, paired_runs, runs_of
from sweeprig.analysis.settled import Scale, encounters_of
from sweeprig.analysis.speed import side_speed, speed_around
from sweeprig.analysis.stretches import Stretches
from sweeprig.capture.model import Channel

SLOPE_FACTOR = 1.6  # range per window that movement may have, in units of the speed beside it
NOISE_FACTOR = 8.0  # threshold above the usual range, in units of its 90 % quantile less its median
FLOOR_LSB = 14.0  # codes; the steps of a converter with wide codes are below (references: RP2040-E11)
FLOOR_PERCENT = 0.6  # % of supply
MANY_IN_A_SLIP_S = 0.0015  # s; of windows up to so long a lever that slips on takes more than SIDE
SIDE = 7  # windows on either side whose median speed counts
BOTH_WAYS = 0.3  # share of the deeper side that the other reaches in a burst from outside
LONGEST_S, LONGEST_SMALL_S = (
    1.0,
    0.12,
)  # s between two edges of one dropout, of large and of small ones; own choice
LARGE_PERCENT = 5.0  # % of supply of either edge of a large one


@dataclass(frozen=True)
class RawEvent:
    """One event in windows and volts."""

    start: int
    stop: int
    depth_v: float  # [V] signed: negative towards ground
    extreme_v: float  # [V] furthest single reading
    duration_s: float
    score: float  # excess over the noise, in standard deviations
    path_v: float  # [V] where the signal should have been
    step: bool = False  # the level does not come back
    both_ways: bool = False  # it leaves the path upwards and downwards


def excess(channel: Channel, speed: FloatArray) -> FloatArray:
    """Range of each window beyond what the movement beside it explains [V], shape (n,); `speed`: V per window."""
    return channel.max_v - channel.min_v - SLOPE_FACTOR * speed


def threshold(over: FloatArray, *, lsb_v: float, supply_v: float) -> tuple[float, float]:
    """(threshold, scale of the excess), each [V], from the data's own noise."""
    usual, upper = np.quantile(over, (0.5, 0.9))
    scale = max(float(upper - usual), 0.3 * lsb_v, 1e-6)
    floor = max(FLOOR_LSB * lsb_v, FLOOR_PERCENT / 100 * supply_v)
    return float(usual) + max(NOISE_FACTOR * scale, floor), scale


def find(
    channel: Channel, *, window_s: float, lsb_v: float, supply_v: float, parts: Stretches | None = None
) -> tuple[RawEvent, ...]:
    """All events of one channel, in order of time; none of them reaches from one of `parts` into another."""
    parts = (slice(0, channel.mean_v.size),) if parts is None else parts
    if is_coarse(window_s):
        return _find_coarse(channel, parts, window_s=window_s, lsb_v=lsb_v, supply_v=supply_v)
    speed = _speed(channel, [part.start for part in parts[1:]], window_s)
    over = np.concatenate([_both(channel.only(part), speed[part]) for part in parts])
    limit, scale = threshold(over, lsb_v=lsb_v, supply_v=supply_v)
    hit = over > limit
    found: list[RawEvent] = []
    reach = Reach(
        round(LONGEST_SMALL_S / window_s), round(LONGEST_S / window_s), LARGE_PERCENT / 100 * supply_v
    )
    for part in parts:
        runs = levelled(runs_of(hit[part]), channel.mean_v[part]) if hit[part].any() else []
        pairs = paired_runs(runs, limit, reach, channel.mean_v[part])
        for run in encounters_of(pairs, channel.mean_v[part], Scale(limit, window_s, supply_v)):
            event = _event(channel.only(part), run, window_s=window_s, limit=limit, scale=scale)
            if event is not None:
                found.append(replace(event, start=event.start + part.start, stop=event.stop + part.start))
    return tuple(found)


def _find_coarse(
    channel: Channel, parts: Stretches, *, window_s: float, lsb_v: float, supply_v: float
) -> tuple[RawEvent, ...]:
    over = np.concatenate([peak_heights_v(channel.only(part), window_s) for part in parts])
    noise_v, scale = threshold(over, lsb_v=lsb_v, supply_v=supply_v)
    limit = max(noise_v, least_v(channel.mean_v))
    found = []
    for a, b in widened(runs_of(over > limit), over, channel.mean_v, Scale(noise_v, window_s, supply_v)):
        down, up, level = off_line(channel, a, b)
        side = max(down, up)
        depth = -down if down >= up else up
        if side > limit:
            seconds, ringing = (b - a) * window_s, min(down, up) > max(limit / 2, BOTH_WAYS * side)
            found.append(
                RawEvent(a, b, depth, level + depth, seconds, side / scale, level, both_ways=ringing)
            )
    return tuple(found)


def _speed(channel: Channel, breaks: list[int], window_s: float) -> FloatArray:
    """Speed beside each window [V per window], shape (n,); `breaks`: windows before which something is missing."""
    beside = side_speed(channel.mean_v, SIDE, breaks)
    few = _single(channel) or window_s > MANY_IN_A_SLIP_S
    return np.maximum(beside, speed_around(channel.mean_v, breaks)) if few else beside


def _single(channel: Channel) -> bool:
    """Whether these are single readings, no windows with a range."""
    return channel.max_v is channel.mean_v or bool(np.array_equal(channel.max_v, channel.min_v))


def _both(channel: Channel, speed: FloatArray) -> FloatArray:
    """Excess inside windows, and between the centres of two, so that an edge on a border is seen."""
    over = excess(channel, speed)
    mean = channel.mean_v
    if _single(channel):
        step = np.abs(np.diff(mean, prepend=mean[:1]))
        return np.asarray(step - SLOPE_FACTOR * speed, dtype=float)
    border = np.maximum(channel.min_v[1:] - channel.max_v[:-1], channel.min_v[:-1] - channel.max_v[1:])
    gap = np.pad(border, (1, 0), constant_values=-np.inf) - SLOPE_FACTOR * speed
    return np.asarray(np.maximum(over, gap), dtype=float)


def _event(channel: Channel, run: Run, *, window_s: float, limit: float, scale: float) -> RawEvent | None:
    a, b, before, after = run.start, run.stop, run.before, run.after
    low, high = min(before, after), max(before, after)
    bottom, top = float(channel.min_v[a:b].min()), float(channel.max_v[a:b].max())
    down, up, step = low - bottom, top - high, abs(run.step)
    side, path = max(down, up), (before + after) / 2
    if side < limit / 2 and step < limit:
        return None
    if side < step / 2 and run.paired:
        return _far_apart(channel, run, window_s=window_s, scale=scale)
    if side < step / 2:
        return RawEvent(a, b, run.step, after, (b - a) * window_s, step / scale, path, step=True)
    area = float(np.abs(channel.mean_v[a:b] - line_of(run)).sum())
    inside = min(b - a, area / side) * window_s
    depth, extreme = (-down, bottom) if down >= up else (up, top)
    ringing = min(down, up) > max(limit / 2, BOTH_WAYS * side)
    return RawEvent(a, b, depth, extreme, inside, side / scale, path, both_ways=ringing)


def _far_apart(channel: Channel, run: Run, *, window_s: float, scale: float) -> RawEvent:
    """A long dropout during which the lever moved on by more than the dropout is deep: counted from its middle."""
    inside = channel.mean_v[run.start : run.stop]
    up = float(np.median(inside - line_of(run))) > 0
    extreme = float(
        channel.max_v[run.start : run.stop].max() if up else channel.min_v[run.start : run.stop].min()
    )
    path = (run.before + run.after) / 2
    depth = extreme - path
    return RawEvent(run.start, run.stop, depth, extreme, inside.size * window_s, abs(depth) / scale, path)
