"""Hum, ripple and spikes that never stop, seen where the lever hardly moves; and a signal without them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sweeprig.analysis.held import shown_at_both
from sweeprig.analysis.model import FloatArray
from sweeprig.analysis.smoothness import SLOWEST_S
from sweeprig.analysis.stretches import Stretches
from sweeprig.capture.model import BoolArray, Channel

HUM_S = (
    0.02  # s: one period of 50 Hz; a tremor of 8 to 12 Hz (common practice, no source) hardly changes in it
)
CALM = 0.2  # share of the windows, those in which the signal moves least
LEAST_PERCENT = 0.5  # % of supply, peak to peak: own choice, no source
LEAST_LSB, LEAST_STEPS = 15.0, 3.0  # codes of a rig with windows; steps of single readings
FEWEST = 50  # calm windows
RARE_S = 0.0101  # s between readings, at most: two in a period of 50 Hz
RARE_SHARE = 0.04  # of the signal's range, of readings further apart than SLOWEST_S; own choice, no source
LOUD_SHARE = 0.06  # of the signal's range: that turns a signal round as a lever does; own choice, no source
PERIODS_S = (1 / 50, 1 / 60)  # of mains
PEAK_TO_PEAK = 2.83  # of a sine, in units of its median departure


@dataclass(frozen=True)
class Hum:
    """An interference that never stops."""

    peak_v: float  # [V] peak to peak
    between_v: float  # [V] that of the windows' means


def steady_noise(
    channel: Channel,
    shape: FloatArray,
    *,
    good: BoolArray,
    window_s: float,
    supply_v: float,
    lsb_v: float,
    single: bool,
) -> Hum | None:
    """Return the unrest of a signal at its calmest; None where it is no more than usual.

    `shape` (n,): its path at a steady supply; `good` (n,): windows without an event. What is inside windows counts,
    and what changes from window to window within HUM_S. `single`: single readings, whose steps count. None of readings
    too far apart to show it.
    """
    if window_s > RARE_S:
        return None
    period = max(3, round(HUM_S / window_s))
    slow = _means(shape, window_s)
    moves = np.abs(np.roll(slow, -period) - np.roll(slow, period))
    moves[:period] = moves[-period:] = np.inf
    known = good & np.isfinite(moves)
    if np.count_nonzero(known) * CALM < FEWEST:
        return None
    calm = known & (moves <= np.quantile(moves[known], CALM))
    between = PEAK_TO_PEAK * float(np.median(np.abs(shape - slow)[calm]))
    inside = float(np.median((channel.max_v - channel.min_v)[calm]))
    least = least_of(supply_v=supply_v, lsb_v=lsb_v, single=single)
    if window_s > SLOWEST_S:
        least = max(least, RARE_SHARE * _range(shape))
    most = max(between, inside)
    return Hum(most, between) if most >= least else None


def noise_for_a_time(
    channel: Channel, shape: FloatArray, *, stays: tuple[slice, ...], window_s: float, least_v: float
) -> float:
    """Return the unrest, peak to peak [V], in stays at both ends that are noisy, as of a motor that ran then; else 0.

    `shape` (n,): the path at a steady supply.
    """
    if window_s > SLOWEST_S or not stays:
        return 0.0
    off, inside = np.abs(shape - _means(shape, window_s)), channel.max_v - channel.min_v
    own = [max(PEAK_TO_PEAK * float(np.median(off[s])), float(np.median(inside[s]))) for s in stays]
    levels = np.array([np.median(shape[s]) for s in stays])
    unrest_v = shown_at_both(levels, np.array(own))
    return unrest_v if unrest_v >= least_v else 0.0


def least_of(*, supply_v: float, lsb_v: float, single: bool) -> float:
    """Return the least unrest that counts, peak to peak [V]."""
    return max(LEAST_PERCENT / 100 * supply_v, (LEAST_STEPS if single else LEAST_LSB) * lsb_v)


def _range(shape: FloatArray) -> float:
    low, high = np.quantile(shape, (0.002, 0.998))
    return float(high - low)


def _means(shape: FloatArray, window_s: float) -> FloatArray:
    """Means over a period of 50 Hz and then over one of 60 Hz, which leave neither."""
    from scipy.ndimage import uniform_filter1d

    out = shape
    for period_s in PERIODS_S:
        out = uniform_filter1d(out, max(2, round(period_s / window_s)), mode="nearest")
    return out


def without_hum(shape: FloatArray, hum: Hum | None, *, window_s: float, parts: Stretches) -> FloatArray:
    """Return a signal (n,) less a hum so loud that it looks like a lever that goes to and fro; else as it is.

    Means of a period, never across what is missing.
    """
    if hum is None or hum.between_v < LOUD_SHARE * _range(shape):
        return shape
    out = shape.copy()
    for part in parts:
        out[part] = _means(shape[part], window_s)
    return out
