"""Two captures over each other: time becomes strokes, so that sweeps of different pace lie on one another."""

from __future__ import annotations

from dataclasses import dataclass
from io import BytesIO
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from sweeprig.capture.model import Trace
    from sweeprig.judge.outcome import Outcome

COLUMNS = 1200  # at most, over what is shown


@dataclass(frozen=True)
class Course:
    """One capture by strokes: 1.0 is where its first stroke begins, 1.5 the middle of that stroke."""

    strokes: int
    at: tuple[float, ...]  # strokes
    low_v: tuple[float, ...]  # [V] lowest conversion there
    high_v: tuple[float, ...]  # [V] highest conversion there


def strokes_of(t_s: NDArray[np.float64], outcome: Outcome) -> NDArray[np.float64]:
    """Return for each window how many strokes are behind it, from 1 at the start of the first.

    Between two starts the time is shared evenly: u = k + (t - t_k)/(t_(k+1) - t_k). Before the first and after the
    last it goes on at the pace of the stroke beside it. A capture without a stroke is one stroke from end to end.
    """
    found = [s for s in outcome.analysis.strokes if s.full] or list(outcome.analysis.strokes)
    starts = [float(t_s[min(s.start, t_s.size - 1)]) for s in found]
    if found:
        starts.append(float(t_s[min(found[-1].stop, t_s.size - 1)]))
    if len(starts) < 2 or min(np.diff(starts)) <= 0:
        starts = [float(t_s[0]), float(t_s[-1]) + 1e-9]
    first, last = starts[1] - starts[0], starts[-1] - starts[-2]
    knots = [starts[0] - first, *starts, starts[-1] + last]
    u: NDArray[np.float64] = np.interp(t_s, knots, np.arange(len(knots), dtype=float))
    u = np.where(t_s < knots[0], (t_s - knots[0]) / first, u)
    return np.where(t_s > knots[-1], len(knots) - 1 + (t_s - knots[-1]) / last, u)


def course_of(outcome: Outcome) -> dict[str, NDArray[Any]]:
    """Return a whole capture by strokes: place, lowest and highest conversion of each window, number of strokes."""
    trace: Trace = outcome.trace
    return {
        "at": strokes_of(trace.t_s, outcome),
        "low_v": trace.signal_a.min_v,
        "high_v": trace.signal_a.max_v,
        "strokes": np.array(max(1, sum(s.full for s in outcome.analysis.strokes))),
    }


def between(made: bytes, *, start: float, stop: float, columns: int = COLUMNS) -> Course:
    """Return what of a packed course lies between two places [strokes], lowest and highest of each column."""
    with np.load(BytesIO(made)) as whole:
        u, low_v, high_v, n = whole["at"], whole["low_v"], whole["high_v"], int(whole["strokes"])
    chosen = np.flatnonzero((u >= start) & (u <= stop))
    if not chosen.size:
        return Course(n, (), (), ())
    each = max(1, -(-chosen.size // columns))
    firsts = np.arange(0, chosen.size, each)
    low = np.minimum.reduceat(low_v[chosen], firsts)
    high = np.maximum.reduceat(high_v[chosen], firsts)
    return Course(n, _plain(u[chosen][firsts], 5), _plain(low, 4), _plain(high, 4))


def _plain(values: NDArray[np.float64], digits: int) -> tuple[float, ...]:
    return tuple(float(v) for v in np.round(values, digits))
