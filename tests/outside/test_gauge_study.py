"""Gauge study, outliers, performance and tolerance intervals against published numbers."""

from __future__ import annotations

import math

import numpy as np
import pytest

from sweeprig.bench.batch.gauge import d2_star, judged, range_moments, study
from sweeprig.bench.batch.statistics import (
    outliers,
    performance,
    spread,
    tolerance,
    tolerance_factor,
)
from sweeprig.errors import AnalysisError

# AIAG, Measurement Systems Analysis, example of 10 parts x 3 appraisers x 3 trials. The readings are from memory;
# that all published results follow from them to their last digit is the check on that.
A = """0.29 -0.56 1.34 0.47 -0.80 0.02 0.59 -0.31 2.26 -1.36
0.41 -0.68 1.17 0.50 -0.92 -0.11 0.75 -0.20 1.99 -1.25
0.64 -0.58 1.27 0.64 -0.84 -0.21 0.66 -0.17 2.01 -1.31"""
B = """0.08 -0.47 1.19 0.01 -0.56 -0.20 0.47 -0.63 1.80 -1.68
0.25 -1.22 0.94 1.03 -1.20 0.22 0.55 0.08 2.12 -1.62
0.07 -0.68 1.34 0.20 -1.28 0.06 0.83 -0.34 2.19 -1.50"""
C = """0.04 -1.38 0.88 0.14 -1.46 -0.29 0.02 -0.46 1.77 -1.49
-0.11 -1.13 1.09 0.20 -1.07 -0.67 0.01 -0.56 1.45 -1.77
-0.15 -0.96 0.67 0.11 -1.45 -0.49 0.21 -0.49 1.87 -2.16"""
READINGS = np.stack([np.loadtxt(t.splitlines()).T for t in (A, B, C)], axis=1)  # parts, operators, trials

# Rosner (1983), Technometrics 25, as reprinted with R packages for this test
ROSNER = """-0.25 0.68 0.94 1.15 1.20 1.26 1.26 1.34 1.38 1.43 1.49 1.49 1.55 1.56 1.58 1.65 1.69 1.70 1.76 1.77 1.81
1.91 1.94 1.96 1.99 2.06 2.09 2.10 2.14 2.15 2.23 2.24 2.26 2.35 2.37 2.40 2.47 2.54 2.62 2.64 2.90 2.92 2.92 2.93
3.21 3.26 3.30 3.59 3.68 4.30 4.64 5.34 5.42 6.01"""


def test_average_and_range_as_published() -> None:
    """AIAG MSA: EV 0.20186, AV 0.22967, GRR 0.30577, PV 1.10460, TV 1.14613, 26.68 %, 5 categories.

    The manual's factors are rounded to four digits (K1 0.5908, K2 0.5231, K3 0.3146), so five digits do not agree.
    """
    parts = study(READINGS).by_range
    assert parts.repeatability == pytest.approx(0.20186, abs=3e-5)
    assert parts.reproducibility == pytest.approx(0.22967, abs=3e-5)
    assert parts.gauge == pytest.approx(0.30577, abs=3e-5)
    assert parts.parts == pytest.approx(1.10460, abs=3e-4)
    assert parts.total == pytest.approx(1.14613, abs=3e-4)
    assert parts.percent == pytest.approx(26.68, abs=0.01)
    assert parts.categories == 5
    assert judged(parts) == "acceptable for some uses"


def test_analysis_of_variance_as_published() -> None:
    """AIAG MSA, interaction pooled: EV 0.19993, AV 0.22684, GRR 0.30237, parts 1.04233."""
    found = study(READINGS)
    assert found.p_interaction is not None
    assert found.p_interaction > 0.9
    assert found.interaction is None
    parts = found.by_anova
    assert parts.repeatability == pytest.approx(0.19993, abs=5e-6)
    assert parts.reproducibility == pytest.approx(0.22684, abs=5e-6)
    assert parts.gauge == pytest.approx(0.30237, abs=5e-6)
    assert parts.parts == pytest.approx(1.04233, abs=5e-6)


def test_range_constants_of_the_tables() -> None:
    """d2 of 2, 3, 5, 10 values: 1.128, 1.693, 2.326, 3.078; d3: 0.853, 0.888, 0.864, 0.797 (control chart tables, from
    memory).

    d2* of one group, Duncan's table: 1.41421, 1.91155, 2.48124, 3.17905.
    """
    table = (
        (2, 1.128, 0.853, 1.41421),
        (3, 1.693, 0.888, 1.91155),
        (5, 2.326, 0.864, 2.48124),
        (10, 3.078, 0.797, 3.17905),
    )
    for n, d2, d3, star in table:
        mean, var = range_moments(n)
        assert mean == pytest.approx(d2, abs=6e-4)
        assert math.sqrt(var) == pytest.approx(d3, abs=6e-4)
        assert d2_star(n, 1) == pytest.approx(star, abs=2e-5)


def test_an_interaction_that_is_there_is_told_and_counted() -> None:
    """Simulated: sigma 1 repeatability, 2 operators, 3 interaction, 10 parts; means of 300 studies."""
    rng = np.random.default_rng(7)
    found = []
    for _ in range(300):
        y = rng.normal(0, 10, (10, 1, 1)) + rng.normal(0, 2, (1, 3, 1)) + rng.normal(0, 3, (10, 3, 1))
        s = study(y + rng.normal(0, 1, (10, 3, 3)))
        assert s.p_interaction is not None
        assert s.p_interaction < 0.01
        found.append([s.by_anova.repeatability**2, (s.interaction or 0) ** 2, s.by_anova.parts**2])
    ev, interaction, parts = np.mean(found, axis=0)
    assert ev == pytest.approx(1.0, rel=0.05)
    assert interaction == pytest.approx(9.0, rel=0.1)
    assert parts == pytest.approx(100.0, rel=0.12)


