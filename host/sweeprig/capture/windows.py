"""Rows of a CSV that belong together: closer than any analysis looks, or one reading written down several times."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from sweeprig.capture.model import Channel, FloatArray, Trace

WINDOW_S = 1e-3  # s of a window, at least: that of a rig, for which the analysis is made
FINE_S = WINDOW_S / 2  # s between rows; those no further apart are put together
HELD_STEPS = (
    3  # of the resolution: a signal that moves by so much from change to change stands still for no row
)
HELD_ROWS = 1.15  # rows a reading, from which on rows are repeats; a tenth repeated by chance is not enough
EVEN_SHARE = 0.9  # of a quick movement's changes must be about as far apart as the others
SLOWER_ROWS = 3  # a supply that is read for every third row at most is drawn straight from reading to reading
FEWEST_READINGS = 20  # of such a supply
ABOVE_NOISE = 8.0  # times the usual change from row to row: a reading of a supply, and not its noise
ONCE_SHARE = 0.6  # of the changes under noise that follow the next reading, and not one further on
FEWEST_ROWS_UNDER_NOISE = 5  # that a reading stands for: of fewer, noise leaves no stairs to be sure of
NO_SIGNAL, STILL = 0.005, 0.01  # of the highest reading: 0 V, and what a lever at rest stays within
CLEAR = 4.0  # times what counts as 0 V: a signal that comes down to that may be at 0 V by itself
RISE_S, STAYS_S = 0.04, 0.05  # s for a sensor to be there when it is switched on; and that it then stays
NOT_FED, FED = 0.4, 0.995  # of the usual supply: as it is before it is switched on, and once it is there
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
    them. Or, where rows and readings are no multiples, a signal that moves on quickly stands still in many of its rows:
    then each change is a reading, and where nothing changes for long they go on at the usual distance. So it is where
    noise lies over the held readings. Other channels have their mean, lowest and highest of those rows. Rows with
    extremes are no repeats.
    """
    if trace.n_per_window > 1 or trace.gap_before.any():
        return trace
    at = _changes(trace)
    if at.size < FEWEST_CHANGES:
        return trace
    k = float(np.gcd.reduce(np.diff(at)))
    if k >= 2:
        starts = np.union1d([0], np.arange(int(at[0] % k), trace.t_s.size, int(k)))
    else:
        under_noise, k = _stairs(trace.signal_a.mean_v)
        at, k = (under_noise, k) if k > 1 else (at, _rows_held(trace, at))
        if k < HELD_ROWS:
            return trace
        starts = _filled(at, k, trace.t_s.size)
    return _put_together(trace, starts, k, None if trace.angle_deg is None else trace.angle_deg[starts])


def supply_drawn(trace: Trace) -> Trace:
    """Return the trace with straight lines between the readings of a supply that was read less often than the signals.

    It then stands still for about one and the same number of rows, again and again; a quiet supply changes at any time,
    and one that a load is switched on and off at goes to and fro.
    """
    if trace.supply is None or trace.supply.max_v is not trace.supply.mean_v:
        return trace
    level = trace.supply.mean_v
    steps = np.diff(level)
    at = np.flatnonzero(np.abs(steps) > ABOVE_NOISE * np.median(np.abs(steps))) + 1
    apart, signs = np.diff(at), np.sign(steps[at - 1])
    if apart.size < FEWEST_READINGS or np.mean(signs[1:] != signs[:-1]) > EVEN_SHARE:
        return trace
    usual = float(np.median(apart))
    whole = np.abs(apart - usual * np.round(apart / usual)) <= 0.3 * usual
    if usual < SLOWER_ROWS or np.mean(whole & (apart >= 0.6 * usual)) < EVEN_SHARE:
        return trace
    starts = np.concatenate(([0], at))
    drawn = np.interp(np.arange(level.size), starts, _means(level, starts))
    return replace(trace, supply=Channel(drawn, drawn, drawn))


def fed(trace: Trace) -> Trace:
    """Return the trace from where its supply is there, if that is switched on in the first half; else as it is.

    Without a supply a signal shows it that begins at 0 V, rises at once, stays there, and is never near 0 V again.
    """
    first = _signal_there(trace) if trace.supply is None else _supply_there(trace.supply.mean_v)
    if not 0 < first <= trace.t_s.size // 2:
        return trace
    return trace.rows(slice(first, None))


