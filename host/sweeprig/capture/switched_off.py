"""Rows from after the supply was switched off, before whoever recorded them stopped the logger."""

from __future__ import annotations

import numpy as np

from sweeprig.capture.model import Channel, FloatArray, Trace
from sweeprig.capture.windows import CLEAR, NO_SIGNAL, NOT_FED

FEWEST_DEAD = 3  # rows at 0 V
FALL_S = (
    0.3  # s that a signal takes to go with a supply that was not measured, at most; own choice, no source
)
SEEN_FALL_S = 3.0  # s of a measured one: 100 uF that only a track of 5 kilohm empties (6 time constants)
REST_S, CALM = 0.05, 0.003  # s of rest before it, and how far that moves, of the highest reading
ALL_THERE = 0.99  # of the level of that rest
USUAL = 0.95  # of the usual supply: what is there before it goes
GRADUAL_S, LEFT = 0.015, 0.97  # s below that share of the rest: a wire that breaks takes less


def until_switched_off(trace: Trace) -> Trace:
    """Return the trace up to where its supply goes to 0 V for good while the lever rests; else as it is.

    Without a supply a signal shows it that goes there gradually, as a supply does, and was never near 0 V before.
    """
    shown = trace.signal_a if trace.supply is None else trace.supply
    zero_v = max(2 * trace.lsb_v, NO_SIGNAL * float(shown.mean_v.max()))
    dead = _dead_from(shown.mean_v, zero_v)
    stop = _rest_before(trace, shown.mean_v, dead)
    if stop <= trace.t_s.size // 2 or not _once(trace, shown, stop, zero_v):
        return trace
    if trace.supply is None and not _all_gradually(trace, dead=dead, stop=stop, zero_v=zero_v):
        return trace
    return trace.rows(slice(0, stop))


def _dead_from(level: FloatArray, zero_v: float) -> int:
    """Row from which on all are at 0 V; 0 where there are too few."""
    alive = np.flatnonzero(level > zero_v)
    dead = int(alive[-1]) + 1 if alive.size else 0
    return dead if level.size - dead >= FEWEST_DEAD else 0


def _rest_before(trace: Trace, level: FloatArray, dead: int) -> int:
    """Return how many rows there are up to the last rest of supply and signal before `dead`; 0 where none is near."""
    rest = max(4, round(REST_S / trace.window_s))
    begin = dead if trace.supply is None else _falls_from(level, dead, round(SEEN_FALL_S / trace.window_s))
    first = max(rest, begin - round(FALL_S / trace.window_s))
    both = (level, trace.signal_a.mean_v)
    at = (k for k in range(begin, first, -1) if all(_is_calm(v, k, rest, trace.lsb_v) for v in both))
    last = next(at, 0)
    near = level[max(0, last - rest) : last]
    there = np.flatnonzero(near >= ALL_THERE * np.median(near)) if last else np.zeros(0)
    return last - near.size + int(there[-1]) + 1 if there.size else 0


def _falls_from(level: FloatArray, dead: int, most: int) -> int:
    """Return the row after the last at which a supply was there, at most `most` rows before `dead`; else `dead`."""
    there = np.flatnonzero(level[:dead] > USUAL * np.median(level))
    return int(there[-1]) + 1 if there.size and dead - there[-1] <= most else dead


def _is_calm(level: FloatArray, stop: int, rest: int, lsb_v: float) -> bool:
    earlier, later = level[stop - rest : stop - rest // 2], level[stop - rest // 2 : stop]
    return abs(float(np.median(later)) - float(np.median(earlier))) < max(
        CALM * float(level.max()), 1.5 * lsb_v
    )


def _once(trace: Trace, shown: Channel, stop: int, zero_v: float) -> bool:
    """Whether it was there all the time before, stood where it usually does, and went once."""
    usual, level = float(np.median(shown.mean_v)), shown.mean_v
    rest_v = float(np.median(level[stop - 4 : stop]))
    gone = level[stop:] < rest_v / 2
    lowest = float(shown.min_v[:stop].min())
    if not bool(gone[int(np.argmax(gone)) :].all()):
        return False
    if trace.supply is None:
        return lowest > CLEAR * zero_v
    return lowest > NOT_FED * usual and rest_v > USUAL * usual


def _all_gradually(trace: Trace, *, dead: int, stop: int, zero_v: float) -> bool:
    """Whether signal A took its time to go, and signal B went too."""
    level = trace.signal_a.mean_v
    falling = level[stop:dead] < LEFT * float(np.median(level[stop - 4 : stop]))
    gone_b = trace.signal_b is None or float(trace.signal_b.mean_v[dead:].max()) <= 2 * zero_v
    return gone_b and float(np.sum(falling)) * trace.window_s >= GRADUAL_S
