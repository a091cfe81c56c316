"""The calibration of one channel from voltages that the operator set: line, departures, and what each is worth.

Reading i of the meter is v_i = a + b (c_i - e(c_i)) + m_i: c_i the code with the nominal wide codes taken off, e the
converter's unknown departure with the covariance K of codes.py, m_i the meter's error. The meter's gain error is one
number for all points, so is its zero error; only its last digit is drawn anew. Generalised least squares with
V = M + b^2 K gives the line. With many points the departure itself is estimated as well (universal kriging: N. Cressie,
Statistics for Spatial Data, 1993, 3.4; from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from sweeprig.calibration.codes import (
    CODES,
    corrected,
    departure_covariance,
    nodes,
    nominal_linearity,
    rectangular,
    widest,
)
from sweeprig.calibration.expected import USUAL_NOISE_LSB, expected_inverse
from sweeprig.calibration.line_fit import LineFit, fit_line
from sweeprig.calibration.model import ChannelCalibration, FloatArray, Line, Linearity, Meter
from sweeprig.errors import CalibrationError

FEWEST = 2
BEND_FROM = 4  # points from which the departure is estimated too
LEAST_RANGE = 0.4  # of the codes, between the lowest and the highest point
LEAST_P = 0.05  # of residuals as large as these, below which the converter is no usual one
MOST_WANDER, WANDER_NEAR = 100.0, 1.01  # of a wander that is sought: its bound, and how near it is found
LEAST_U_LSB = 0.02  # of a mean code: rounding of the sums


@dataclass(frozen=True)
class CalibrationPoint:
    """One voltage: what the rig made of it and what the reference showed."""

    code: float  # mean of all conversions
    reading_v: float  # [V] at the sensor plug
    u_code: float = LEAST_U_LSB  # standard uncertainty of the mean [LSB]
    noise_lsb: float = USUAL_NOISE_LSB  # standard deviation of single conversions


@dataclass(frozen=True)
class Points:
    """Points ready to be fitted; all arrays (n,), covariance (n, n)."""

    code: FloatArray  # corrected for the nominal wide codes
    reading_v: FloatArray
    cov_v: FloatArray  # [V2] of the readings
    cov_code: FloatArray  # [LSB2] of the codes


def meter_covariance(reading_v: FloatArray, meter: Meter) -> FloatArray:
    """Return the covariance [V2] (n, n) of readings (n,) of one meter on one range.

    ± (p % of reading + k counts), rectangular: the gain part p and all counts but half of one are common to all
    points; half a count is the rounding of the last digit, independent.
    """
    gain = rectangular(meter.percent_of_reading / 100.0) * reading_v
    common = rectangular(max(meter.counts - 0.5, 0.0) * meter.count_v)
    own = rectangular(min(max(meter.counts, 0.0), 0.5) * meter.count_v)
    own = max(own, rectangular(0.5 * meter.count_v))
    n = reading_v.size
    return np.asarray(np.outer(gain, gain) + common**2 * np.ones((n, n)) + own**2 * np.eye(n))


def prepare(
    points: tuple[CalibrationPoint, ...], *, cov_v: FloatArray, linearity: Linearity | None
) -> Points:
    """Return the points with the wide codes taken off; a point inside a wide code is known only to its width."""
    code = np.array([p.code for p in points])
    noise = np.array([p.noise_lsb for p in points])
    u_code = np.array([max(p.u_code, LEAST_U_LSB) for p in points])
    half = np.array([max(widest(p.code, linearity) / 2 - 1.0, 0.0) for p in points])
    if linearity is not None:
        code = expected_inverse(code, noise, linearity)
    return Points(
        code,
        np.array([p.reading_v for p in points]),
        cov_v,
        np.diag(u_code**2 + (half**2) / 3.0),
    )


def fit_points(points: Points, *, chip: str, wander: float = 1.0) -> LineFit:
    """Return the line by generalised least squares, the converter's departures counted with their covariance."""
    slope = np.polyfit(points.code, points.reading_v, 1)[0]
    k = departure_covariance(points.code, points.code, chip=chip, wander=wander)
    return fit_line(points.code, points.reading_v, cov_y=points.cov_v + slope**2 * k, cov_x=points.cov_code)


