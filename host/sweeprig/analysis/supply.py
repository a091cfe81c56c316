"""What the supply and the sensor's ground did."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from sweeprig.analysis.model import FloatArray
from sweeprig.analysis.statistics import spread_of
from sweeprig.analysis.visits import turns_of
from sweeprig.capture.model import Channel

SLOW_S = 0.05  # s
FALL_S = 1.0  # s; what takes longer is a drift
SAG_PERCENT = 2.0  # % of the supply before or after
BY_CHANCE = 10.0  # standard deviations that the lowest of many medians may be below the highest
STEADY_PERCENT = 0.3  # % of the median supply: less than this is not taken out
CUT_PERCENT = 40.0  # % of nominal: below it the sensor is not fed
QUIETER = 0.8  # of the signal's own unrest, from which the supply's movement is taken out window by window
TURN_SHARE = 0.5  # of the whole change of a signal: what a turning point of the lever is away from the next
WORSE, WORSE_PERCENT = (
    1.5,
    0.02,
)  # times, and % of the supply: scatter of turning points that a correction may not make
MOST_POINTS = 20_000  # readings that turning points are sought in
LATE_ROWS = (
    -1.0,
    -0.5,
    0.5,
    1.0,
)  # by which a logger with one converter may read the supply beside the signal
RIPPLE_S = (0.001, 0.005, 0.01, 0.05)  # s
GROUND_SHIFT_V = 0.05  # V; common practice allows 50 to 100 mV of ground drop (no source)


@dataclass(frozen=True)
class SupplySeen:
    """Level of the supply [V], nan where not observed, and its sag."""

    median_v: float
    sag_percent: float
    cut: bool


def look(supply: Channel | None, *, nominal_v: float, window_s: float) -> SupplySeen:
    """Median, and the slow sag: how deep the supply falls within a second, medians over SLOW_S; a drift is none."""
    from scipy.ndimage import maximum_filter1d

    if supply is None or supply.mean_v.size == 0:
        return SupplySeen(np.nan, 0.0, False)
    median = float(np.median(supply.mean_v))
    slow, every = _slow(supply, window_s)
    around = maximum_filter1d(slow, 2 * max(1, round(FALL_S / (every * window_s))) + 1)
    sag = 100 * float(((around - slow) / np.maximum(around, 1e-9)).max())
    if float((around - slow).max()) < BY_CHANCE * _u_of_medians(supply.mean_v[::every], every * window_s):
        sag = 0.0
    cut = median < CUT_PERCENT / 100 * nominal_v
    return SupplySeen(median, sag, cut)


def _u_of_medians(seen: FloatArray, window_s: float) -> float:
    """Standard deviation that the noise of single readings gives a median over SLOW_S [V]."""
    n = 2 * max(1, round(SLOW_S / window_s / 2)) + 1
    noise_v = spread_of(np.diff(seen, 2)) / math.sqrt(6.0)
    return math.sqrt(math.pi / 2 / n) * noise_v


def ground_shift(ground_v: FloatArray | None) -> float:
    """Largest of spread and offset of sensor ground, 1 % to 99 % quantiles [V]; 0 where not observed."""
    if ground_v is None or ground_v.size == 0:
        return 0.0
    low, high = np.quantile(ground_v, (0.01, 0.99))
    return float(max(high - low, abs(high), abs(low)))


@dataclass(frozen=True)
class Steady:
    """What takes the supply's own movement out of a ratiometric signal; arrays (n,) [V], None: nothing to take out."""

    level_v: float
    window_s: float
    slow: FloatArray | None = None
    every: FloatArray | None = None  # of each window, dropouts bridged
    in_turn: bool = False  # single readings: the supply may have been read before or after the signal

    def of(self, path: FloatArray) -> FloatArray:
        """Signal as it would be at a steady supply of `level_v`: path times level over the supply, shape (n,).

        Over the slow supply where it sags, so that a sag is not taken for a fault; over that of each window where
        it makes the signal quieter, so that a ripple is neither a movement nor the end of a rest. As it is where that
        would scatter the turning points: that sensor does not follow its supply.
        """
        quick = self._over(path, self.every)
        if self._unrest(quick) < QUIETER * self._unrest(path):
            return self._in_turn(path, quick) if self.in_turn else quick
        slow = self._over(path, self.slow)
        worse = _scatter(slow) > WORSE * _scatter(path) + WORSE_PERCENT / 100 * self.level_v
        return path if worse else slow

    def _in_turn(self, path: FloatArray, at_once: FloatArray) -> FloatArray:
        """Over the supply of half a reading or one before or after, where that is much the quietest."""
        if self.every is None:
            return at_once
        at = np.arange(path.size, dtype=float)
        tried = [self._over(path, np.interp(at + late, at, self.every)) for late in LATE_ROWS]
        unrest = [self._unrest(one) for one in tried]
        best = int(np.argmin(unrest))
        return tried[best] if unrest[best] < QUIETER * self._unrest(at_once) else at_once

    def _over(self, path: FloatArray, supply: FloatArray | None) -> FloatArray:
        if supply is None:
            return path
        least = CUT_PERCENT / 100 * self.level_v
        return np.asarray(path * self.level_v / np.maximum(supply, least), dtype=float)

    def _unrest(self, path: FloatArray) -> float:
        """What a signal changes by in some milliseconds at its calmest [V]."""
        lags = [max(1, round(s / self.window_s)) for s in RIPPLE_S]
        return sum(float(np.quantile(np.abs(path[k:] - path[:-k]), 0.2)) for k in lags if k < path.size)


def _scatter(path: FloatArray) -> float:
    """How far the turning points of each side lie apart [V], nan where none comes twice."""
    thin = path[:: 1 + path.size // MOST_POINTS]
    turns = turns_of(thin, TURN_SHARE * float(np.ptp(thin)))[1:-1]
    sides = [[t.level_v for t in turns if t.low is low] for low in (True, False)]
    spreads = [float(np.std(levels)) for levels in sides if len(levels) > 1]
    return sum(spreads) if spreads else math.nan


def steady_of(
    supply: Channel | None,
    seen: SupplySeen,
    bridged: FloatArray | None,
    *,
    level_v: float,
    window_s: float,
    in_turn: bool = False,
) -> Steady:
    """Return what steadies a signal; `bridged` (n,): the supply without its dropouts [V]."""
    if supply is None or bridged is None or seen.cut:
        return Steady(level_v, window_s)
    slow = None
    thinned, every = _slow(supply, window_s)
    if 100 * float(np.ptp(thinned)) >= STEADY_PERCENT * seen.median_v:
        slow = np.interp(np.arange(bridged.size), np.arange(thinned.size) * every, thinned)
    return Steady(level_v, window_s, slow, bridged, in_turn)


def _slow(supply: Channel, window_s: float) -> tuple[FloatArray, int]:
    """Median over SLOW_S, of every window or of every fifth in a long capture, and which.

    Nearer to the borders it is that of the first and last whole SLOW_S: a part of a ripple's period has another median.
    """
    from scipy.ndimage import median_filter

    every = 1 if supply.mean_v.size < 50_000 else 5
    seen = supply.mean_v[::every]
    half = min(max(1, round(SLOW_S / (every * window_s) / 2)), (seen.size - 1) // 2)
    slow = np.array(median_filter(seen, 2 * half + 1, mode="nearest"), dtype=float)
    slow[:half], slow[slow.size - half :] = slow[half], slow[slow.size - half - 1]
    return slow, every
