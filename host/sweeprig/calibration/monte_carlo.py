"""Propagation of distributions by Monte Carlo (JCGM 101:2008), as a check of the budgets."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from sweeprig.calibration.model import BudgetLine, FloatArray
from sweeprig.errors import InputError

TRIALS = 200_000
COVERAGE = 0.95
Rng = np.random.Generator


@dataclass(frozen=True)
class Propagated:
    """What the trials gave."""

    mean: float
    u: float
    low: float  # of the shortest interval
    high: float
    n_trials: int

    @property
    def half_width(self) -> float:
        """Half the width of the shortest interval."""
        return (self.high - self.low) / 2


def propagate(
    model: Callable[[Rng, int], FloatArray], *, rng: Rng, trials: int = TRIALS, coverage: float = COVERAGE
) -> Propagated:
    """Return mean, standard deviation and coverage interval of `model(rng, trials)` -> (trials,).

    JCGM 101:2008, 7.5 to 7.7: the shortest interval holds q = round(p M) of the M sorted values.
    """
    values = np.sort(np.asarray(model(rng, trials), np.float64))
    q = round(coverage * trials)
    widths = values[q:] - values[:-q]
    start = int(np.argmin(widths))
    return Propagated(
        float(values.mean()), float(values.std(ddof=1)), float(values[start]), float(values[start + q]),
        trials,
    )  # fmt: skip


def draw(line: BudgetLine, rng: Rng, n: int) -> FloatArray:
    """Return n draws (n,) of one contribution about zero, in the result's unit (JCGM 101:2008, 6.4)."""
    size = line.contribution
    if line.distribution == "rectangular":
        return np.asarray(rng.uniform(-1.0, 1.0, n) * math.sqrt(3.0) * size)
    if line.distribution == "triangular":
        return np.asarray(rng.triangular(-1.0, 0.0, 1.0, n) * math.sqrt(6.0) * size)
    if line.distribution == "u-shaped":
        return np.asarray(np.sin(rng.uniform(-np.pi, np.pi, n)) * math.sqrt(2.0) * size)
    if line.distribution == "t" and math.isfinite(line.dof):
        return np.asarray(rng.standard_t(max(line.dof, 1.0), n) * size)
    if line.distribution in ("normal", "t"):
        return np.asarray(rng.normal(0.0, 1.0, n) * size)
    raise InputError("The uncertainty budget has an unknown distribution.", seen=line.distribution)


def propagate_budget(
    value: float, lines: Sequence[BudgetLine], *, rng: Rng, trials: int = TRIALS
) -> Propagated:
    """Return what the contributions of a budget make of a value when their distributions are drawn."""

    def model(rng: Rng, n: int) -> FloatArray:
        total = np.full(n, value)
        for line in lines:
            total += draw(line, rng, n)
        return total

    return propagate(model, rng=rng, trials=trials)
