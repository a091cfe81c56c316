"""Linearity against an angle. Terms as in IEC 60393-1 and VRCI-P-100A (from memory)."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from sweeprig.analysis.angle_noise import BINS, largest_by_chance, noise_of, quieted
from sweeprig.analysis.model import Cause, Code, Finding, FloatArray, LinearityResult
from sweeprig.words import Sense

DEAD_SHARE = 0.05  # of the angle's travel at one end without the signal; own choice, no source
DEAD_STEP = (
    "Is the angle that of the sensor's own shaft? Then look for play between lever and shaft, and at the sensor's "
    "data: its track may be shorter than the travel."
)
SLOW = 0.1  # of the usual speed of a movement: slower is neither up nor down
WIDENINGS = 60  # each doubles the range of slopes that is searched


def independent(x: FloatArray, y: FloatArray) -> tuple[float, float, float]:
    """(slope, intercept, largest deviation) of the minimax line; x, y of shape (n,), no NaN.

    The minimax line is the middle of the narrowest vertical strip that holds all points. A strip touches
    an edge of the convex hull on one side and a vertex on the other, so every hull edge is tried: exact.
    """
    if x.size < 2 or float(np.ptp(x)) == 0.0:
        raise ValueError("a line needs two different angles")
    upper, lower = _hull(x, y)
    best = (0.0, 0.0, np.inf)
    for chain in (upper, lower):
        for (x0, y0), (x1, y1) in pairwise(chain):
            slope = (y1 - y0) / (x1 - x0)
            top = float((upper[:, 1] - slope * upper[:, 0]).max())
            bottom = float((lower[:, 1] - slope * lower[:, 0]).min())
            if (top - bottom) / 2 < best[2]:
                best = (float(slope), (top + bottom) / 2, (top - bottom) / 2)
    return best


def _hull(x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Upper and lower convex chain from the smallest to the largest x (monotone chain, Andrew 1979)."""
    xs, group = np.unique(x, return_inverse=True)
    top, bottom = np.full(xs.size, -np.inf), np.full(xs.size, np.inf)
    np.maximum.at(top, group, y)
    np.minimum.at(bottom, group, y)
    return _chain(xs, top, 1.0), _chain(xs, bottom, -1.0)


def _chain(xs: FloatArray, ys: FloatArray, sign: float) -> FloatArray:
    out: list[tuple[float, float]] = []
    for p in zip(xs.tolist(), ys.tolist(), strict=True):
        while len(out) > 1 and sign * _turn(out[-2], out[-1], p) >= 0:
            out.pop()
        out.append(p)
    return np.array(out)


def _turn(o: tuple[float, float], a: tuple[float, float], b: tuple[float, float]) -> float:
    return (a[0] - o[0]) * (b[1] - o[1]) - (a[1] - o[1]) * (b[0] - o[0])


def terminal(x: FloatArray, y: FloatArray) -> float:
    """Largest deviation from the line through the measured end points."""
    first, last = int(np.argmin(x)), int(np.argmax(x))
    line = y[first] + (y[last] - y[first]) * (x - x[first]) / (x[last] - x[first])
    return float(np.abs(y - line).max())


def zero_based(x: FloatArray, y: FloatArray, *, start: float) -> float:
    """Largest deviation from the line through (smallest x, `start`) whose slope makes it smallest.

    The deviation is convex in the slope: the minimum is searched between the slopes of the points well away from
    the start, and further out for as long as it lies at a bound.
    """
    u, v = x - x.min(), y - start
    away = u > 0.02 * u.max()
    rates = v[away] / u[away]
    low, high = float(rates.min()) - 1e-9, float(rates.max()) + 1e-9
    for _ in range(WIDENINGS):
        slope, least = _least_deviation(u, v, low, high)
        width = high - low
        if slope - low < 1e-6 * width:
            low -= width
        elif high - slope < 1e-6 * width:
            high += width
        else:
            break
    return least


def _least_deviation(u: FloatArray, v: FloatArray, low: float, high: float) -> tuple[float, float]:
    """Return the slope between two bounds with the smallest largest deviation, and that deviation."""
    from scipy.optimize import minimize_scalar

    found = minimize_scalar(
        lambda s: float(np.abs(v - s * u).max()),
        bounds=(low, high),
        method="bounded",
        options={"xatol": 1e-12},
    )
    return float(found.x), float(found.fun)


