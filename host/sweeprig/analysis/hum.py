"""Steady interference: hum, ripple and spikes that never stop, seen where the lever hardly moves."""

from __future__ import annotations

import numpy as np

from sweeprig.analysis.model import FloatArray
from sweeprig.analysis.moves import Moves
from sweeprig.analysis.smoothness import SLOWEST_S
from sweeprig.capture.model import BoolArray, Channel, Trace

HUM_S = (
    0.02  # s: one period of 50 Hz; a tremor of 8 to 12 Hz (common practice, no source) hardly changes in it
)
CALM = 0.2  # share of the windows, those in which the signal moves least
LEAST_PERCENT = 0.5  # % of supply, peak to peak: own choice, no source
LEAST_LSB, LEAST_STEPS = 15.0, 3.0  # codes of a rig with windows; steps of single readings
FEWEST = 50  # calm windows
PEAK_TO_PEAK = 2.83  # of a sine, in units of its median departure


def steady_noise(
    channel: Channel,
    shape: FloatArray,
    *,
    good: BoolArray,
    window_s: float,
    supply_v: float,
    lsb_v: float,
    single: bool,
) -> float | None:
    """Return the unrest of a signal at its calmest, peak to peak [V]; None where it is no more than usual.

    `shape` (n,): its path at a steady supply; `good` (n,): windows without an event. What is inside windows counts,
    and what changes from window to window within HUM_S. `single`: single readings, whose steps count.
    """
    from scipy.ndimage import uniform_filter1d

    period = max(3, round(HUM_S / window_s))
    slow = uniform_filter1d(shape, period, mode="nearest")
    moves = np.abs(np.roll(slow, -period) - np.roll(slow, period))
    moves[:period] = moves[-period:] = np.inf
    known = good & np.isfinite(moves)
    if np.count_nonzero(known) * CALM < FEWEST:
        return None
    calm = known & (moves <= np.quantile(moves[known], CALM))
    between = PEAK_TO_PEAK * float(np.median(np.abs(shape - slow)[calm]))
    inside = float(np.median((channel.max_v - channel.min_v)[calm]))
    least = max(LEAST_PERCENT / 100 * supply_v, (LEAST_STEPS if single else LEAST_LSB) * lsb_v)
    most = max(between, inside)
    return most if most >= least else None


def of_signals(trace: Trace, moves: tuple[Moves, ...], *, supply_v: float) -> list[tuple[int, float]]:
    """Return channel and unrest [V] of each signal that never rests; none of readings too far apart to show it."""
    out = []
    for channel, m in enumerate(moves):
        source = (trace.signal_a, trace.signal_b)[channel]
        if source is None or trace.window_s > SLOWEST_S:
            continue
        noise = steady_noise(
            source,
            m.path_steady_v,
            good=m.good,
            window_s=trace.window_s,
            supply_v=supply_v,
            lsb_v=trace.lsb_v,
            single=trace.undithered,
        )
        out += [] if noise is None else [(channel, noise)]
    return out
