"""Slips of an operator, found before anything is saved: swapped points, slipped digits, the wrong range."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from sweepboard.wire import CHANNEL_NAMES
from sweeprig.errors import TrimError
from sweeprig.trim.codes import departure_covariance
from sweeprig.trim.fit import Points, TrimPoint, fit_points
from sweeprig.trim.model import ChannelTrim, FloatArray, Line

UNLIKELY = 4.0  # standard deviations of one reading from what the others and the rig's parts allow
UNLIKELY_ALL = 1e-4  # chance of residuals as large as these together
FITS = 3.0  # standard deviations within which a guess at what was meant counts as fitting


@dataclass(frozen=True)
class Suspect:
    """A reading that does not fit, and what may have been meant."""

    number: int  # of the point, from 1
    reading_v: float
    expected_v: float
    u_v: float  # standard uncertainty of the difference
    guess: str = ""


def against_parts(points: Points, line: Line, *, u_linearity_lsb: float) -> FloatArray:
    """Return each reading less what an untrimmed rig makes of its code, in standard deviations (n,)."""
    c = points.code
    var = line.var_offset + 2 * c * line.cov + c**2 * line.var_gain + (line.gain_v * u_linearity_lsb) ** 2
    var = var + np.diag(points.cov_v)
    return np.asarray((points.reading_v - line.offset_v - line.gain_v * c) / np.sqrt(var))


def left_out(points: Points, *, chip: str) -> tuple[FloatArray, FloatArray]:
    """Return (difference [V], its standard uncertainty [V]) of each reading from what all the others say, (n,).

    With Q = V^-1 - V^-1 X (X'V^-1 X)^-1 X'V^-1: difference (Q y)_i / Q_ii, variance 1 / Q_ii; the square of their
    ratio is by how much chi-square falls without the point. Needs three points.
    """
    slope = np.polyfit(points.code, points.reading_v, 1)[0]
    k = departure_covariance(points.code, points.code, chip=chip)
    v_inv = np.linalg.inv(points.cov_v + slope**2 * (k + points.cov_code))
    x = np.stack([np.ones_like(points.code), points.code], axis=1)
    q = v_inv - v_inv @ x @ np.linalg.solve(x.T @ v_inv @ x, x.T @ v_inv)
    own = np.diag(q)
    return (q @ points.reading_v) / own, 1.0 / np.sqrt(own)


def refuse_slips(points: Points, *, nominal: ChannelTrim, chip: str, typed: tuple[TrimPoint, ...]) -> None:
    """Raise TrimError where readings are swapped, slipped or not of this rig. Nothing is changed."""
    name = CHANNEL_NAMES[nominal.channel]
    swapped = _swapped(points, nominal, chip)
    if swapped:
        i, j = swapped
        pairs = (f"{_volts(points, k)} V at code {typed[k].code:.0f}" for k in swapped)
        raise TrimError(
            f"Points {i + 1} and {j + 1} of {name} look swapped.",
            seen=", ".join(pairs),
            limit="readings that rise with the codes",
            next_step="repeat both points; nothing was saved",
        )
    suspect = find_suspect(points, nominal=nominal, chip=chip)
    if suspect is not None:
        raise TrimError(
            f"Point {suspect.number} of {name} does not fit.",
            seen=f"{suspect.reading_v:.4f} V",
            limit=f"{suspect.expected_v:.4f} V ± {UNLIKELY * suspect.u_v:.4f} V",
            next_step=f"{suspect.guess}repeat that point; nothing was saved",
        )
    _check_whole(points, chip, name)


def _volts(points: Points, i: int) -> str:
    return f"{points.reading_v[i]:.4f}"


def find_suspect(points: Points, *, nominal: ChannelTrim, chip: str) -> Suspect | None:
    """Return the reading that fits least, where one does not; the line of the others tells finer than the parts."""
    line = nominal.line
    u_lsb = nominal.linearity.u_lsb if nominal.linearity else nominal.u_linearity_lsb
    z = against_parts(points, line, u_linearity_lsb=u_lsb)
    worst = int(np.argmax(np.abs(z)))
    if abs(z[worst]) > UNLIKELY:
        expected = line.offset_v + line.gain_v * points.code[worst]
        u = abs(points.reading_v[worst] - expected) / abs(z[worst])
        return _suspect(points, worst, expected, u)
    if points.code.size < 3:
        return None
    off, u_off = left_out(points, chip=chip)
    worst = int(np.argmax(np.abs(off / u_off)))
    if abs(off[worst]) <= UNLIKELY * u_off[worst]:
        return None
    return _suspect(points, worst, float(points.reading_v[worst] - off[worst]), float(u_off[worst]))


def _suspect(points: Points, i: int, expected: float, u: float) -> Suspect:
    reading = float(points.reading_v[i])
    near = [m for m in slips(reading) if abs(m - expected) <= FITS * u]
    meant = min(near, key=lambda m: abs(m - expected), default=None)
    guess = "" if meant is None else f"was {meant:g} V meant? "
    return Suspect(i + 1, reading, expected, u, guess)


def slips(reading_v: float) -> Iterator[float]:
    """Yield what may have been meant: the point moved, neighbouring digits swapped, one digit mistyped."""
    yield reading_v * 10
    yield reading_v / 10
    text = f"{reading_v:.4f}"
    places = [k for k, c in enumerate(text) if c.isdigit()]
    for a, b in pairwise(places):
        swapped = list(text)
        swapped[a], swapped[b] = swapped[b], swapped[a]
        yield float("".join(swapped))
    for k in places:
        for digit in "0123456789":
            yield float(text[:k] + digit + text[k + 1 :])


def _swapped(points: Points, nominal: ChannelTrim, chip: str) -> tuple[int, int] | None:
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

    fit = fit_points(points, chip=chip)
    chance = float(chdtrc(points.code.size - 2, fit.chi2))
    if chance < UNLIKELY_ALL:
        worst = int(np.argmax(np.abs(fit.residuals)))
        raise TrimError(
            f"The points of {name} do not lie on one line.",
            seen=f"chi-square {fit.chi2:.1f} for {points.code.size} points, largest residual "
            f"{1000 * fit.residuals[worst]:+.1f} mV at point {worst + 1}",
            limit="what meter and converter allow",
            next_step="let each voltage settle, check the meter's range and accuracy, and repeat; nothing was saved",
        )
