"""The line of a channel whose departures a ramp has shown."""

from __future__ import annotations

import numpy as np

from sweeprig.calibration.codes import CODES
from sweeprig.calibration.fit import CalibrationPoint, line_of, prepare
from sweeprig.calibration.line_fit import fit_line
from sweeprig.calibration.model import ChannelCalibration, FloatArray, Linearity


def fit_after_ramp(
    channel: int, points: tuple[CalibrationPoint, ...], *, cov_v: FloatArray, linearity: Linearity
) -> ChannelCalibration:
    """Return the calibration from points and a measured linearity; what that leaves is independent between points."""
    ready = prepare(points, cov_v=cov_v, linearity=linearity)
    left = linearity.u_lsb**2 * np.eye(len(points))
    fit = fit_line(ready.code, ready.reading_v, cov_y=cov_v, cov_x=ready.cov_code + left)
    at = np.linspace(0.0, CODES, 65)
    h = np.stack([np.ones_like(at), at])
    share = np.einsum("ij,ij->j", fit.weights.T @ h, fit.weights.T @ h)
    u = linearity.u_lsb * np.sqrt(1.0 + share)
    return ChannelCalibration(
        channel,
        line_of(fit, cov_v + fit.slope**2 * ready.cov_code),
        linearity,
        float(u.mean()),
        tuple((p.code, p.reading_v) for p in points),
        tuple(zip(at.tolist(), u.tolist(), strict=True)),
        tuple(fit.residuals.tolist()),
        tuple(np.sqrt(np.diag(cov_v + fit.slope**2 * (ready.cov_code + left))).tolist()),
        fit.chi2 if len(points) > 2 else None,
    )