def _supply_there(level: FloatArray) -> int:
    usual = float(np.median(level))
    return int(np.argmax(level >= FED * usual)) if level[0] < NOT_FED * usual else 0


def _signal_there(trace: Trace) -> int:
    """First row at which a signal stands where it rose to from 0 V at the beginning; 0 where it did not."""
    low, level = trace.signal_a.min_v, trace.signal_a.mean_v
    zero_v = max(2 * trace.lsb_v, NO_SIGNAL * float(level.max()))
    dead = int(np.argmax(level > zero_v))
    after = dead + max(1, round(RISE_S / trace.window_s))
    stays = max(2, round(STAYS_S / trace.window_s))
    if dead == 0 or after + 2 * stays > level.size:
        return 0
    first, then = (float(np.median(level[k : k + stays])) for k in (after, after + stays))
    calm = abs(then - first) < STILL * float(level.max())
    return after if calm and float(low[after:].min()) > CLEAR * zero_v else 0


def _put_together(trace: Trace, starts: NDArray[np.int64], n: float, angle_deg: FloatArray | None) -> Trace:
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


def _changes(trace: Trace) -> NDArray[np.int64]:
    """Rows in which a signal is another than in the row before."""
    moved = np.diff(trace.signal_a.mean_v) != 0
    if trace.signal_b is not None:
        moved |= np.diff(trace.signal_b.mean_v) != 0
    return np.asarray(np.flatnonzero(moved) + 1, dtype=np.int64)


def _rows_held(trace: Trace, at: NDArray[np.int64]) -> float:
    """Rows that a reading stands for in quick movement, between two changes the same way; 1 where none is repeated."""
    steps = np.diff(trace.signal_a.mean_v)[at - 1]
    quick = np.abs(steps) >= (HELD_STEPS - 0.5) * trace.lsb_v
    pairs = quick[:-1] & quick[1:] & (steps[:-1] * steps[1:] > 0)
    apart = np.diff(at)[pairs]
    if apart.size < FEWEST_CHANGES:
        return 1.0
    usual = float(np.mean(apart[apart <= 2 * np.median(apart)]))
    even = (apart >= usual / 2) & (apart <= 2 * usual)
    return usual if np.mean(even) >= EVEN_SHARE else 1.0


def _stairs(level: FloatArray) -> tuple[NDArray[np.int64], float]:
    """Rows at which a held reading with noise over it changes, and the rows that one stands for; 1 where none does.

    Stairs of one length in time at every speed are a source's; those of a track are longer where it moves slowly.
    """
    steps = np.diff(level)
    at = np.asarray(
        np.flatnonzero(np.abs(steps) > ABOVE_NOISE * np.median(np.abs(steps))) + 1, dtype=np.int64
    )
    up = steps[at - 1] > 0
    apart = np.diff(at)[up[:-1] == up[1:]]
    if apart.size < FEWEST_CHANGES:
        return at, 1.0
    usual = float(np.median(apart))
    times = np.maximum(1, np.round(apart / usual))
    even = np.mean(np.abs(apart - usual * times) <= max(1.0, 0.15 * usual)) >= EVEN_SHARE
    held = usual >= FEWEST_ROWS_UNDER_NOISE and even and np.mean(times == 1) >= ONCE_SHARE
    return at, float(np.mean(apart / times)) if held else 1.0


def _filled(at: NDArray[np.int64], k: float, n: int) -> NDArray[np.int64]:
    """Return the changes, and between those further apart than usual a start every k rows."""
    bounds = np.concatenate(([0], at, [n]))
    parts = np.maximum(1, np.round(np.diff(bounds) / k)).astype(np.int64)
    nth = np.arange(parts.sum()) - np.repeat(np.cumsum(parts) - parts, parts)
    length = np.repeat(np.diff(bounds) / parts, parts)
    return np.asarray(np.unique(np.repeat(bounds[:-1], parts) + np.floor(nth * length)), dtype=np.int64)


def _of_channel(channel: Channel, starts: NDArray[np.int64]) -> Channel:
    low, high = np.minimum.reduceat(channel.min_v, starts), np.maximum.reduceat(channel.max_v, starts)
    return Channel(np.clip(_means(channel.mean_v, starts), low, high), low, high)


def _means(values: FloatArray, starts: NDArray[np.int64]) -> FloatArray:
    """Return the mean from each start to the next, shape (len(starts),)."""
    counts = np.diff(starts, append=values.size)
    return np.asarray(np.add.reduceat(values, starts) / counts)
