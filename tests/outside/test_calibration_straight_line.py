"""Straight lines against published calibrations and independent libraries."""

from __future__ import annotations

import math
from importlib import resources

import numpy as np
import pytest

from support.straight_lines import fit_line_scatter, inverse, value_at
from sweeprig.calibration.line_fit import fit_line

# JCGM 100:2008 (GUM), Annex H.3: calibration of a thermometer. Read through the example of the library GTC.
GUM_T = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
GUM_B = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]


def test_gum_h3_thermometer():
    fit = fit_line_scatter(np.array(GUM_T) - 20.0, np.array(GUM_B))
    assert fit.intercept == pytest.approx(-0.1712, abs=5e-5)
    assert fit.slope == pytest.approx(0.00218, abs=5e-6)
    assert math.sqrt(fit.cov[0, 0]) == pytest.approx(0.0029, abs=5e-5)
    assert math.sqrt(fit.cov[1, 1]) == pytest.approx(0.00067, abs=5e-6)
    assert fit.cov[0, 1] / math.sqrt(fit.cov[0, 0] * fit.cov[1, 1]) == pytest.approx(-0.930, abs=5e-4)
    at_30 = value_at(fit, 10.0)
    assert at_30[0] == pytest.approx(-0.1494, abs=5e-5)
    assert at_30[1] == pytest.approx(0.0041, abs=5e-5)
    # without the covariance the prediction's uncertainty is far off: the check above would fail
    assert math.sqrt(fit.cov[0, 0] + 100 * fit.cov[1, 1]) == pytest.approx(0.0073, abs=5e-4)


def test_gum_h3_against_the_library_gtc():
    from GTC import type_a

    theirs = type_a.line_fit(np.array(GUM_T) - 20.0, GUM_B)
    ours = fit_line_scatter(np.array(GUM_T) - 20.0, np.array(GUM_B))
    a, b = theirs.a_b
    assert (ours.intercept, ours.slope) == pytest.approx((a.x, b.x), rel=1e-9)
    assert (math.sqrt(ours.cov[0, 0]), math.sqrt(ours.cov[1, 1])) == pytest.approx((a.u, b.u), rel=1e-9)


def norris() -> tuple[np.ndarray, np.ndarray]:
    """NIST StRD Norris, as scipy's own tests carry it; written out where scipy came without them."""
    try:
        text = (resources.files("scipy.stats.tests") / "data/nist_linregress/Norris.dat").read_text()
    except (ModuleNotFoundError, FileNotFoundError):
        pytest.skip("this scipy came without its test data")
    rows = [line.split() for line in text.splitlines()[60:96]]
    y, x = np.array(rows, dtype=float).T
    return x, y


def test_nist_norris():
    """NIST StRD, linear least squares, Norris, certified values."""
    x, y = norris()
    assert x.size == 36
    fit = fit_line_scatter(x, y)
    assert fit.intercept == pytest.approx(-0.262323073774029, rel=1e-9)
    assert fit.slope == pytest.approx(1.00211681802045, rel=1e-12)
    assert math.sqrt(fit.cov[0, 0]) == pytest.approx(0.232818234301152, rel=1e-9)
    assert math.sqrt(fit.cov[1, 1]) == pytest.approx(0.429796848199937e-3, rel=1e-9)
    assert math.sqrt(fit.chi2 / (x.size - 2)) == pytest.approx(0.884796396144373, rel=1e-9)


SIX = np.arange(1.0, 7.0)


def test_iso_28037_equal_weights():
    """ISO/TS 28037:2010, page 13; its values read through GTC's tests."""
    y = np.array([3.3, 5.6, 7.1, 9.3, 10.7, 12.1])
    fit = fit_line(SIX, y, cov_y=0.5**2 * np.eye(6))
    assert (fit.intercept, fit.slope) == pytest.approx((1.8667, 1.7571), abs=5e-5)
    assert np.sqrt(np.diag(fit.cov)) == pytest.approx([0.4655, 0.1195], abs=5e-5)
    assert fit.cov[0, 1] == pytest.approx(-0.050, abs=5e-4)
    assert fit.chi2 == pytest.approx(1.665, abs=1e-3)
    assert inverse(fit, 10.5, 0.5) == pytest.approx((4.913, 0.322), abs=5e-4)


