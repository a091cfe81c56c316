"""Budgets and Monte Carlo against JCGM 101, JCGM 100 and independent libraries."""

from __future__ import annotations

import math

import numpy as np
import pytest

from sweeprig.calibration.coverage import student_k
from sweeprig.calibration.model import BudgetLine
from sweeprig.calibration.monte_carlo import propagate, propagate_budget
from sweeprig.calibration.uncertainty import combine

N = 400_000


def term(u: float, distribution: str, dof: float = math.inf) -> BudgetLine:
    return BudgetLine("x", "B", distribution, u, "V", 1.0, dof)


def test_four_rectangular_inputs():
    """JCGM 101:2008, 9.2.3 (values from memory): Monte Carlo ±3.88; normal k alone would give ±3.92."""
    lines = [term(1.0, "rectangular")] * 4
    drawn = propagate_budget(0.0, lines, rng=np.random.default_rng(1), trials=N)
    assert drawn.u == pytest.approx(2.0, abs=0.01)
    assert drawn.half_width == pytest.approx(3.88, abs=0.02)
    assert combine(lines).u95 == pytest.approx(3.88, abs=0.015)
    assert combine(lines).u * student_k(math.inf) == pytest.approx(3.92, abs=0.005)


def test_one_large_rectangular_input():
    """JCGM 101:2008, 9.2.4 (values from memory): u 10.15, Monte Carlo ±17.0; normal k alone would give ±19.9."""
    lines = [term(1.0, "rectangular")] * 3 + [term(10.0, "rectangular")]
    drawn = propagate_budget(0.0, lines, rng=np.random.default_rng(2), trials=N)
    assert drawn.u == pytest.approx(10.15, abs=0.03)
    assert drawn.half_width == pytest.approx(17.0, abs=0.06)
    assert combine(lines).u95 == pytest.approx(17.0, abs=0.05)
    assert combine(lines).u * student_k(math.inf) == pytest.approx(19.9, abs=0.05)


def test_mass_calibration():
    """JCGM 101:2008, 9.3 (values from memory): 1.2341 mg, u 0.0754, [1.0834, 1.3825]."""

    def model(rng: np.random.Generator, n: int) -> np.ndarray:
        m_rc = rng.normal(100000.0, 0.050, n)
        d_rc = rng.normal(1.234, 0.020, n)
        air = rng.uniform(1.10, 1.30, n)
        rho_w = rng.uniform(7000.0, 9000.0, n)
        rho_r = rng.uniform(7950.0, 8050.0, n)
        return (m_rc + d_rc) * (1.0 + (air - 1.2) * (1.0 / rho_w - 1.0 / rho_r)) - 100000.0

    drawn = propagate(model, rng=np.random.default_rng(3), trials=N)
    assert drawn.mean == pytest.approx(1.2341, abs=6e-4)
    assert drawn.u == pytest.approx(0.0754, abs=5e-4)
    assert drawn.low == pytest.approx(1.0834, abs=4e-3)
    assert drawn.high == pytest.approx(1.3825, abs=4e-3)


@pytest.mark.parametrize(
    ("dof", "k"), [(1, 12.71), (5, 2.57), (10, 2.23), (20, 2.09), (50, 2.01), (math.inf, 1.96)]
)
def test_student_quantiles(dof: float, k: float):
    """JCGM 100:2008, Table G.2, 95 % (values from memory)."""
    assert student_k(dof) == pytest.approx(k, abs=0.005)


def test_effective_degrees_of_freedom_end_gauge():
    """JCGM 100:2008, H.1.6 (values from memory): u 32 nm, 16 degrees of freedom, t_0.99 not used here."""
    parts = [(25.0, 18), (9.7, 25.6), (2.9, 50), (16.6, 2)]
    budget = combine([term(u, "normal", dof) for u, dof in parts])
    assert budget.u == pytest.approx(31.7, abs=0.3)
    assert math.floor(budget.dof) == 16


def test_against_the_library_gtc():
    from GTC import result, ureal

    parts = [(1.0, 5.0), (0.7, 12.0), (2.0, 40.0)]
    total = result(sum(ureal(0.0, u, dof) for u, dof in parts))
    ours = combine([term(u, "normal", dof) for u, dof in parts])
    assert ours.u == pytest.approx(total.u, rel=1e-12)
    assert ours.dof == pytest.approx(total.df, rel=1e-9)


def test_draws_keep_their_standard_deviation():
    """JCGM 101:2008, 6.4 (from memory): sqrt(3), sqrt(6) and sqrt(2) times u is the half-width."""
    for shape, factor in (("rectangular", 3.0), ("triangular", 6.0), ("u-shaped", 2.0)):
        drawn = propagate_budget(
            0.0,
            [term(2.0, shape)],
            rng=np.random.default_rng(4),
            trials=N,
        )
        assert drawn.u == pytest.approx(2.0, rel=0.01), shape
        assert max(-drawn.low, drawn.high) <= 2.0 * math.sqrt(factor) + 1e-9
