"""Conformity, risks and expansion against published figures and against scipy.

JCGM 106:2012: the cases are from memory, the figures recomputed with an independent library; the printed ones
(z of 0.80 ... 0.999; 0.9192; 0.9890) are from memory too. ILAC-G8:09/2019, 4.2: read.
JCGM 100:2008, table G.2 and H.1.6: from memory.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from support.conformity import (
    conformance_probability,
    global_risks,
    guard_factor_for,
    risk_at_limit,
    specific_risk,
)
from sweeprig.judge.budget import quantity
from sweeprig.judge.decide import decide
from sweeprig.judge.model import BudgetLine, Verdict

RESISTORS = {"mean": 1500.0, "spread": 0.12, "u": 0.04, "low": 1499.8, "high": 1500.2}


@pytest.mark.parametrize(("p", "z"), [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)])
def test_one_sided_z_of_jcgm_106(p: float, z: float) -> None:
    """JCGM 106:2012, table 1 (memory): z to two places."""
    assert conformance_probability(0.0, u=1.0, high=z) == pytest.approx(p, abs=0.0025)
    assert -guard_factor_for(1 - p, coverage_factor=1.0) == pytest.approx(-z, abs=0.006)


def test_examples_of_jcgm_106_clause_7() -> None:
    assert conformance_probability(-5.47, u=0.05, high=-5.40) == pytest.approx(0.9192, abs=5e-5)
    assert conformance_probability(509.7, u=8.6, low=490.0) == pytest.approx(0.9890, abs=5e-5)
    assert specific_risk(509.7, u=8.6, low=490.0, accepted=True) == pytest.approx(0.0110, abs=5e-5)
    assert specific_risk(509.7, u=8.6, low=490.0, accepted=False) == pytest.approx(0.9890, abs=5e-5)


@pytest.mark.parametrize(
    ("w", "consumer", "producer"),
    [(0.02, 0.00988, 0.0690), (0.0, 0.01894, 0.03721), (0.08, 0.000469, 0.2477)],
)
def test_resistors_of_jcgm_106_clause_9(w: float, consumer: float, producer: float) -> None:
    """1500 ± 0.2 ohm, u0 0.12, um 0.04 (case from memory, figures computed independently)."""
    r = global_risks(**RESISTORS, accept_low=1499.8 + w, accept_high=1500.2 - w)
    assert r.false_accept == pytest.approx(consumer, rel=2e-3)
    assert r.false_reject == pytest.approx(producer, rel=2e-3)


@pytest.mark.parametrize(("factor", "risk"), [(0.0, 0.5), (0.5, 0.1587), (0.83, 0.0485), (1.0, 0.02275)])
def test_risk_at_the_acceptance_limit(factor: float, risk: float) -> None:
    """ILAC-G8:09/2019, 4.2: w = U keeps a false acceptance below 2.5 % (read); the others computed, k = 2."""
    assert risk_at_limit(factor) == pytest.approx(risk, abs=6e-5)
    assert guard_factor_for(risk_at_limit(0.83)) == pytest.approx(0.83)
    # the rule itself: a value that just passes is false with exactly this risk
    u = 0.01
    at = 0.5 - factor * 2 * u
    assert decide(at - 1e-12, u95=2 * u, high=0.5, guard_factor=factor) is Verdict.PASS
    assert 1 - conformance_probability(at, u=u, high=0.5) == pytest.approx(risk, abs=6e-5)


@pytest.mark.parametrize("w", [0.0, 0.02, 0.08])
@pytest.mark.parametrize("mean", [1500.0, 1500.15])
def test_global_risks_against_the_bivariate_normal_of_scipy(w: float, mean: float) -> None:
    from scipy.stats import multivariate_normal, norm

    s, u = RESISTORS["spread"], RESISTORS["u"]
    low, high = RESISTORS["low"], RESISTORS["high"]
    cov = [[s * s, s * s], [s * s, s * s + u * u]]
    joint = multivariate_normal([mean, mean], cov)
    both = joint.cdf([high, high - w], lower_limit=[low, low + w])
    accepted = np.diff(norm(mean, math.hypot(s, u)).cdf([low + w, high - w]))[0]
    conforming = np.diff(norm(mean, s).cdf([low, high]))[0]
    r = global_risks(mean=mean, spread=s, u=u, low=low, high=high, accept_low=low + w, accept_high=high - w)
    assert r.false_accept == pytest.approx(accepted - both, abs=2e-6)
    assert r.false_reject == pytest.approx(conforming - both, abs=2e-6)
    assert r.accepted == pytest.approx(accepted, abs=2e-6)
    assert r.conforming == pytest.approx(conforming, abs=1e-9)


def test_probability_against_scipy_with_few_degrees_of_freedom() -> None:
    from scipy.stats import t

    for dof in (1.0, 3.5, 30.0):
        want = t.cdf((0.5 - 0.47) / 0.02, dof) - t.cdf((0.4 - 0.47) / 0.02, dof)
        assert conformance_probability(0.47, u=0.02, low=0.4, high=0.5, dof=dof) == pytest.approx(want)


@pytest.mark.parametrize("bad", [{"u": 0.0}, {"u": 0.1, "low": 1.0, "high": 0.0}, {"u": math.nan}])
def test_nonsense_is_refused(bad: dict[str, float]) -> None:
    with pytest.raises(ValueError, match=r"not above 0|upside down"):
        conformance_probability(0.0, **bad)


def test_risks_without_spread_are_refused() -> None:
    with pytest.raises(ValueError, match="above 0"):
        global_risks(mean=0, spread=0, u=1, low=-1, high=1)
    with pytest.raises(ValueError, match=r"0\.5"):
        guard_factor_for(0.6)


def test_effective_degrees_of_freedom_of_the_end_gauge() -> None:
    """JCGM 100:2008, H.1.6 (memory): u 32 nm of 25 (18), 9.7 (25.6), 2.9 (50), 16.6 (2): about 16 to 17."""
    parts = ((25.0, 18.0), (9.7, 25.6), (2.9, 50.0), (16.6, 2.0))
    lines = [BudgetLine(f"{u}", "A", "t", u, "nm", 1.0, dof) for u, dof in parts]
    q = quantity("length", "nm", 0.0, lines)
    assert q.u == pytest.approx(31.7, abs=0.1)
    assert q.dof == pytest.approx(16.7, abs=0.3)
    assert q.u95 == pytest.approx(2.12 * 31.7, rel=5e-3)  # t of 16 degrees of freedom, table G.2 (memory)
