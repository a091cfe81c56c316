"""How many standard uncertainties hold 95 % of sums of normal, t and rectangular contributions."""

from __future__ import annotations

import math

import numpy as np
import pytest

from sweeprig.calibration.coverage import LEAST_DOF, coverage_factor, shape_factor, student_k
from sweeprig.calibration.model import BudgetLine
from sweeprig.calibration.uncertainty import combine

DRAWS = 400_000


def drawn(shares: tuple[float, ...]) -> float:
    """95 % quantile of the size of a sum of unit variance: rectangular parts of these shares, the rest normal."""
    rng = np.random.default_rng(7)
    total = math.sqrt(max(1.0 - sum(shares), 0.0)) * rng.standard_normal(DRAWS)
    for share in shares:
        total += math.sqrt(3.0 * share) * rng.uniform(-1.0, 1.0, DRAWS)
    return float(np.quantile(np.abs(total), 0.95))


@pytest.mark.parametrize(
    "shares", [(1.0,), (0.99,), (0.8,), (0.5,), (0.2,), (0.5, 0.5), (0.7, 0.3), (0.4, 0.4), (0.3, 0.2)]
)
def test_quantile_is_that_of_draws(shares: tuple[float, ...]) -> None:
    assert coverage_factor([math.sqrt(s) for s in shares], 1.0, math.inf) == pytest.approx(
        drawn(shares), rel=4e-3
    )


def test_known_shapes() -> None:
    """Rectangular: 0.95 sqrt(3). Two alike make a triangle: (1 - sqrt(0.05)) sqrt(6)."""
    normal = student_k(math.inf)
    assert shape_factor(1.0) * normal == pytest.approx(0.95 * math.sqrt(3), rel=1e-3)
    assert shape_factor(0.5, 0.5) * normal == pytest.approx((1 - math.sqrt(0.05)) * math.sqrt(6), rel=1e-3)
    assert coverage_factor([], 1.0, math.inf) == normal
    assert coverage_factor([0.1, 0.1], 1.0, math.inf) == normal


@pytest.mark.parametrize(("dof", "flat"), [(3, 0.5), (3, 1.0), (3, 2.0), (9, 1.0), (9, 2.0), (5, 1.5)])
def test_interval_holds_few_readings_and_a_rectangular_term(dof: int, flat: float) -> None:
    """Both summed, 4000 times: JCGM 100, G.4.1, is an approximation; 93 % is asked for."""
    rng = np.random.default_rng(dof)
    held = 0
    for _ in range(4000):
        seen = math.sqrt(rng.chisquare(dof) / dof)
        error = rng.standard_normal() + flat * math.sqrt(3.0) * rng.uniform(-1.0, 1.0)
        lines = (
            BudgetLine("a", "A", "t", seen, "V", 1.0, dof),
            BudgetLine("b", "B", "rectangular", flat, "V", 1.0, math.inf),
        )
        held += abs(error) <= combine(lines).u95
    assert 0.93 <= held / 4000 <= 0.98


def test_few_degrees_of_freedom_keep_the_whole_of_t() -> None:
    few = LEAST_DOF - 1
    assert coverage_factor([0.9], 1.0, few) == student_k(few)
    assert coverage_factor([0.9], 1.0, 1000.0) < 0.93 * student_k(1000.0)


def test_no_contribution_is_no_uncertainty() -> None:
    assert combine(()).u95 == 0.0