def against_angle(
    angle_deg: FloatArray,
    path_v: FloatArray,
    *,
    supply_v: float,
) -> LinearityResult | None:
    """All deviations in % of applied voltage; arrays of shape (n,), no NaN.

    None where the angle hardly moves.
    """
    if float(np.ptp(angle_deg)) < 1.0 or not supply_v > 0:
        return None
    quiet = quieted(angle_deg, path_v)
    x, y, up, down = folded(quiet.angle_deg, quiet.path_v)
    closed, opened = _dead(x, y)
    inside = (x >= x[0] + closed) & (x <= x[-1] - opened)
    if np.count_nonzero(inside) < 3:
        return None
    xi, yi = x[inside], y[inside]
    slope, _, deviation = independent(xi, yi)
    both = np.isfinite(up) & np.isfinite(down)
    apart = float(np.abs(up - down)[both].max()) if both.any() else np.nan
    per = 100 / supply_v
    return LinearityResult(
        independent_percent=per * deviation,
        terminal_percent=per * terminal(xi, yi),
        zero_based_percent=per * zero_based(xi, yi, start=float(yi[0])),
        hysteresis_percent=per * apart,
        volts_per_degree=slope,
        dead_band_closed_deg=closed,
        dead_band_open_deg=opened,
        chance_percent=per * _by_chance_v(angle_deg, path_v, slope, x.size, quiet.n_averaged),
        travel_deg=quiet.travel_deg,
    )


def _by_chance_v(
    angle_deg: FloatArray, path_v: FloatArray, slope: float, n_bins: int, n_averaged: int
) -> float:
    """How far up and down strokes are apart in the worst bin by the noise of angle and signal alone [V]."""
    moving = np.abs(np.gradient(angle_deg))
    n_moving = np.count_nonzero(moving > SLOW * float(np.quantile(moving, 0.9)))
    noise_v = noise_of(path_v - slope * angle_deg)
    return largest_by_chance(n_bins, noise_v, max(n_averaged, n_moving / (2 * n_bins)))


def folded(angle: FloatArray, v: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Mean angle and volts in 400 bins of angle; level at rising and at falling angle, nan where unseen."""
    k = int(min(BINS, max(8, angle.size // 8)))
    low, high = float(angle.min()), float(angle.max())
    bins = np.minimum(((angle - low) / (high - low) * k).astype(np.int64), k - 1)
    moving = np.gradient(angle)
    limit = SLOW * float(np.quantile(np.abs(moving), 0.9))

    def mean(values: FloatArray, chosen: FloatArray) -> FloatArray:
        n = np.bincount(bins, weights=chosen, minlength=k)
        total = np.bincount(bins, weights=values * chosen, minlength=k)
        return np.asarray(np.where(n > 0, total / np.maximum(n, 1), np.nan))

    every = np.ones_like(angle)
    x, y = mean(angle, every), mean(v, every)
    # carried to the bin's own mean angle by the whole slope, so that an uneven filling makes no hysteresis
    rate = float(np.polyfit(angle, v, 1)[0])
    level = v - rate * angle
    up, down = (mean(level, (moving * s > limit).astype(float)) for s in (1, -1))
    seen = np.isfinite(x)
    return x[seen], y[seen], up[seen], down[seen]


def _dead(x: FloatArray, y: FloatArray) -> tuple[float, float]:
    """Degrees at either end over which the signal stays within 0.2 % of its span of its end value."""
    near = 0.002 * float(np.ptp(y))
    usual = 0.002 * float(np.ptp(x))
    leaves = np.flatnonzero(np.abs(y - y[0]) > near)
    comes = np.flatnonzero(np.abs(y - y[-1]) > near)
    closed = float(x[max(int(leaves[0]) - 1, 0)] - x[0]) if leaves.size else 0.0
    opened = float(x[-1] - x[min(int(comes[-1]) + 1, x.size - 1)]) if comes.size else 0.0
    return (closed if closed > 3 * usual else 0.0), (opened if opened > 3 * usual else 0.0)


def dead_angles(line: LinearityResult | None, sense: Sense) -> list[Finding]:
    """Ends over which the angle moves and the signal does not, by more than DEAD_SHARE of the angle's travel."""
    if line is None:
        return []
    out = []
    for small, dead_deg in ((True, line.dead_band_closed_deg), (False, line.dead_band_open_deg)):
        share = dead_deg / line.travel_deg
        if share <= DEAD_SHARE:
            continue
        low = small == (line.volts_per_degree > 0)
        closed = low != (sense is Sense.FALLING)
        text = (
            f"the signal does not move over {dead_deg:.1f} degrees at the {'small' if small else 'large'} end of the "
            f"angle, {100 * share:.0f} % of its travel (limit {100 * DEAD_SHARE:.0f} %)"
        )
        code, where = (Code.DEAD_BAND_CLOSED, (0.0, 1.0)) if closed else (Code.DEAD_BAND_OPEN, (99.0, 100.0))
        out.append(Finding(code, Cause.MOUNTING, 0, where, text, DEAD_STEP, "doubt", {"dead_deg": dead_deg}))
    return out
