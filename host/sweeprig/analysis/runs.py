"""Runs of windows that no movement explains, their levels, and which of them belong together."""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple

import numpy as np

from sweeprig.analysis.model import FloatArray, IntArray
from sweeprig.capture.model import BoolArray

LEVEL = 0.5  # of an edge, that a signal moves by while it is away. Own choice, no source
EDGE = 5  # windows of one edge at most
BESIDE = 5  # windows whose median is the level beside an edge
BACK = 0.75  # of the larger edge: how far apart the levels before and after a dropout may be


def runs_of(hit: BoolArray) -> IntArray:
    """Return start and stop of each run of hit windows, shape (k, 2)."""
    edge = np.flatnonzero(np.diff(np.pad(hit.astype(np.int8), 1)))
    return edge.reshape(-1, 2)


class Run(NamedTuple):
    """Windows start..stop with the levels just before and just after them [V], and the speed around them."""

    start: int
    stop: int
    before: float
    after: float
    speed: float = 0.0  # [V per window]
    paired: bool = False  # it leaves the path and comes back

    @property
    def step(self) -> float:
        """From the level before to that after [V]."""
        return self.after - self.before

    @property
    def jump(self) -> float:
        """Step beyond what the movement around it makes of that time [V]."""
        return self.step - self.speed * (self.stop - self.start)


class Reach(NamedTuple):
    """Windows between two edges of one dropout; more of them where both edges are large."""

    usual: int
    longest: int
    large_v: float


def levelled(runs: IntArray, mean: FloatArray) -> list[Run]:
    """Each run with its levels: of up to BESIDE windows that belong to no other run, carried on by their speed."""
    out: list[Run] = []
    bounds: list[list[int]] = runs.tolist()
    last = len(bounds) - 1
    for k, (a, b) in enumerate(bounds):
        first = bounds[k - 1][1] if k else 0
        end = bounds[k + 1][0] if k < last else mean.size
        left, right = mean[max(first, a - BESIDE) : a].tolist(), mean[b : min(end, b + BESIDE)].tolist()
        (before, speed_in), (after, speed_out) = level_and_speed(left, 1), level_and_speed(right, -1)
        if not left or not right:
            before = after = before if left else after if right else float(mean[a])
        out.append(Run(a, b, before, after, (speed_in + speed_out) / 2))
    return out


def level_and_speed(values: list[float], way: int) -> tuple[float, float]:
    """Level half a window beyond the last value (way 1) or before the first (way -1), and the speed."""
    n = len(values)
    if n == 0:
        return 0.0, 0.0
    speed = _middle([b - a for a, b in pairwise(values)]) if n > 2 else 0.0
    return _middle(values) + way * speed * n / 2, speed


def line_of(run: Run) -> FloatArray:
    """Where the signal should have been in each window of a run [V], shape (stop - start,)."""
    n = run.stop - run.start
    return np.asarray(run.before + run.step * (np.arange(n) + 0.5) / n, dtype=float)


def _middle(values: list[float]) -> float:
    ordered, n = sorted(values), len(values)
    return (ordered[(n - 1) // 2] + ordered[n // 2]) / 2


def paired_runs(runs: list[Run], limit: float, reach: Reach, mean: FloatArray) -> list[Run]:
    """Join the edge that leaves the path with the one that comes back to it; what came back stays alone."""
    out, k = [], 0
    while k < len(runs):
        last = _return(runs, k, limit, reach, mean)
        left, back = runs[k], runs[last]
        out.append(Run(left.start, back.stop, left.before, back.after, paired=last > k))
        k = last + 1
    return out


def _return(runs: list[Run], k: int, limit: float, reach: Reach, mean: FloatArray) -> int:
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


def _may_be_away(left: Run, back: Run, least_v: float, mean: FloatArray) -> bool:
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


def _is_large(run: Run, least_v: float) -> bool:
    """Whether a run is one edge, and a large one: what a lever's own movement over a rough stretch makes is none."""
    return abs(run.jump) >= least_v and run.stop - run.start <= EDGE
