"""What published straight lines have and a calibration does not need: scatter from residuals, values, inverses."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from sweeprig.calibration.line_fit import LineFit, fit_line


def fit_line_scatter(x: np.ndarray, y: np.ndarray) -> LineFit:
    """Return the least-squares line with s^2 = r'r / (n - 2) (JCGM 100:2008, H.3). Needs three points."""
    first = fit_line(x, y, cov_y=np.eye(x.size))
    return replace(first, cov=first.cov * first.chi2 / (x.size - 2))


def value_at(fit: LineFit, x: float) -> tuple[float, float]:
    """Return the line's value at x and its standard uncertainty."""
    h = np.array([1.0, x])
    return fit.intercept + fit.slope * x, math.sqrt(float(h @ fit.cov @ h))


def inverse(fit: LineFit, y: float, u_y: float) -> tuple[float, float]:
    """Return the x at which the line has the value y with standard uncertainty u_y, and its own."""
    x = (y - fit.intercept) / fit.slope
    return x, math.hypot(u_y, value_at(fit, x)[1]) / abs(fit.slope)
