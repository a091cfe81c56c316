"""Rows of a CSV that belong together: closer than any analysis looks, or one reading written down several times."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from sweeprig.capture.model import Channel, FloatArray, Trace

WINDOW_S = 1e-3  # s of a window, at least: that of a rig, for which the analysis is made
FINE_S = WINDOW_S / 2  # s between rows; those no further apart are put together
FEWEST_CHANGES = 50  # by chance so many lie on every second row once in 2^49 tables; own choice, no source


def joined(trace: Trace) -> Trace:
    """Return the trace in windows of some WINDOW_S where its rows are FINE_S apart or closer, else as it is.

    A window has the mean of its rows, their lowest and their highest: nothing that goes out and comes back is lost.
    None reaches across a gap.
    """
    if not trace.window_s < FINE_S * (1 + 1e-6):
        return trace
    n = int(np.ceil(WINDOW_S / trace.window_s - 1e-6))
    starts = np.union1d(np.arange(0, trace.t_s.size, n), np.flatnonzero(trace.gap_before))
    angle_deg = None if trace.angle_deg is None else _means(trace.angle_deg, starts)
    made = _put_together(trace, starts, n, angle_deg)
    n_gaps = int(np.count_nonzero(made.gap_before))
    lost = max(n_gaps, round(trace.n_lost / n)) if trace.n_lost else 0
    return replace(made, n_per_window=n * trace.n_per_window, rows_per_window=n, n_lost=lost)


def unrepeated(trace: Trace) -> Trace:
    """Return the trace with one row a reading, where a logger wrote each reading down several times; else as it is.

    Every change of a signal then lies on every k-th row: k is the greatest common divisor of the distances between
    them. Other channels have their mean, lowest and highest of those rows. Rows with extremes are no repeats.
    """
    k, first = _repeats(trace)
    if k < 2:
        return trace
    starts = np.union1d([0], np.arange(first, trace.t_s.size, k))
    return _put_together(trace, starts, k, None if trace.angle_deg is None else trace.angle_deg[starts])


def _put_together(trace: Trace, starts: NDArray[np.int64], n: int, angle_deg: FloatArray | None) -> Trace:
    """Return the trace with one window from each of `starts` to the next, of `n` rows as a rule."""
    return replace(
        trace,
        t_s=trace.t_s[starts],
        signal_a=_of_channel(trace.signal_a, starts),
        signal_b=None if trace.signal_b is None else _of_channel(trace.signal_b, starts),
        supply=None if trace.supply is None else _of_channel(trace.supply, starts),
        angle_deg=angle_deg,
        gap_before=trace.gap_before[starts],
        window_s=n * trace.window_s,
    )


def _repeats(trace: Trace) -> tuple[int, int]:
    """How many rows hold the same reading, and the first row of one; (1, 0) where they do not repeat."""
    if trace.n_per_window > 1 or trace.gap_before.any():
        return 1, 0
    moved = np.diff(trace.signal_a.mean_v) != 0
    if trace.signal_b is not None:
        moved |= np.diff(trace.signal_b.mean_v) != 0
    at = np.flatnonzero(moved) + 1
    if at.size < FEWEST_CHANGES:
        return 1, 0
    k = int(np.gcd.reduce(np.diff(at)))
    return k, int(at[0]) % k


def _of_channel(channel: Channel, starts: NDArray[np.int64]) -> Channel:
    low, high = np.minimum.reduceat(channel.min_v, starts), np.maximum.reduceat(channel.max_v, starts)
    return Channel(np.clip(_means(channel.mean_v, starts), low, high), low, high)


def _means(values: FloatArray, starts: NDArray[np.int64]) -> FloatArray:
    """Return the mean from each start to the next, shape (len(starts),)."""
    counts = np.diff(starts, append=values.size)
    return np.asarray(np.add.reduceat(values, starts) / counts)