def test_one_operator_has_no_reproducibility() -> None:
    s = study(READINGS[:, :1])
    assert s.by_anova.reproducibility is None
    assert s.by_range.gauge == s.by_range.repeatability


def test_too_little_for_a_study() -> None:
    for y in (READINGS[:1], READINGS[:, :, :1], READINGS[0]):
        with pytest.raises(AnalysisError, match="too few readings"):
            study(y)


def test_outliers_as_published() -> None:
    """NIST/SEMATECH e-Handbook 1.3.5.17.3: R and critical values of 10 removals (from memory), three outliers."""
    values = np.array(ROSNER.split(), dtype=float)
    found = outliers(values, most=10)
    r = [3.118, 2.942, 3.179, 2.810, 2.815, 2.848, 2.279, 2.310, 2.101, 2.067]
    critical = [3.158, 3.151, 3.143, 3.136, 3.128, 3.120, 3.111, 3.103, 3.094, 3.085]
    assert found.r == pytest.approx(r, abs=1e-3)
    assert found.critical == pytest.approx(critical, abs=1e-3)
    assert sorted(values[list(found.indices)]) == [5.34, 5.42, 6.01]


def test_critical_value_of_grubbs() -> None:
    """Table of Grubbs' test, two-sided 5 % (one-sided 2.5 %): 2.29 of 10 values, 2.71 of 20 (published tables)."""
    values = np.arange(10.0)
    assert outliers(values, most=1).critical[0] == pytest.approx(2.29, abs=5e-3)
    assert outliers(np.arange(20.0), most=1).critical[0] == pytest.approx(2.71, abs=5e-3)


def test_outliers_of_nothing_and_of_the_same() -> None:
    assert outliers([1.0] * 20).indices == ()
    assert outliers([0.0, 0, 0, 0, 0, 99]).indices == ()  # too few to say


def test_false_outliers_stay_at_the_level() -> None:
    """10,000 clean batches of 20, alpha 5 %: 5 % ± 4 standard errors."""
    rng = np.random.default_rng(11)
    n = 2500
    hits = sum(bool(outliers(rng.normal(size=20), most=1).indices) for _ in range(n))
    assert abs(hits / n - 0.05) < 4 * math.sqrt(0.05 * 0.95 / n)


def test_performance_by_the_handbooks_formula() -> None:
    """NIST/SEMATECH e-Handbook 6.1.6: USL 20, LSL 8, mean 16, s 2: 1.0 and 0.6667.

    The handbook calls them Cp and Cpk; with the overall s they are Pp and Ppk by ISO 22514-2 (from memory).
    """
    values = np.array([14.0, 18.0] * 2)
    s = spread(16 + (values - 16) * 2 / values.std(ddof=1))
    c = performance(s, low=8, high=20)
    assert c.pp == pytest.approx(1.0)
    assert c.ppk == pytest.approx(0.66667, abs=1e-5)
    assert c.ppk_low is not None
    assert c.ppk_low < c.ppk
    assert performance(s, low=8, high=None).pp is None
    assert performance(s, low=8, high=None).ppk == pytest.approx(8 / 6)
    assert performance(s, low=None, high=None).ppk is None


def test_lower_bound_of_performance_covers() -> None:
    """The handbook's approximation keeps about 95 % below the true Ppk = 1 of 40,000 batches of 30."""
    rng = np.random.default_rng(5)
    x = rng.normal(0, 1, (4000, 30))
    below = [(performance(spread(row), low=-3, high=3).ppk_low or 0) < 1.0 for row in x]
    assert 0.93 < np.mean(below) < 0.99


def test_tolerance_factors_of_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook 7.2.6.3: n 43, p 0.90, 0.99: k2 2.22283; ISO 16269-6 95/95:
    5.0769 of 5 and 3.3934 of 10 values."""
    assert tolerance_factor(43, covered=0.9, confidence=0.99) == pytest.approx(2.22283, abs=2e-5)
    assert tolerance_factor(5) == pytest.approx(5.0769, abs=2e-4)
    assert tolerance_factor(10) == pytest.approx(3.3934, abs=2e-4)


def test_tolerance_interval_against_howe() -> None:
    """Howe's approximation (JASA 1969), z sqrt((n-1)(1+1/n)/chi2), is within 1 % of the exact factor from n = 20."""
    from scipy.stats import chi2, norm

    for n in (20, 50, 200):
        howe = norm.ppf(0.975) * math.sqrt((n - 1) * (1 + 1 / n) / chi2.ppf(0.05, n - 1))
        assert tolerance_factor(n) == pytest.approx(howe, rel=0.01)


def test_tolerance_interval_covers() -> None:
    """4000 batches of 12: the interval holds 95 % of the population in 95 % of them."""
    from scipy.stats import norm

    rng = np.random.default_rng(3)
    x = rng.normal(0, 1, (4000, 12))
    k = tolerance_factor(12)
    mean, sd = x.mean(axis=1), x.std(axis=1, ddof=1)
    held = norm.cdf(mean + k * sd) - norm.cdf(mean - k * sd)
    assert abs(np.mean(held >= 0.95) - 0.95) < 4 * math.sqrt(0.95 * 0.05 / 4000)
    found = tolerance(spread(x[0]))
    assert found is not None
    assert found.high == pytest.approx(mean[0] + k * sd[0])
    assert tolerance(spread([1.0])) is None
