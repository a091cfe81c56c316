"""Filters, uncertainties and tests of place against libraries, published formulas and what chance alone gives."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import lfilter, savgol_filter
from scipy.stats import binom

from sweeprig.analysis.smoothness import from_parabola
from sweeprig.analysis.statistics import again_p, batch_means_u, scan_p
from sweeprig.analysis.strokes import noise_of


def test_local_parabola_is_that_of_an_independent_library() -> None:
    """scipy's Savitzky-Golay filter, 9 points, second order (Analytical Chemistry 36, 1964)."""
    v = np.random.default_rng(1).normal(0, 1, 400).cumsum()
    assert from_parabola(v)[4:-4] == pytest.approx((v - savgol_filter(v, 9, 2))[4:-4], abs=1e-9)


@pytest.mark.parametrize("keep", [0.0, 0.6, 0.9])
def test_uncertainty_of_a_mean_knows_autocorrelation(keep: float) -> None:
    """First-order noise: var(mean) = sd^2 / n (1 + r) / (1 - r) for n large (textbook formula, from memory)."""
    rng, n = np.random.default_rng(2), 4000
    series = [lfilter([np.sqrt(1 - keep**2)], [1, -keep], rng.normal(0, 1, n + 200))[200:] for _ in range(60)]
    want = np.sqrt((1 + keep) / (1 - keep) / n)
    assert np.median([batch_means_u(s)[0] for s in series]) == pytest.approx(want, rel=0.15)


def test_noise_of_a_moving_lever_is_that_of_its_readings() -> None:
    x = np.linspace(0, 1, 5000)
    v = 4 * x**2 * (3 - 2 * x) + np.random.default_rng(3).normal(0, 7e-4, 5000)
    assert noise_of(v) == pytest.approx(7e-4, rel=0.05)


def test_scan_is_the_published_ratio() -> None:
    """Kulldorff's log likelihood ratio (Commun. Statist. 26, 1997; from memory) by hand, then by its draws."""
    counts, even = np.zeros(100, dtype=np.int64), np.ones(100)
    counts[[40, 40, 41, 90]] += [2, 0, 2, 1]
    counts[40] = 2
    draws = np.random.default_rng(1).multinomial(5, even / 100, size=999)

    def ratio(c: np.ndarray, w: int) -> float:
        k = np.convolve(c, np.ones(w), "valid")
        mu, n = 5 * w / 100, 5
        with np.errstate(divide="ignore", invalid="ignore"):
            rest = np.where(n - k > 0, (n - k) * np.log((n - k) / (n - mu)), 0)
            value = np.where(k > mu, k * np.log(k / mu) + rest, 0)
        return float(value.max())

    def best(c: np.ndarray) -> float:
        return max(ratio(c, w) for w in (2, 4, 8))

    want = (1 + sum(best(d) >= best(counts) - 1e-12 for d in draws)) / 1000
    assert scan_p(counts, even) == pytest.approx(want)


@pytest.mark.parametrize("n_strokes", [4, 10])
def test_chance_is_called_a_place_no_more_than_stated(n_strokes: int) -> None:
    rng, n = np.random.default_rng(4), 150
    time = [np.ones(200) for _ in range(n_strokes)]
    p = [again_p([rng.integers(0, 200, 3) for _ in range(n_strokes)], time, n_draws=199) for _ in range(n)]
    assert sum(v <= 0.1 for v in p) <= binom.ppf(0.999, n, 0.1)


def test_one_place_among_much_else_is_seen() -> None:
    rng = np.random.default_rng(5)
    hits = [np.append(rng.integers(0, 200, 3), 77 + rng.integers(0, 2)) for _ in range(6)]
    assert again_p(hits, [np.ones(200)] * 6) <= 0.005


def test_a_place_where_the_lever_lingers_is_no_evidence() -> None:
    time = np.ones(200)
    time[100:103] = 2000.0
    hits = [np.array([101]) for _ in range(5)]
    assert again_p(hits, [time] * 5) > 0.2
