"""Pieces of lever movement on a grid of 0.5 ms: 0 is the closed stop, 1 the open stop."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from population.cases import GRID_S

Track = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Hand:
    """The lever against time. label is -1 at rest on the closed stop, +1 on the open stop, else 0."""

    x: Track
    label: NDArray[np.int8]
    word: str

    @property
    def duration_s(self) -> float:
        """Length of the record."""
        return len(self.x) * GRID_S


def _steps(seconds: float) -> int:
    return max(2, round(seconds / GRID_S))


def glide(u: Track, rng: np.random.Generator) -> Track:
    """Smooth start and stop (least jerk)."""
    return np.asarray(u**3 * (10 - 15 * u + 6 * u * u))


def steady(u: Track, rng: np.random.Generator) -> Track:
    """Nearly constant speed with soft ends."""
    return np.asarray(0.85 * u + 0.15 * glide(u, rng))


def rush(u: Track, rng: np.random.Generator) -> Track:
    """Fast at first, then slow."""
    return np.asarray(1 - (1 - glide(u, rng)) ** rng.uniform(2.0, 3.0))


def creep(u: Track, rng: np.random.Generator) -> Track:
    """Most of the way at once, the last part crept."""
    far, turn = rng.uniform(0.86, 0.96), rng.uniform(0.35, 0.55)
    first = far * glide(np.minimum(u / turn, 1.0), rng)
    return np.asarray(first + (1 - far) * np.clip((u - turn) / (1 - turn), 0, 1))


def linger(u: Track, rng: np.random.Generator) -> Track:
    """Creeps off the stop, then hurries."""
    return np.asarray(1 - creep(1 - u, rng))


def _from_speed(speed: Track) -> Track:
    path = np.concatenate(([0.0], np.cumsum(speed)[:-1]))
    return np.asarray(path / path[-1]) if path[-1] > 0 else np.linspace(0, 1, len(path))


def uneven(u: Track, rng: np.random.Generator) -> Track:
    """Speed that wanders, never backwards."""
    knots = rng.uniform(0.15, 1.0, int(rng.integers(5, 10)))
    knots[[0, -1]] = 0.05
    return _from_speed(np.interp(u, np.linspace(0, 1, len(knots)), knots))


def stick_slip(u: Track, rng: np.random.Generator) -> Track:
    """Stands, jumps, stands: dry friction."""
    jumps = np.sort(rng.uniform(0.03, 0.97, int(rng.integers(8, 26))))
    speed = np.full(len(u), 0.02)
    for at in jumps:
        speed += rng.uniform(0.3, 1.0) * np.exp(-(((u - at) / 0.006) ** 2))
    return _from_speed(speed)


def snap(u: Track, rng: np.random.Generator) -> Track:
    """A spring pulls the lever: it gains speed up to the stop."""
    return np.asarray(u**1.8)


SHAPES: dict[str, Callable[[Track, np.random.Generator], Track]] = {
    f.__name__: f for f in (glide, steady, rush, creep, linger, uneven, stick_slip, snap)
}


class Script:
    """Strings pieces of movement together."""

    def __init__(self, rng: np.random.Generator, at: float = 0.0) -> None:
        self.rng, self.at = rng, at
        self._x: list[Track] = []
        self._label: list[NDArray[np.int8]] = []

    def _add(self, x: Track, label: int) -> None:
        self._x.append(np.asarray(x, dtype=float))
        self._label.append(np.full(len(x), label, dtype=np.int8))
        self.at = float(x[-1])

    def rest(self, stop: int, seconds: float, press: float = 0.0, drift: float = 0.0) -> None:
        """Rest on a stop (0 or 1); press pushes beyond it, drift relaxes away from it."""
        n = _steps(seconds)
        inward = 1.0 if stop == 0 else -1.0
        t = np.arange(n) * GRID_S
        goal = stop - inward * press + inward * drift * (t / max(seconds, GRID_S)) ** 1.5
        settle = np.exp(-t / 0.012)
        still = np.cumsum(self.rng.normal(0, 1, n)) * 2e-6
        self._add(goal + (self.at - goal) * settle + still - still[0], -1 if stop == 0 else 1)

    def touch(self, stop: int, seconds: float = 0.02) -> None:
        """Touch a stop without resting."""
        self._add(np.full(_steps(seconds), float(stop)), -1 if stop == 0 else 1)

    def hold(self, seconds: float, tremor: float = 0.0) -> None:
        """Hold the lever where it is, away from the stops."""
        n = _steps(seconds)
        self._add(self.at + self._shake(n, tremor), 0)

    def move(self, to: float, seconds: float, shape: str = "glide", tremor: float = 0.0) -> None:
        """Move to a place; tremor is its peak as a fraction of the travel."""
        n = _steps(seconds)
        path = self.at + (to - self.at) * SHAPES[shape](np.linspace(0, 1, n), self.rng)
        self._add(np.clip(path + self._shake(n, tremor), min(0.0, self.at), max(1.0, self.at)), 0)

    def _shake(self, n: int, peak: float) -> Track:
        if peak <= 0:
            return np.zeros(n)
        t = np.arange(n) * GRID_S
        f, g = self.rng.uniform(4, 10, 2)
        wave = 0.7 * np.sin(2 * np.pi * f * t) + 0.3 * np.sin(2 * np.pi * g * t + self.rng.uniform(0, 6))
        return np.asarray(peak * wave * np.sin(np.pi * np.linspace(0, 1, n)) ** 0.5)

    def bounce(self, stop: int, height: float, first_s: float) -> None:
        """Bounce off a stop: smaller and shorter each time."""
        inward = 1.0 if stop == 0 else -1.0
        while height > 0.0015 and first_s > 0.003:
            n = _steps(first_s)
            self._add(stop + inward * height * np.sin(np.pi * np.linspace(0, 1, n)), 0)
            height, first_s = height * self.rng.uniform(0.25, 0.5), first_s * self.rng.uniform(0.5, 0.75)

    def swing(self, stop: int, peak: float, seconds: float) -> None:
        """The lever's spring gives: swings beyond the stop and back, damped."""
        n = _steps(seconds)
        u = np.linspace(0, 1, n)
        outward = -1.0 if stop == 0 else 1.0
        self._add(stop + outward * peak * np.sin(2 * np.pi * 2.5 * u) * np.exp(-4 * u), 0)

    def done(self, word: str) -> Hand:
        """Finish the movement."""
        return Hand(np.concatenate(self._x), np.concatenate(self._label), word)


def with_play(x: Track, width: float) -> Track:
    """Play between lever and shaft: the shaft follows only after the gap is used up."""
    if width <= 0:
        return x
    half, out, at = width / 2.0, np.empty(len(x)), float(x[0])
    for i, value in enumerate(x.tolist()):
        at = min(max(at, value - half), value + half)
        out[i] = at
    return out
