"""Events: what no hand and no spring can do to a lever.

A hand's voluntary movement has a bandwidth of some 10 Hz (common practice, no source), a spring's release
some hundred. Both change SPEED at once at most, as at a stop; neither puts an impulse into speed. So the
range max - min inside a window is compared with the movement per window on both sides of it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from sweeprig.analysis.coarse import is_coarse, least_v, off_line, peak_heights_v
from sweeprig.analysis.model import FloatArray, IntArray
from sweeprig.analysis.speed import side_speed, speed_around
from sweeprig.analysis.stretches import Stretches
from sweeprig.capture.model import BoolArray, Channel

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
LEVEL = 0.5  # of an edge, that a signal moves by while it is away. Own choice, no source
EDGE = 5  # windows of one edge at most
BESIDE = 5  # windows whose median is the level beside an edge
BACK = 0.75  # of the larger edge: how far apart the levels before and after a dropout may be


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
    reach = _Reach(
        round(LONGEST_SMALL_S / window_s), round(LONGEST_S / window_s), LARGE_PERCENT / 100 * supply_v
    )
    for part in parts:
        runs = _levelled(_runs(hit[part]), channel.mean_v[part]) if hit[part].any() else []
        for run in _paired(runs, limit, reach, channel.mean_v[part]):
            event = _event(channel.only(part), run, window_s=window_s, limit=limit, scale=scale)
            if event is not None:
                found.append(replace(event, start=event.start + part.start, stop=event.stop + part.start))
    return tuple(found)


def _find_coarse(
    channel: Channel, parts: Stretches, *, window_s: float, lsb_v: float, supply_v: float
) -> tuple[RawEvent, ...]:
    over = np.concatenate([peak_heights_v(channel.only(part), window_s) for part in parts])
    limit, scale = threshold(over, lsb_v=lsb_v, supply_v=supply_v)
    limit = max(limit, least_v(channel.mean_v))
    found = []
    for a, b in _runs(over > limit).tolist():
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


def _runs(hit: BoolArray) -> IntArray:
    edge = np.flatnonzero(np.diff(np.pad(hit.astype(np.int8), 1)))
    return edge.reshape(-1, 2)


class _Run(NamedTuple):
    """Windows start..stop with the levels just before and just after them [V], and the speed around them."""

    start: int
    stop: int
    before: float
    after: float
    speed: float = 0.0  # [V per window]
    paired: bool = False  # it leaves the path and comes back

    @property
    def step(self) -> float:
        return self.after - self.before

    @property
    def jump(self) -> float:
        """Step beyond what the movement around it makes of that time [V]."""
        return self.step - self.speed * (self.stop - self.start)


class _Reach(NamedTuple):
    """Windows between two edges of one dropout; more of them where both edges are large."""

    usual: int
    longest: int
    large_v: float


def _levelled(runs: IntArray, mean: FloatArray) -> list[_Run]:
    """Each run with its levels: of up to BESIDE windows that belong to no other run, carried on by their speed."""
    out: list[_Run] = []
    bounds: list[list[int]] = runs.tolist()
    last = len(bounds) - 1
    for k, (a, b) in enumerate(bounds):
        first = bounds[k - 1][1] if k else 0
        end = bounds[k + 1][0] if k < last else mean.size
        left, right = mean[max(first, a - BESIDE) : a].tolist(), mean[b : min(end, b + BESIDE)].tolist()
        (before, speed_in), (after, speed_out) = _carried(left, 1), _carried(right, -1)
        if not left or not right:
            before = after = before if left else after if right else float(mean[a])
        out.append(_Run(a, b, before, after, (speed_in + speed_out) / 2))
    return out


def _carried(values: list[float], way: int) -> tuple[float, float]:
    """Level half a window beyond the last value (way 1) or before the first (way -1), and the speed."""
    n = len(values)
    if n == 0:
        return 0.0, 0.0
    speed = _middle([b - a for a, b in pairwise(values)]) if n > 2 else 0.0
    return _middle(values) + way * speed * n / 2, speed


def _middle(values: list[float]) -> float:
    ordered, n = sorted(values), len(values)
    return (ordered[(n - 1) // 2] + ordered[n // 2]) / 2


def _paired(runs: list[_Run], limit: float, reach: _Reach, mean: FloatArray) -> list[_Run]:
    """Join the edge that leaves the path with the one that comes back to it; what came back stays alone."""
    out, k = [], 0
    while k < len(runs):
        last = _return(runs, k, limit, reach, mean)
        left, back = runs[k], runs[last]
        out.append(_Run(left.start, back.stop, left.before, back.after, paired=last > k))
        k = last + 1
    return out


def _return(runs: list[_Run], k: int, limit: float, reach: _Reach, mean: FloatArray) -> int:
    """Index of the run that ends what run k began: the first edge the other way, not far from the level before."""
    left = runs[k]
    if abs(left.jump) <= limit / 2:
        return k
    for m in range(k + 1, len(runs)):
        back = runs[m]
        apart = back.start - left.stop
        if apart > reach.longest:
            break
        if apart > reach.usual and not _may_be_away(left, back, reach.large_v, mean):
            continue
        edge = max(abs(left.jump), abs(back.jump))
        if back.jump * left.jump < 0 and abs(back.after - left.before) < max(limit, BACK * edge):
            return m
    return k


def _may_be_away(left: _Run, back: _Run, least_v: float, mean: FloatArray) -> bool:
    """Whether a signal may have been away for long: both edges are large, and between them it hardly moved.

    Where the lever moves on behind an edge the track has a step there.
    """
    if not (_is_large(left, least_v) and _is_large(back, least_v)):
        return False
    inside = mean[left.stop : back.start]
    return is_level(inside, min(abs(left.jump), abs(back.jump)))


def is_level(inside: FloatArray, edge_v: float) -> bool:
    """Whether the values between two edges, (n,), move by less than LEVEL of the smaller edge."""
    low, high = np.quantile(inside, (0.05, 0.95)) if inside.size else (0.0, 0.0)
    return float(high - low) <= LEVEL * edge_v


def _is_large(run: _Run, least_v: float) -> bool:
    """Whether a run is one edge, and a large one: what a lever's own movement over a rough stretch makes is none."""
    return abs(run.jump) >= least_v and run.stop - run.start <= EDGE


def _event(channel: Channel, run: _Run, *, window_s: float, limit: float, scale: float) -> RawEvent | None:
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
    line = before + run.step * (np.arange(b - a) + 0.5) / (b - a)
    area = float(np.abs(channel.mean_v[a:b] - line).sum())
    inside = min(b - a, area / side) * window_s
    depth, extreme = (-down, bottom) if down >= up else (up, top)
    ringing = min(down, up) > max(limit / 2, BOTH_WAYS * side)
    return RawEvent(a, b, depth, extreme, inside, side / scale, path, both_ways=ringing)


def _far_apart(channel: Channel, run: _Run, *, window_s: float, scale: float) -> RawEvent:
    """A long dropout during which the lever moved on by more than the dropout is deep: counted from its middle."""
    inside = channel.mean_v[run.start : run.stop]
    line = run.before + run.step * (np.arange(inside.size) + 0.5) / inside.size
    up = float(np.median(inside - line)) > 0
    extreme = float(
        channel.max_v[run.start : run.stop].max() if up else channel.min_v[run.start : run.stop].min()
    )
    path = (run.before + run.after) / 2
    depth = extreme - path
    return RawEvent(run.start, run.stop, depth, extreme, inside.size * window_s, abs(depth) / scale, path)