def fit_straight(points: Points, *, chip: str) -> LineFit:
    """Return the line where no departure is estimated: departures weigh the same at every point.

    With their covariance the line would lean on the low points, before the wide codes, and miss the high ones.
    """
    slope = np.polyfit(points.code, points.reading_v, 1)[0]
    size = float(np.mean(np.diag(departure_covariance(points.code, points.code, chip=chip))))
    own = slope**2 * size * np.eye(points.code.size)
    return fit_line(points.code, points.reading_v, cov_y=points.cov_v + own, cov_x=points.cov_code)


def fit_channel(
    channel: int,
    points: tuple[CalibrationPoint, ...],
    *,
    cov_v: FloatArray,
    chip: str,
    wide_removed: bool = True,
    bend: bool | None = None,
) -> ChannelCalibration:
    """Return one channel's calibration from 2 or more points; `cov_v` (n, n) [V2] of the readings.

    `wide_removed` False leaves the wide codes in, for comparison. `bend`: estimate the departures as well; None does
    so from four points on. Raises CalibrationError for too few points or too small a range.
    """
    _check_enough(points)
    usual = nominal_linearity(chip)
    nominal, left_in = (usual, None) if wide_removed else (None, usual)
    ready = prepare(points, cov_v=cov_v, linearity=nominal)
    bent = bend if bend is not None else len(points) >= BEND_FROM
    first = (fit_points if bent else fit_straight)(ready, chip=chip)
    usually = _departures(ready, first, chip=chip, bend=bent, left_in=left_in)
    fit, found = _widened(ready, first, usually, chip=chip, bend=bent) if wide_removed else (first, usually)
    inside = float(ready.code.min()), float(ready.code.max())
    scalar = found.between(*inside)
    return ChannelCalibration(
        channel,
        line_of(fit, cov_v + fit.slope**2 * ready.cov_code),
        joined(nominal, found.code, found.error_lsb, scalar)
        if bent
        else nominal and replace(nominal, u_lsb=scalar),
        scalar,
        tuple((p.code, p.reading_v) for p in points),
        tuple(zip(found.code.tolist(), found.u_lsb.tolist(), strict=True)),
        tuple(first.residuals.tolist()),
        tuple(usually.u_residual_v.tolist()),
        first.chi2 if len(points) > 2 else None,
        scalar / usually.between(*inside),
    )


def line_of(fit: LineFit, cov_v: FloatArray) -> Line:
    """Return the line with what errors of covariance `cov_v` (n, n) [V2] in the readings make of it."""
    cov = fit.weights @ cov_v @ fit.weights.T
    return Line(fit.intercept, fit.slope, float(cov[0, 0]), float(cov[1, 1]), float(cov[0, 1]))


def birge_ratio(chi2: float, dof: int) -> float:
    """Return by how much residuals exceed what was expected, sqrt(chi2 / dof), where that is no chance; else 1.

    The converter then departs from its line more than boards that were measured (R. T. Birge, Phys. Rev. 40, 1932;
    from memory).
    """
    return math.sqrt(chi2 / dof) if unlikely(chi2, dof) else 1.0


def unlikely(chi2: float, dof: int) -> bool:
    """Whether chance hardly explains residuals so large."""
    from scipy.special import chdtrc

    return dof > 0 and float(chdtrc(dof, chi2)) <= LEAST_P


def wander_of(points: Points, *, chip: str) -> float:
    """Return by how much more than usual a converter must wander beyond the law for residuals as large as these.

    So much that chi-square is its degrees of freedom: what points show of such a converter is at them, and least is
    known half way between two (R. C. Paule and J. Mandel, J. Res. NBS 87, 1982, for one level; from memory).
    """
    low, high, dof = 1.0, MOST_WANDER, points.code.size - 2
    while high / low > WANDER_NEAR:
        middle = math.sqrt(low * high)
        still = fit_points(points, chip=chip, wander=middle).chi2 > dof
        low, high = (middle, high) if still else (low, middle)
    return high


def _widened(
    points: Points, fit: LineFit, usually: _Departures, *, chip: str, bend: bool
) -> tuple[LineFit, _Departures]:
    """Return fit and departures of a converter that departs more than expected, where the residuals do.

    Not only where chance hardly explains them: with few points most converters unlike the boards would pass for usual.
    """
    dof = points.code.size - 2
    if not bend:
        return fit, replace(usually, u_lsb=usually.u_lsb * birge_ratio(fit.chi2, dof))
    if dof < 1 or fit.chi2 <= dof:
        return fit, usually
    wander = wander_of(points, chip=chip)
    fit = fit_points(points, chip=chip, wander=wander)
    return fit, _departures(points, fit, chip=chip, bend=True, left_in=None, wander=wander)


