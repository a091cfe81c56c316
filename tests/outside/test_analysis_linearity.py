"""Linearity against published loading figures and an independent solver; small statistics against scipy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import linprog
from scipy.stats import binomtest

from support.exact import clopper_pearson
from sweeprig.analysis.linearity import against_angle, independent, terminal, zero_based
from sweeprig.analysis.statistics import binomial_p

# Loaded potentiometer Vout/Vs = x / (1 + x (1 - x) / k), k = load / track: component makers' public
# handbooks; figures computed from it beforehand: k, terminal-based, independent (half of it, since its
# line has slope 1), zero-based, all in %.
LOADING = [
    (1, 12.15851, 6.07925, 7.30798),
    (2, 6.67256, 3.33628, 4.03459),
    (10, 1.44933, 0.72466, 0.88092),
    (100, 0.14782, 0.07391, 0.08996),
]


@pytest.mark.parametrize(("k", "at_ends", "minimax", "from_zero"), LOADING)
def test_loading_table(k: float, at_ends: float, minimax: float, from_zero: float) -> None:
    x = np.linspace(0, 1, 20_001)
    y = 100 * x / (1 + x * (1 - x) / k)
    assert terminal(x, y) == pytest.approx(at_ends, abs=2e-5)
    assert independent(x, y)[2] == pytest.approx(minimax, abs=2e-5)
    assert zero_based(x, y, start=0.0) == pytest.approx(from_zero, abs=2e-5)


@pytest.mark.parametrize("seed", range(8))
def test_minimax_line_is_that_of_a_linear_program(seed: int) -> None:
    rng = np.random.default_rng(seed)
    x = rng.uniform(-3, 90, 200)
    y = 0.05 * x + rng.normal(0, 0.3, 200) + 1e-4 * x**2
    one = np.ones_like(x)
    above, below = np.c_[x, one, -one], np.c_[-x, -one, -one]
    lp = linprog(
        [0, 0, 1], A_ub=np.r_[above, below], b_ub=np.r_[y, -y], bounds=[(None, None)] * 2 + [(0, None)]
    )
    assert independent(x, y)[2] == pytest.approx(lp.fun, rel=1e-7)


def test_against_angle_sees_slope_hysteresis_and_dead_band() -> None:
    t = np.linspace(0, 4 * np.pi, 40_000)
    angle = 45 * (1 - np.cos(t))
    v = 0.5 + 0.04 * np.maximum(angle - 5, 0) + 0.005 * np.sign(np.sin(t)) * ((angle > 8) & (angle < 85))
    got = against_angle(angle, v, supply_v=5.0)
    assert got is not None
    assert got.volts_per_degree == pytest.approx(0.04, rel=0.01)
    assert got.hysteresis_percent == pytest.approx(0.2, abs=0.02)
    assert got.dead_band_closed_deg == pytest.approx(5, abs=0.6)
    assert got.dead_band_open_deg == 0


@pytest.mark.parametrize(("k", "n"), [(0, 10_000), (4, 10_000), (3, 7), (7, 7)])
def test_exact_interval_is_scipys(k: int, n: int) -> None:
    want = binomtest(k, n).proportion_ci(0.95, "exact")
    assert clopper_pearson(k, n) == pytest.approx((want.low, want.high), abs=1e-12)


@pytest.mark.parametrize(("k", "n", "p"), [(0, 8, 0.35), (5, 8, 0.35), (8, 8, 0.35), (3, 30, 0.02)])
def test_binomial_p_is_scipys(k: int, n: int, p: float) -> None:
    assert binomial_p(k, n, p) == pytest.approx(binomtest(k, n, p).pvalue, rel=1e-9)


def test_zero_based_equals_the_linear_programme_far_off() -> None:
    """min t, |v - s u| <= t, by scipy's HiGHS; a step near the start makes the best slope leave the usual range."""
    from scipy.optimize import linprog

    rng = np.random.default_rng(3)
    for _ in range(20):
        x = np.sort(rng.uniform(0, 1, 200))
        y = 0.1 + x + np.where(x < 0.015, rng.uniform(-2, 2), 0.0) + 0.01 * rng.normal(size=200)
        u, v = x - x.min(), y - 0.1
        a = np.block([[u[:, None], -np.ones((200, 1))], [-u[:, None], -np.ones((200, 1))]])
        best = linprog([0, 1], A_ub=a, b_ub=np.concatenate([v, -v]), bounds=[(None, None), (0, None)])
        assert zero_based(x, y, start=0.1) == pytest.approx(best.fun, abs=1e-7)
