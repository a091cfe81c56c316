"""A straight line through points whose errors, in either axis, may be correlated.

ISO/TS 28037:2010 clauses 6 to 10; D. York et al., Am. J. Phys. 72 (2004) 367, written with full covariance matrices.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sweeprig.calibration.model import FloatArray
from sweeprig.errors import CalibrationError

ROUNDS = 60
CLOSE = 1e-13


@dataclass(frozen=True)
class LineFit:
    """y = intercept + slope x. `cov` (2, 2) is of (intercept, slope), `weights` (2, n) give both from y."""

    intercept: float
    slope: float
    cov: FloatArray
    weights: FloatArray
    residuals: FloatArray  # (n,) y less the line at x
    chi2: float  # r' V^-1 r


def fit_line(x: FloatArray, y: FloatArray, *, cov_y: FloatArray, cov_x: FloatArray | None = None) -> LineFit:
    """Return the line through points (n,) with known covariances (n, n) of y and, where given, of x.

    With V = cov_y + b^2 cov_x, r = y - a - b x, xi = x + b cov_x V^-1 r and H = [1, xi], the normal equations are
    H' V^-1 (y - [1, x] beta) = 0 and cov(beta) = (H' V^-1 H)^-1. Finite values only.
    Raises CalibrationError where fewer than two x differ or the covariance cannot be inverted.
    """
    x, y = np.asarray(x, np.float64), np.asarray(y, np.float64)
    if x.size < 2 or np.ptp(x) == 0:
        raise CalibrationError(
            "The points are too few or too close for a straight line.",
            seen=f"{x.size} points over {np.ptp(x) if x.size else 0:g} codes",
            next_step="set voltages over the whole range",
        )
    design = np.stack([np.ones_like(x), x], axis=1)
    slope = _slope(x, y)
    nothing = cov_x is None
    spread_x = np.zeros((x.size, x.size)) if cov_x is None else cov_x
    for _ in range(ROUNDS):
        v_inverse = _inverse(cov_y + slope**2 * spread_x)
        beta = (
            _solve(design, design, v_inverse) @ y
            if nothing
            else _adjusted(design, y, slope, spread_x, v_inverse)
        )
        done = abs(beta[1] - slope) <= CLOSE * abs(beta[1])
        slope = float(beta[1])
        if done or nothing:
            break
    return _fit(design, y, beta, spread_x, _inverse(cov_y + slope**2 * spread_x))


def _slope(x: FloatArray, y: FloatArray) -> float:
    d = x - x.mean()
    return float(d @ y / (d @ d))


def _inverse(v: FloatArray) -> FloatArray:
    try:
        return np.asarray(np.linalg.inv(v))
    except np.linalg.LinAlgError:
        raise CalibrationError(
            "The points have no usable uncertainty.", next_step="give a meter accuracy above zero"
        ) from None


def _solve(h: FloatArray, design: FloatArray, v_inverse: FloatArray) -> FloatArray:
    """Return the weights (2, n) that give (intercept, slope) from y."""
    return np.asarray(np.linalg.solve(h.T @ v_inverse @ design, h.T @ v_inverse))


def _instrument(
    design: FloatArray, y: FloatArray, beta: FloatArray, cov_x: FloatArray, v_inv: FloatArray
) -> FloatArray:
    xi = design[:, 1] + beta[1] * cov_x @ v_inv @ (y - design @ beta)
    return np.stack([design[:, 0], xi], axis=1)


def _adjusted(
    design: FloatArray, y: FloatArray, slope: float, cov_x: FloatArray, v_inv: FloatArray
) -> FloatArray:
    """Return (intercept, slope) of the next round."""
    one = design[:, 0]
    intercept = float(one @ v_inv @ (y - slope * design[:, 1]) / (one @ v_inv @ one))
    h = _instrument(design, y, np.array([intercept, slope]), cov_x, v_inv)
    return np.asarray(_solve(h, design, v_inv) @ y)


def _fit(
    design: FloatArray, y: FloatArray, beta: FloatArray, cov_x: FloatArray, v_inv: FloatArray
) -> LineFit:
    h = _instrument(design, y, beta, cov_x, v_inv)
    r = y - design @ beta
    cov: FloatArray = np.asarray(np.linalg.inv(h.T @ v_inv @ h))
    return LineFit(float(beta[0]), float(beta[1]), cov, _solve(h, design, v_inv), r, float(r @ v_inv @ r))
