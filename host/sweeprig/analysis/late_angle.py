"""An angle that was read at another time than the signal: what that makes looks like hysteresis, and is none.

The angle is moved in time until up and down strokes are nearest. What is left of their distance tells a time from play
and magnetic hysteresis, and so does the speed: a time makes a distance in proportion to it, play one that is the same
at every speed.
"""

from __future__ import annotations

import numpy as np

from sweeprig.analysis.linearity import folded
from sweeprig.analysis.model import FloatArray

MOST_S = 0.25  # s; further apart no encoder is read. Own choice, no source
LEAST_PERCENT = 0.2  # % of supply by which up and down must come nearer. Own choice, no source
LEFT_SHARE = 0.8  # of their distance that may be left. Own choice, no source
MOST_OF_BINS = 0.95  # the distance that so many of the bins stay below: one bin's noise is no distance
MOST_WINDOWS = 50_000  # that are looked at: of more, every second, third, ...
N_STEPS = 50  # of the first search, in even steps
SMOOTH_S = 0.05  # s that a speed is taken over: single steps of an encoder are no speed
MIDDLE = (0.15, 0.85)  # of the angle's travel: play is taken up nearer to the ends
ONE_SPEED = 0.02  # spread of the speeds over their median: nearer together they cannot tell


def late_s(angle_deg: FloatArray, path_v: FloatArray, *, t_s: FloatArray, supply_v: float) -> float:
    """Return by how much the angle comes after the signal [s], below 0 where before it; 0 where it does not show.

    Arrays of shape (n,), no NaN; `t_s` rises.
    """
    from scipy.optimize import minimize_scalar

    every = slice(None, None, max(1, t_s.size // MOST_WINDOWS))
    angle_deg, path_v, t_s = angle_deg[every], path_v[every], t_s[every]

    def apart_v(shift_s: float) -> float:
        return _apart_v(np.interp(t_s + shift_s, t_s, angle_deg), path_v)

    own_v, step = apart_v(0.0), 2 * MOST_S / N_STEPS
    if not 100 * own_v / supply_v >= LEAST_PERCENT:
        return 0.0
    near = min(np.arange(-N_STEPS // 2, N_STEPS // 2 + 1) * step, key=lambda s: apart_v(float(s)))
    found = minimize_scalar(
        apart_v, bounds=(near - step, near + step), method="bounded", options={"xatol": 2e-4}
    )
    shift_s, left_v = float(found.x), float(found.fun)
    matters = 100 * (own_v - left_v) / supply_v >= LEAST_PERCENT and left_v < LEFT_SHARE * own_v
    play_may_be = shift_s < 0  # play lets the signal come after the angle, never before it
    if not matters or (play_may_be and not _by_speed(angle_deg, path_v, t_s)):
        return 0.0
    return shift_s


def _apart_v(angle_deg: FloatArray, path_v: FloatArray) -> float:
    _, _, up, down = folded(angle_deg, path_v)
    both = np.isfinite(up) & np.isfinite(down)
    return float(np.quantile(np.abs(up - down)[both], MOST_OF_BINS)) if both.any() else np.nan


def _by_speed(angle_deg: FloatArray, path_v: FloatArray, t_s: FloatArray) -> bool:
    """Whether up and down are apart by the speed rather than at every speed alike; True where there is but one speed.

    Least squares of what is off the mean of both, in the middle of the travel: c + h sign(w) + q w, w the speed.
    """
    from scipy.ndimage import uniform_filter1d

    x, y, _, _ = folded(angle_deg, path_v)
    width = max(1, round(SMOOTH_S / float(np.median(np.diff(t_s)))))
    speed = np.gradient(uniform_filter1d(angle_deg, width, mode="nearest"), t_s)
    low, high = x[0] + np.array(MIDDLE) * float(x[-1] - x[0])
    fast = np.abs(speed) > 0.1 * float(np.quantile(np.abs(speed), 0.9))
    use = fast & (angle_deg > low) & (angle_deg < high)
    if np.count_nonzero(use) < 8:
        return True
    w = speed[use]
    usual = float(np.median(np.abs(w)))
    if float(np.std(np.abs(w))) < ONE_SPEED * usual:
        return True
    columns = np.column_stack([np.ones_like(w), np.sign(w), w / usual])
    off_v = path_v[use] - np.interp(angle_deg[use], x, y)
    _, alike_v, by_speed_v = np.linalg.lstsq(columns, off_v, rcond=None)[0]
    return bool(abs(by_speed_v) > abs(alike_v))


def words(seconds: float) -> str:
    """Return in words that an angle comes at another time, and what to do."""
    when = "after" if seconds > 0 else "before"
    return (
        f"the angle comes {abs(seconds) * 1e3:.0f} ms {when} the signal, or lever and encoder have play: sweep again "
        "at a third of the pace, or read both at one moment"
    )
