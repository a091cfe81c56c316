"""How a hand moves a lever: strokes, rests, hesitations, tremor, a spring that is let go.

Smooth movements follow the minimum-jerk course x = 10 u^3 - 15 u^4 + 6 u^5 (Flash and Hogan, "The coordination
of arm movements", Journal of Neuroscience 5(7), 1985; from memory). Tremor of 8 to 12 Hz is that of a healthy
hand (physiological tremor, from memory).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Rng = np.random.Generator


@dataclass(frozen=True)
class Hand:
    """One way of moving a lever. Travel is 0 (closed stop) to 1 (open stop); pairs are drawn between."""

    starts: str = "closed"  # closed | open | middle
    first_rest_s: tuple[float, float] = (0.45, 0.6)
    stroke_s: tuple[float, float] = (0.5, 0.8)  # of one movement end to end
    rest_s: tuple[float, float] = (0.25, 0.45)
    strokes: int = 0  # 0: goes on for ever
    partial: float = 0.0  # chance that a stroke stops short of the end
    hesitate: float = 0.0  # chance that a stroke pauses on its way
    snap: float = 0.0  # chance that the way back to closed is left to the spring
    snap_s: tuple[float, float] = (0.03, 0.12)
    bounce: float = 0.03  # height of the first bounce off the stop after a snap
    tremor: float = 0.0  # amplitude, share of travel, while the lever is held off a stop
    tremor_hz: tuple[float, float] = (8.0, 12.0)
    closed_at: float = 0.0  # where the travel begins and ends, as a share of the whole
    open_at: float = 1.0
    scatter: float = 0.0  # standard deviation of where a stop lets the lever stand, stroke by stroke

    @property
    def start(self) -> float:
        """Where the lever stands at first."""
        middle = (self.closed_at + self.open_at) / 2
        return {"closed": self.closed_at, "open": self.open_at}.get(self.starts, middle)


def minimum_jerk(u: FloatArray) -> FloatArray:
    """Return the course of a smooth movement for u (n,) from 0 to 1."""
    return u * u * u * (10.0 - 15.0 * u + 6.0 * u * u)


def _count(seconds: float, dt_s: float) -> int:
    return max(2, round(seconds / dt_s))


def _move(hand: Hand, rng: Rng, start: float, stop: float, dt_s: float) -> FloatArray:
    seconds = rng.uniform(*hand.stroke_s) * max(0.25, abs(stop - start))
    n = _count(seconds, dt_s)
    u = np.arange(1, n + 1) / n
    course = minimum_jerk(u)
    if rng.random() < hand.hesitate:
        course = _hesitate(course, rng, dt_s)
    return start + (stop - start) * course


def _hesitate(course: FloatArray, rng: Rng, dt_s: float) -> FloatArray:
    """Make one movement into two with a pause between, as smooth as each is."""
    share, n = rng.uniform(0.25, 0.75), course.size
    first = max(2, int(n * share))
    pause = _count(rng.uniform(0.05, 0.4), dt_s)
    one = share * minimum_jerk(np.arange(1, first + 1) / first)
    two = share + (1 - share) * minimum_jerk(np.arange(1, n - first + 1) / max(1, n - first))
    return np.concatenate([one, np.full(pause, share), two])


def _snap(hand: Hand, rng: Rng, start: float, stop: float, dt_s: float) -> FloatArray:
    """Let a spring pull the lever back: constant acceleration, then bounces that lose height and time."""
    n = _count(rng.uniform(*hand.snap_s), dt_s)
    parts = [start + (stop - start) * (np.arange(1, n + 1) / n) ** 2]
    height, away = hand.bounce * rng.uniform(0.5, 1.0), np.sign(start - stop)
    while height > 5e-4:
        m = _count(2.0 * n * dt_s * np.sqrt(height), dt_s)
        u = np.arange(1, m + 1) / m
        parts.append(stop + away * height * 4.0 * u * (1.0 - u))
        height *= rng.uniform(0.1, 0.3)
    return np.concatenate(parts)


def _hold(hand: Hand, at: float, seconds: float, dt_s: float) -> FloatArray:
    return np.full(_count(seconds, dt_s), at)


def _pieces(hand: Hand, rng: Rng, dt_s: float) -> Iterator[FloatArray]:
    ends = (hand.closed_at, hand.open_at)
    at = hand.start
    up = at < ends[1]
    yield _hold(hand, at, rng.uniform(*hand.first_rest_s), dt_s)
    done = 0
    while hand.strokes == 0 or done < hand.strokes:
        goal = (ends[1] if up else ends[0]) + rng.normal(0.0, hand.scatter)
        if rng.random() < hand.partial:
            goal = at + (goal - at) * rng.uniform(0.4, 0.9)
        snapped = not up and rng.random() < hand.snap and at - ends[0] > 0.3
        goal = ends[0] if snapped else goal
        yield _snap(hand, rng, at, goal, dt_s) if snapped else _move(hand, rng, at, goal, dt_s)
        at, up, done = goal, not up, done + 1
        yield _hold(hand, at, rng.uniform(*hand.rest_s), dt_s)
    while True:
        yield _hold(hand, at, 1.0, dt_s)


class HandPath:
    """Places of the lever, one every dt_s seconds, made as they are asked for; the same for the same seed."""

    def __init__(self, hand: Hand, *, seed: int, dt_s: float) -> None:
        self._rng = np.random.default_rng([seed, 0x48])
        self._pieces = _pieces(hand, self._rng, dt_s)
        self._hand = hand
        self._dt_s = dt_s
        self._phase = float(self._rng.uniform(0, 2 * np.pi))
        self._hz = float(self._rng.uniform(*hand.tremor_hz))
        self._ready = np.zeros(0)
        self._n = 0

    def take(self, n: int) -> FloatArray:
        """Return the next n places (n,), shares of travel."""
        parts, have = [self._ready], self._ready.size
        while have < n:
            parts.append(next(self._pieces))
            have += parts[-1].size
        path = np.concatenate(parts)
        self._ready = path[n:]
        return self._tremble(path[:n])

    def _tremble(self, path: FloatArray) -> FloatArray:
        """Add tremor, none against a stop, where the stop holds the lever."""
        t_s = (self._n + np.arange(path.size)) * self._dt_s
        self._n += path.size
        if not self._hand.tremor:
            return path
        low, high = self._hand.closed_at, self._hand.open_at
        free = np.clip(np.minimum(path - low, high - path) / (10 * self._hand.tremor), 0.0, 1.0)
        shake = self._hand.tremor * np.sin(2 * np.pi * self._hz * t_s + self._phase)
        return np.asarray(np.clip(path + shake * free, min(low, high), max(low, high)))
