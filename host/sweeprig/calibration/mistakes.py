"""Slips of an operator, found before anything is saved: swapped points, slipped digits, the wrong range.

Only what no sound converter can give is refused; smaller departures widen the calibration's uncertainty (fit.py). No
message says what a reading should have been: only the meter can.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from sweepboard.wire import CHANNEL_NAMES
from sweeprig.calibration.codes import departure_covariance
from sweeprig.calibration.fit import CalibrationPoint, Points, fit_points
from sweeprig.calibration.model import ChannelCalibration, FloatArray, Line
from sweeprig.errors import CalibrationError

UNLIKELY = 4.0  # standard deviations of one reading from what the others and the rig's parts allow
UNLIKELY_ALL = 1e-4  # chance of residuals as large as these together
ODD_LSB = 1.5  # by which a sound converter may depart at any code beyond what is expected: assumed


@dataclass(frozen=True)
class Suspect:
    """A reading that does not fit."""

    number: int  # of the point, from 1
    reading_v: float
    u_v: float  # standard uncertainty of its difference from what all else says


def against_parts(points: Points, line: Line, *, u_linearity_lsb: float) -> FloatArray:
    """Return how far each reading is from an uncalibrated rig's value for its code, in standard deviations (n,)."""
    c = points.code
    var = (
        line.var_offset
        + 2 * c * line.cov
        + c**2 * line.var_gain
        + line.gain_v**2 * (u_linearity_lsb**2 + ODD_LSB**2)
    )
    var = var + np.diag(points.cov_v)
    return np.asarray((points.reading_v - line.offset_v - line.gain_v * c) / np.sqrt(var))


def leave_one_out(points: Points, *, chip: str) -> tuple[FloatArray, FloatArray]:
    """Return (difference [V], its standard uncertainty [V]) of each reading from what all the others say, (n,).

    With Q = V^-1 - V^-1 X (X'V^-1 X)^-1 X'V^-1: difference (Q y)_i / Q_ii, variance 1 / Q_ii; the square of their
    ratio is by how much chi-square falls without the point. Needs three points.
    """
    slope = np.polyfit(points.code, points.reading_v, 1)[0]
    k = departure_covariance(points.code, points.code, chip=chip) + ODD_LSB**2 * np.eye(points.code.size)
    v_inv = np.linalg.inv(points.cov_v + slope**2 * (k + points.cov_code))
    x = np.stack([np.ones_like(points.code), points.code], axis=1)
    q = v_inv - v_inv @ x @ np.linalg.solve(x.T @ v_inv @ x, x.T @ v_inv)
    own = np.diag(q)
    return (q @ points.reading_v) / own, 1.0 / np.sqrt(own)


def refuse_mistakes(
    points: Points, *, nominal: ChannelCalibration, chip: str, typed: tuple[CalibrationPoint, ...]
) -> None:
    """Raise CalibrationError where readings are swapped, slipped or not of this rig. Nothing is changed."""
    name = CHANNEL_NAMES[nominal.channel]
    swapped = _swapped(points, nominal, chip)
    if swapped:
        i, j = swapped
        pairs = (f"{_volts(points, k)} V at code {typed[k].code:.0f}" for k in swapped)
        raise CalibrationError(
            f"Points {i + 1} and {j + 1} of {name} look swapped.",
            seen=", ".join(pairs),
            limit="readings that rise with the codes",
            next_step="repeat both points; nothing is saved",
        )
    suspect = find_suspect(points, nominal=nominal, chip=chip)
    if suspect is not None:
        raise CalibrationError(
            f"Point {suspect.number} of {name} does not fit.",
            seen=f"{suspect.reading_v:.4f} V",
            limit=f"within {1e3 * UNLIKELY * suspect.u_v:.1f} mV of the expected voltage",
            next_step="set that voltage and read the meter again on the stated range; nothing is saved",
        )
    _check_whole(points, chip, name)


def _volts(points: Points, i: int) -> str:
    return f"{points.reading_v[i]:.4f}"


def find_suspect(points: Points, *, nominal: ChannelCalibration, chip: str) -> Suspect | None:
    """Return the reading that fits least, where one does not; the line of the others tells finer than the parts."""
    line = nominal.line
    u_lsb = nominal.linearity.u_lsb if nominal.linearity else nominal.u_linearity_lsb
    z = against_parts(points, line, u_linearity_lsb=u_lsb)
    worst = int(np.argmax(np.abs(z)))
    if abs(z[worst]) > UNLIKELY:
        expected = line.offset_v + line.gain_v * points.code[worst]
        reading = float(points.reading_v[worst])
        return Suspect(worst + 1, reading, float(abs(reading - expected) / abs(z[worst])))
    if points.code.size < 3:
        return None
    off, u_off = leave_one_out(points, chip=chip)
    worst = int(np.argmax(np.abs(off / u_off)))
    if abs(off[worst]) <= UNLIKELY * u_off[worst]:
        return None
    return Suspect(worst + 1, float(points.reading_v[worst]), float(u_off[worst]))


def _swapped(points: Points, nominal: ChannelCalibration, chip: str) -> tuple[int, int] | None:
    """Return the two points whose exchange makes the readings rise with the codes and fit, where they do not."""
    order = np.argsort(points.code)
    falls = np.flatnonzero(np.diff(points.reading_v[order]) <= 0)
    if not falls.size:
        return None
    n = points.code.size
    for i in range(n):
        for j in range(i + 1, n):
            volts = points.reading_v.copy()
            volts[[i, j]] = volts[[j, i]]
            tried = replace(points, reading_v=volts)
            rises = bool((np.diff(volts[order]) > 0).all())
            if rises and find_suspect(tried, nominal=nominal, chip=chip) is None:
                return i, j
    return None


def _check_whole(points: Points, chip: str, name: str) -> None:
    if points.code.size < 3:
        return
    from scipy.special import chdtrc

    odd = replace(points, cov_code=points.cov_code + ODD_LSB**2 * np.eye(points.code.size))
    fit = fit_points(odd, chip=chip)
    chance = float(chdtrc(points.code.size - 2, fit.chi2))
    if chance < UNLIKELY_ALL:
        worst = int(np.argmax(np.abs(fit.residuals)))
        raise CalibrationError(
            f"The points of {name} do not lie on one line.",
            seen=f"chi-square {fit.chi2:.1f} for {points.code.size} points, largest residual "
            f"{1000 * fit.residuals[worst]:+.1f} mV at point {worst + 1}",
            limit="within the accuracy of meter and converter",
            next_step="let each voltage settle, check the meter's range and accuracy, and repeat; nothing is saved",
        )