@dataclass(frozen=True)
class _Departures:
    code: FloatArray  # (k,) corrected
    error_lsb: FloatArray  # (k,)
    u_lsb: FloatArray  # (k,) of what is left, the fit's own share of it included
    u_residual_v: FloatArray  # (n,) standard deviation that the residuals should have

    def between(self, low: float, high: float) -> float:
        """Return the root mean square of u between two codes; the largest where no node lies there."""
        inside = (low <= self.code) & (high >= self.code)
        return float(np.sqrt(np.mean(self.u_lsb[inside] ** 2)) if inside.any() else self.u_lsb.max())


def _departures(
    points: Points, fit: LineFit, *, chip: str, bend: bool, left_in: Linearity | None, wander: float = 1.0
) -> _Departures:
    """Return departures and their uncertainty at the chip's nodes.

    A value at c is predicted as w'y, w = A'h or, bent, A'h + (I - X A)' V^-1 b^2 k. Its variance is
    b^2 (K_cc - 2 w'k + w'K w) + w'M w; the line's own share h'A M A'h is kept with the line.
    Wide codes left in are a known bias e(c) - w'e, added squared.
    """
    b2, n, at = fit.slope**2, points.code.size, nodes(chip)
    meter = points.cov_v + b2 * points.cov_code
    k_pp, k_pc, k_cc = (
        departure_covariance(a, b, chip=chip, wander=wander)
        for a, b in ((points.code, points.code), (points.code, at), (at, at))
    )
    k_cc = np.diag(k_cc)
    design = np.stack([np.ones(n), points.code], axis=1)
    h = np.stack([np.ones_like(at), at])  # (2, k)
    line_w = fit.weights.T @ h  # (n, k)
    v_inv = np.linalg.inv(meter + b2 * k_pp)
    clear = np.eye(n) - design @ fit.weights
    w = line_w + clear.T @ v_inv @ (b2 * k_pc) if bend else line_w
    var = b2 * (k_cc - 2 * _paired(w, k_pc) + _paired(w, k_pp @ w))
    var = var + np.maximum(_paired(w, meter @ w) - _paired(line_w, meter @ line_w), 0.0)
    if left_in is not None:
        bias = _usual(at, left_in) - w.T @ _usual(points.code, left_in)
        var = var + b2 * bias**2
    shift = (w - line_w).T @ points.reading_v
    u_residual = np.sqrt(np.maximum(np.diag(clear @ (meter + b2 * k_pp) @ clear.T), 0.0))
    return _Departures(at, -shift / fit.slope, np.sqrt(np.maximum(var, 0.0) / b2), u_residual)


def _usual(code: FloatArray, linearity: Linearity) -> FloatArray:
    return np.asarray(np.interp(code, linearity.code, linearity.error_lsb))


def _paired(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.asarray(np.einsum("ij,ij->j", a, b))


def joined(nominal: Linearity | None, at: FloatArray, error_lsb: FloatArray, u_lsb: float) -> Linearity:
    """Return the chip's usual departures and the measured ones (k,) at corrected codes (k,) as one table."""
    if nominal is None:
        return Linearity(at, error_lsb, u_lsb, "points")
    code = np.unique(
        np.concatenate([nominal.code, np.interp(at, corrected(nominal.code, nominal), nominal.code)])
    )
    first = np.interp(code, nominal.code, nominal.error_lsb)
    error = first + np.interp(code - first, at, error_lsb)
    return Linearity(code, np.round(error, 4), u_lsb, "points")


def _check_enough(points: tuple[CalibrationPoint, ...]) -> None:
    codes = [p.code for p in points]
    share = (max(codes) - min(codes)) / CODES if codes else 0.0
    if len(points) < FEWEST or share < LEAST_RANGE:
        raise CalibrationError(
            "The points cover too little of the rig's range.",
            seen=f"{len(points)} points over {100 * share:.0f} % of the codes",
            limit=f"at least {FEWEST} points over {100 * LEAST_RANGE:.0f} %",
            next_step="set voltages from about 0.2 V to about 4.8 V",
        )
