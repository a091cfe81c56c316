"""What the supply and the sensor's ground did."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sweeprig.analysis.model import FloatArray
from sweeprig.capture.model import Channel

SAG_PERCENT = 2.0  # % of the median supply, slow
STEADY_PERCENT = 0.3  # % of the median supply: less than this is not taken out
CUT_PERCENT = 40.0  # % of nominal: below it the sensor is not fed
GROUND_SHIFT_V = 0.05  # V; common practice allows 50 to 100 mV of ground drop (no source)


@dataclass(frozen=True)
class SupplySeen:
    """Level of the supply [V], nan where not observed, and its sag."""

    median_v: float
    sag_percent: float
    cut: bool


def look(supply: Channel | None, *, nominal_v: float) -> SupplySeen:
    """Median, extremes, and the slow sag: depth of the median over 51 windows below the whole median."""
    if supply is None or supply.mean_v.size == 0:
        return SupplySeen(np.nan, 0.0, False)
    median = float(np.median(supply.mean_v))
    slow, _ = _slow(supply)
    top = float(np.quantile(slow, 0.9))
    sag = 100 * (top - float(slow.min())) / max(top, 1e-9)
    cut = median < CUT_PERCENT / 100 * nominal_v
    return SupplySeen(median, sag, cut)


def ground_shift(ground_v: FloatArray | None) -> float:
    """Largest of spread and offset of sensor ground, 1 % to 99 % quantiles [V]; 0 where not observed."""
    if ground_v is None or ground_v.size == 0:
        return 0.0
    low, high = np.quantile(ground_v, (0.01, 0.99))
    return float(max(high - low, abs(high), abs(low)))


def steadied(path: FloatArray, supply: Channel | None, seen: SupplySeen, *, level_v: float) -> FloatArray:
    """Signal as it would be at a steady supply of `level_v` [V]: path times level over the slow supply, shape (n,).

    So a sag that both tracks follow is not taken for a fault of one. Without a sag nothing is changed.
    """
    if supply is None or seen.sag_percent < STEADY_PERCENT:
        return path
    slow, every = _slow(supply)
    whole = np.interp(np.arange(path.size), np.arange(slow.size) * every, slow)
    return np.asarray(path * level_v / np.maximum(whole, CUT_PERCENT / 100 * level_v), dtype=float)


def _slow(supply: Channel) -> tuple[FloatArray, int]:
    """Median over 51 windows, of every window or of every fifth in a long capture, and which."""
    from scipy.ndimage import median_filter

    every = 1 if supply.mean_v.size < 50_000 else 5
    return np.asarray(median_filter(supply.mean_v[::every], 51, mode="nearest"), dtype=float), every
