"""Both ends that move together during a sweep: the mount slipped, or sensor ground shifted; no hand does that."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby

import numpy as np

from sweeprig.analysis.model import FloatArray, Rest

LEAST_PERCENT = 0.3  # % of supply: a hand that presses harder or softer moves an end by less
ALIKE = 0.25  # of the shift: how far those of both ends may differ
LATE_PERCENT = 0.5  # % of supply: the same at one end, after which the other was not met
FEWEST_BEFORE = 2  # visits
SCATTER = 1 / 3  # of the shift: what the visits before it, and those after it, may scatter by


@dataclass(frozen=True)
class Slip:
    """A shift of both ends."""

    at: int  # window of the first rest after it
    shift_v: float


@dataclass(frozen=True)
class Late:
    """The last visit of an end stands off those before it."""

    low: bool
    shift_v: float
    n_before: int


@dataclass(frozen=True)
class _Level:
    start: int
    low: bool
    value_v: float


def find_slip(rests: tuple[Rest, ...], *, supply_v: float) -> Slip | None:
    """Return the largest shift that both ends show alike between the same two visits, None where there is none."""
    levels = _levels(rests)
    found = [_shift(levels, k, LEAST_PERCENT / 100 * supply_v) for k in range(1, len(levels))]
    known = [s for s in found if s is not None]
    return max(known, key=lambda s: abs(s.shift_v)) if known else None


def find_late(rests: tuple[Rest, ...], *, supply_v: float) -> Late | None:
    """Return how far the last visit of all stands from the earlier ones of its end, where those agree and it does not.

    A slip shows at one end only where the other is not met any more; a lever that was not held to its stop looks the
    same.
    """
    levels = _levels(rests)
    own = [v.value_v for v in levels if v.low == levels[-1].low] if levels else []
    before = np.array(own[:-1])
    if before.size < FEWEST_BEFORE:
        return None
    shift = float(own[-1] - before.mean())
    least = max(LATE_PERCENT / 100 * supply_v, float(np.ptp(before)) / SCATTER)
    return Late(levels[-1].low, shift, before.size) if abs(shift) >= least else None


def _levels(rests: tuple[Rest, ...]) -> list[_Level]:
    """Level of each visit of an end, in order of time."""
    placed = [r for r in rests if r.place != "middle"]
    groups = [list(g) for _, g in groupby(placed, key=lambda r: (r.place, r.visit))]
    return [_Level(g[0].start, g[0].place == "low", float(np.mean([r.value_v for r in g]))) for g in groups]


def _shift(levels: list[_Level], k: int, least_v: float) -> Slip | None:
    parts = [_before_and_after(levels, k, low=low) for low in (True, False)]
    if not all(p.size for pair in parts for p in pair):
        return None
    low, high = (float(after.mean() - before.mean()) for before, after in parts)
    shift = (low + high) / 2
    alike = abs(low - high) <= ALIKE * abs(shift)
    if abs(shift) < least_v or not alike or _scatter(parts) > SCATTER * abs(shift):
        return None
    return Slip(levels[k].start, shift)


def _before_and_after(levels: list[_Level], k: int, *, low: bool) -> list[FloatArray]:
    return [np.array([v.value_v for v in some if v.low == low]) for some in (levels[:k], levels[k:])]


def _scatter(parts: list[list[FloatArray]]) -> float:
    return max(float(np.ptp(p)) for pair in parts for p in pair)
