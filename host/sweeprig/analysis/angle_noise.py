"""The noise of an angle, and what it makes of the distance between up and down strokes."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from sweeprig.analysis.model import FloatArray

BINS = 400  # of the travel, as linearity has them
SHARE = 0.5  # of a bin's width: noise of an angle that no bin shows. Own choice, no source
SPIKE, STEPS = (
    0.03,
    5.0,
)  # share of the travel, and largest usual steps, that a wild reading is away. Own choice
LONGEST = 25  # readings that are averaged
SECOND_DIFFERENCE = (
    6**0.5 * 0.6745
)  # median size of a second difference of normal noise, in standard deviations


@dataclass(frozen=True)
class Quieted:
    """Angle [deg] and path [V], (n,), averaged alike, and over how many readings."""

    angle_deg: FloatArray
    path_v: FloatArray
    n_averaged: int

    @property
    def travel_deg(self) -> float:
        """Smallest to largest angle."""
        return float(np.ptp(self.angle_deg))


def quieted(angle_deg: FloatArray, path_v: FloatArray) -> Quieted:
    """Average an angle, and its path alike, where its noise is more than SHARE of a bin; arrays (n,), no NaN.

    Both are averaged over the same readings, so that a straight track stays straight.
    """
    from scipy.ndimage import uniform_filter1d

    least = SHARE * float(np.ptp(angle_deg)) / BINS
    noise = noise_of(angle_deg)
    if noise <= least:
        return Quieted(angle_deg, path_v, 1)
    n = min(LONGEST, math.ceil((noise / least) ** 2), max(1, angle_deg.size // (2 * BINS)))
    angle, path = (uniform_filter1d(v, n, mode="nearest") for v in (angle_deg, path_v))
    return Quieted(angle, path, n)


def despiked(angle_deg: FloatArray) -> FloatArray:
    """Return an angle whose wild readings, one or two in a row, are the median around them; (n,), no NaN.

    A wild reading is away from its neighbours by SPIKE of the travel, and by more than the lever moves in as many.
    """
    from scipy.ndimage import median_filter

    usual = median_filter(angle_deg, 5, mode="nearest")
    travel = float(np.ptp(np.quantile(usual, (0.01, 0.99))))
    quick = float(np.quantile(np.abs(np.diff(usual)), 0.99)) if usual.size > 1 else 0.0
    return np.where(np.abs(angle_deg - usual) > max(SPIKE * travel, STEPS * quick), usual, angle_deg)


def noise_of(angle_deg: FloatArray) -> float:
    """Standard deviation of what changes from reading to reading [deg]; steps of an encoder are none."""
    if angle_deg.size < 3:
        return 0.0
    return float(np.median(np.abs(np.diff(angle_deg, 2)))) / SECOND_DIFFERENCE


def largest_by_chance(n_bins: int, spread: float, n_readings: float) -> float:
    """Return how far apart two means of `n_readings` each are by chance in the worst of `n_bins`, in units of `spread`.

    sqrt(2 ln n) standard deviations: what the largest of n normal values stays near (from memory).
    """
    if n_bins < 2 or n_readings <= 0:
        return 0.0
    return math.sqrt(2 * math.log(n_bins)) * spread * math.sqrt(2 / n_readings)
