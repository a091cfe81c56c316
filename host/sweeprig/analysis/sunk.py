"""A signal that sinks slowly to a rail and never comes back: an open lead that a filter holds for a while.

The lever had met its end some times before, well away from that rail; no mount turns so. Own.
"""

from __future__ import annotations

import numpy as np

from sweeprig.analysis.model import FloatArray
from sweeprig.analysis.unplugged import JUMP_PERCENT, NEAR_PERCENT, OFF_S, Off
from sweeprig.analysis.visits import TurningPoint, turns_of
from sweeprig.capture.model import Channel

OVER_S = 0.02  # s: medians over so long, which single dropouts do not reach
TURN_SHARE = 0.08  # of the range between two turning points, at least
AGREE_PERCENT = 1.0  # % of supply: visits so near one another met one stop
FEWEST_BEFORE = 2  # visits before it
SUPPLIED = 0.8  # of the usual supply
SLOWEST_PERCENT = 1.0  # % of supply below its last level: from there on it sinks


def sunk_at_last(
    mean_v: FloatArray,
    supply: Channel | None,
    off: tuple[Off, ...],
    *,
    supply_v: float,
    window_s: float,
) -> tuple[Off, ...]:
    """Return the time from which the signal sinks to a rail and stays there to the end; () where it does not.

    Nor where the supply goes as well, or where one of the times `off` lasts to the end.
    """
    if any(o.stop >= mean_v.size - 1 for o in off):
        return ()
    found = []
    for high, values in ((False, mean_v), (True, supply_v - mean_v)):
        start = _start(values, supply_v, window_s)
        if start is not None and _supplied(supply, start, supply_v):
            found.append(Off(start, mean_v.size, high, lasts=True, sinks=True))
    return tuple(found)


def _start(mean_v: FloatArray, supply_v: float, window_s: float) -> int | None:
    """Window from which the signal goes to ground for good."""
    near = NEAR_PERCENT / 100 * supply_v
    away = np.flatnonzero(mean_v >= near)
    if not away.size or (mean_v.size - 1 - int(away[-1])) * window_s < OFF_S:
        return None
    every = max(1, round(OVER_S / window_s))
    n = mean_v.size // every
    values = np.median(mean_v[: n * every].reshape(n, every), axis=1)
    turns = turns_of(values, TURN_SHARE * float(np.ptp(values)))
    if len(turns) < 2 or not turns[-1].low or not _met_before(turns[:-1], supply_v):
        return None
    top = turns[-2]
    level_v = top.level_v - SLOWEST_PERCENT / 100 * supply_v
    return every * (top.at + int(np.flatnonzero(values[top.at :] >= level_v)[-1]))


def _supplied(supply: Channel | None, start: int, supply_v: float) -> bool:
    return supply is None or float(np.median(supply.mean_v[start:])) > SUPPLIED * supply_v


def _met_before(turns: tuple[TurningPoint, ...], supply_v: float) -> bool:
    """Whether the lever turned at one level some times before, clear of the rail."""
    lows = [t.level_v for t in turns if t.low]
    if len(lows) < FEWEST_BEFORE:
        return False
    same = [v for v in lows if v - min(lows) <= AGREE_PERCENT / 100 * supply_v]
    return len(same) >= FEWEST_BEFORE and min(lows) > (JUMP_PERCENT + NEAR_PERCENT) / 100 * supply_v
