"""The precise I2C converter (monitor) in place of a meter: its own calibration, and the uncertainty of its readings.

It sits on the divided node of signal A. Its departures from a straight line are small enough to be an uncertainty.
"""

from __future__ import annotations

import numpy as np

from sweeprig.calibration.codes import rectangular
from sweeprig.calibration.line_fit import fit_line
from sweeprig.calibration.model import ChannelCalibration, FloatArray, Line
from sweeprig.errors import CalibrationError

INL_V = (
    125e-6  # [V at the node] half-width: one step of a 16-bit converter on ±4.096 V, datasheet, from memory
)
NOISE_V = 100e-6  # [V at the node] of one reading, standard deviation: assumed
CHANNEL = 0


def fit_monitor(node_v: FloatArray, reading_v: FloatArray, *, cov_v: FloatArray) -> ChannelCalibration:
    """Return the line from the monitor's node [V] (n,) to the sensor [V], from readings (n,) of covariance (n, n).

    Raises CalibrationError with fewer than two different points.
    """
    node, volts = np.asarray(node_v, np.float64), np.asarray(reading_v, np.float64)
    fit = fit_line(node, volts, cov_y=cov_v, cov_x=rectangular(INL_V) ** 2 * np.eye(node.size))
    points = tuple((float(n), float(v)) for n, v in zip(node, volts, strict=True))
    cov = fit.cov
    line = Line(fit.intercept, fit.slope, float(cov[0, 0]), float(cov[1, 1]), float(cov[0, 1]))
    residuals = tuple(float(r) for r in fit.residuals)
    return ChannelCalibration(CHANNEL, line, points=points, residuals_v=residuals, chi2=fit.chi2)


def monitor_volts(
    node_v: FloatArray, monitor: ChannelCalibration | None, *, n_readings: int = 1
) -> tuple[FloatArray, FloatArray]:
    """Return (volts at the sensor (n,), their covariance (n, n)) of means of `n_readings` at the node (n,) [V].

    The line's own covariance is common to all; linearity and noise are each reading's own. CalibrationError where the
    monitor was not calibrated itself.
    """
    if monitor is None:
        raise CalibrationError(
            "The rig's second converter is not calibrated.",
            next_step="calibrate the rig with a meter first, then again with --reference monitor",
        )
    node, line = np.asarray(node_v, np.float64), monitor.line
    return line.offset_v + line.gain_v * node, _covariance(node, line, n_readings)


def reference_covariance(
    volts_v: FloatArray, monitor: ChannelCalibration, *, n_readings: int = 8
) -> FloatArray:
    """Return the covariance [V2] (n, n) of volts (n,) that the monitor once read."""
    line = monitor.line
    return _covariance((np.asarray(volts_v, np.float64) - line.offset_v) / line.gain_v, line, n_readings)


def _covariance(node_v: FloatArray, line: Line, n_readings: int) -> FloatArray:
    x = np.stack([np.ones_like(node_v), node_v], axis=1)
    common = x @ np.array([[line.var_offset, line.cov], [line.cov, line.var_gain]]) @ x.T
    own = line.gain_v**2 * (rectangular(INL_V) ** 2 + NOISE_V**2 / n_readings)
    return np.asarray(common + own * np.eye(node_v.size))
