"""A sensor that renews its output by a clock of its own: steps at an even period, the signal equal between them."""

from __future__ import annotations

import numpy as np

from sweeprig.analysis.model import FloatArray
from sweeprig.analysis.moves import Moves
from sweeprig.analysis.stretches import clear_of
from sweeprig.capture.model import BoolArray

CHUNK = 64  # windows that are looked at together: a clock drifts by less meanwhile
PERIODS = np.arange(2.0, 6.05, 0.05)  # windows from step to step; a faster one makes no roughness
EVEN = 0.6  # of all change that comes in step with one period; chance makes some 0.3 of it
ONWARD = 0.8  # of all change that goes the lever's way: what is rough goes to and fro
MOVED_TIMES = 30.0  # noise of a window that a stretch must move by
ALIKE = 0.9  # of the most: periods that fit as well
SHARE = 0.7  # of the stretches in movement
FEWEST = 8  # stretches


def period_of(path: FloatArray, *, free: BoolArray, noise_v: float, lsb_v: float) -> float | None:
    """Return from how many windows to how many the output is renewed; None where no such clock shows.

    `free`: no event in that window, and nothing missing; arrays (n,).
    """
    n = (path.size - 1) // CHUNK
    if n < FEWEST:
        return None
    change = np.diff(path)[: n * CHUNK].reshape(n, CHUNK)
    size = np.abs(change)
    way, whole = np.abs(change.sum(axis=1)), size.sum(axis=1)
    moved_v = max(MOVED_TIMES * noise_v, CHUNK * lsb_v)  # so that the steps are no codes of a converter
    moving = free[: n * CHUNK].reshape(n, CHUNK).all(axis=1) & (way > moved_v)
    if np.count_nonzero(moving) < FEWEST:
        return None
    size, onward = size[moving], way[moving] >= ONWARD * whole[moving]
    turns = np.exp(-2j * np.pi * np.arange(CHUNK)[:, None] / PERIODS[None, :])
    even = np.abs(size @ turns) / size.sum(axis=1, keepdims=True)
    shares = np.mean((even >= EVEN) & onward[:, None], axis=0)
    seen = np.where(shares >= SHARE, np.median(even, axis=0), 0.0)
    if not seen.any():
        return None
    longest = PERIODS[np.flatnonzero(seen >= ALIKE * seen.max())[-1]]  # parts of a period are in step as well
    near = np.abs(PERIODS / longest - 0.95) <= 0.05 + 1e-9
    return float(PERIODS[int(np.argmax(np.where(near, seen, 0.0)))])


def of_moves(m: Moves, *, lsb_v: float) -> float | None:
    """The same of one signal's way, at a steady supply."""
    free = m.good & clear_of(m.parts, m.path.size, 1)
    return period_of(m.path_steady_v, free=free, noise_v=m.noise_v, lsb_v=lsb_v)