def test_iso_28037_unequal_weights():
    """ISO/TS 28037:2010, page 14; its values read through GTC's tests."""
    y = np.array([3.2, 4.3, 7.6, 8.6, 11.7, 12.8])
    fit = fit_line(SIX, y, cov_y=np.diag([0.25] * 3 + [1.0] * 3))
    assert (fit.intercept, fit.slope) == pytest.approx((0.8852, 2.0570), abs=5e-5)
    assert np.sqrt(np.diag(fit.cov)) == pytest.approx([0.5297, 0.1778], abs=1.5e-4)
    assert fit.cov[0, 1] == pytest.approx(-0.08228, abs=5e-5)
    assert fit.chi2 == pytest.approx(4.131, abs=1e-3)
    assert inverse(fit, 10.5, 1.0) == pytest.approx((4.674, 0.533), abs=5e-4)


def test_iso_28037_errors_in_both_axes():
    """ISO/TS 28037:2010, page 21; its values read through GTC's tests, to their tolerance of 0.004."""
    x = np.array([1.2, 1.9, 2.9, 4.0, 4.7, 5.9])
    y = np.array([3.4, 4.4, 7.2, 8.5, 10.8, 13.5])
    fit = fit_line(x, y, cov_y=np.diag([0.04] * 3 + [0.16] * 3), cov_x=0.2**2 * np.eye(6))
    assert (fit.intercept, fit.slope) == pytest.approx((0.5788, 2.1597), abs=5e-5)
    assert np.sqrt(np.diag(fit.cov)) == pytest.approx([0.4764, 0.1355], abs=4e-3)
    assert fit.cov[0, 1] == pytest.approx(-0.0577, abs=4e-3)
    assert fit.chi2 == pytest.approx(2.743, abs=1e-3)


# Pearson's data with York's weights: York et al., Am. J. Phys. 72 (2004) 367. Values read in GTC's documentation.
PEARSON_X = np.array([0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4])
PEARSON_Y = np.array([5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5])
YORK_WX = np.array([1000.0, 1000.0, 500.0, 800.0, 200.0, 80.0, 60.0, 20.0, 1.8, 1.0])
YORK_WY = np.array([1.0, 1.8, 4.0, 8.0, 20.0, 20.0, 70.0, 70.0, 100.0, 500.0])


def test_pearson_york():
    fit = fit_line(PEARSON_X, PEARSON_Y, cov_y=np.diag(1 / YORK_WY), cov_x=np.diag(1 / YORK_WX))
    assert (fit.intercept, fit.slope) == pytest.approx((5.479910, -0.480533), abs=1e-6)
    assert np.sqrt(np.diag(fit.cov)) == pytest.approx([0.291933, 0.057617], rel=0.02)
    assert fit.chi2 == pytest.approx(11.866353, abs=1e-5)


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_pearson_york_against_scipy_odr():
    odr = pytest.importorskip("scipy.odr")
    data = odr.Data(PEARSON_X, PEARSON_Y, wd=YORK_WX, we=YORK_WY)
    theirs = odr.ODR(data, odr.Model(lambda b, x: b[0] + b[1] * x), beta0=[5.0, -0.5]).run()
    ours = fit_line(PEARSON_X, PEARSON_Y, cov_y=np.diag(1 / YORK_WY), cov_x=np.diag(1 / YORK_WX))
    assert [ours.intercept, ours.slope] == pytest.approx(list(theirs.beta), rel=1e-5)
    assert np.diag(ours.cov) == pytest.approx(np.diag(theirs.cov_beta), rel=0.05)


def test_common_errors_against_the_library_uncertainties():
    """A gain and a zero error common to all readings go through the fit as correlated inputs do."""
    from uncertainties import correlated_values

    volts = np.array([0.3, 1.4, 2.5, 3.6, 4.7])
    codes = volts / 1.34e-3 + 15.0
    cov = (3e-4**2) * np.outer(volts, volts) + 1e-4**2 + 3e-5**2 * np.eye(5)
    fit = fit_line(codes, volts, cov_y=cov)
    theirs = fit.weights @ np.array(correlated_values(volts, cov))
    assert [v.n for v in theirs] == pytest.approx([fit.intercept, fit.slope], rel=1e-9)
    assert [v.s for v in theirs] == pytest.approx(list(np.sqrt(np.diag(fit.cov))), rel=1e-6)
    # at the top the common gain stays whole however many points there are
    assert value_at(fit, codes[-1])[1] == pytest.approx(math.hypot(3e-4 * 4.7, 1e-4), rel=0.02)
