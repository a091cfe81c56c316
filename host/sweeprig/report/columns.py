"""Reduces a long trace to the columns of a drawing without losing any extreme conversion."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sweeprig.capture.model import Channel

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Columns:
    """One channel per drawing column; arrays of shape (k,), k at most the columns asked for."""

    t_s: FloatArray  # [s] middle of the column
    low_v: FloatArray  # [V] lowest conversion of all windows in the column
    mean_v: FloatArray  # [V]
    high_v: FloatArray  # [V] highest conversion
    starts: NDArray[np.bool_]  # True where records are missing before this column


def to_columns(
    t_s: FloatArray, channel: Channel, gap_before: NDArray[np.bool_], *, start_s: float, stop_s: float, n: int
) -> Columns:
    """Reduce windows of shape (m,) to at most `n` columns between start_s and stop_s [s].

    Column of a window = floor((t - start) / (stop - start) * n); each keeps the minimum of the minima and the
    maximum of the maxima, so the shortest dropout stays as tall as it was. Empty columns are left out.
    Arrays hold no NaN. Raises ValueError for an empty trace.
    """
    if t_s.size == 0:
        raise ValueError("an empty trace has no columns")
    width = (stop_s - start_s) / n if stop_s > start_s else 1.0
    column = np.clip(((t_s - start_s) / width).astype(np.int64), 0, n - 1)
    first = np.flatnonzero(np.r_[True, np.diff(column) > 0])
    count = np.diff(np.r_[first, t_s.size])
    return Columns(
        t_s=(start_s + (column[first] + 0.5) * width).astype(np.float64),
        low_v=np.minimum.reduceat(channel.min_v, first),
        mean_v=np.add.reduceat(channel.mean_v, first) / count,
        high_v=np.maximum.reduceat(channel.max_v, first),
        starts=np.logical_or.reduceat(gap_before, first),
    )
