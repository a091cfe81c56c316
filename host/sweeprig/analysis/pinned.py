"""Ends that stand at a rail: dead bands, and not what a contact that opens leaves there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sweeprig.analysis.model import FloatArray
from sweeprig.analysis.unplugged import is_jump
from sweeprig.analysis.visits import Stop
from sweeprig.capture.model import BoolArray, Channel

RAIL_PERCENT = 1.0  # % of supply
LEAST_S = 0.02  # s at the rail in all
STAYS_S = 0.1  # s at the rail at a time, where the lever met the end elsewhere: longer than a contact bounces
CLEAR_PERCENT = 3.0  # % of supply from the rail, from which on an end that the lever met twice is elsewhere
AGREE = 2  # visits that met one level


@dataclass(frozen=True)
class Pinned:
    """An end that stands at a rail."""

    place: str  # low | high
    level_v: float
    rail_v: float
    seconds: float
    noise_ratio: float  # range of the readings there, over that at other places


def pinned_ends(
    channel: Channel,
    path: FloatArray,
    *,
    stops: tuple[Stop | None, Stop | None],
    supply_v: float,
    ground_v: float,
    window_s: float,
    supply: Channel | None = None,
) -> tuple[Pinned, ...]:
    """Ends that stand at a rail: within RAIL_PERCENT of supply of measured ground or supply.

    `supply_v`: its usual level; `supply`: as measured, which counts where it is higher, before a sag or after it.
    No time there that begins or ends with a jump counts, nor a short one where the lever met that end off the rail.
    """
    near = RAIL_PERCENT / 100 * supply_v
    out = []
    top_v = np.maximum(supply_v, supply.mean_v) if supply is not None else np.full(path.size, supply_v)
    for place, rail, stop in (("low", ground_v, stops[0]), ("high", supply_v, stops[1])):
        at = path <= rail + near if place == "low" else path >= top_v - near
        if at.all():
            continue
        least = round(STAYS_S / window_s) if _is_clear(stop, rail, supply_v) else 1
        at = _reached(path, at, least, high=place == "high", supply_v=supply_v)
        seconds = float(at.sum()) * window_s
        if seconds < LEAST_S:
            continue
        spread = channel.max_v - channel.min_v
        ratio = float(np.median(spread[at]) / max(float(np.median(spread[~at])), 1e-9))
        out.append(Pinned(place, float(np.median(path[at])), rail, seconds, ratio))
    return tuple(out)


def _is_clear(stop: Stop | None, rail_v: float, supply_v: float) -> bool:
    """Whether the lever met an end, AGREE times or more, whose level is off the rail."""
    if stop is None or stop.agree < AGREE:
        return False
    level_v = float(np.median([v.level_v for v in stop.visits]))
    return abs(level_v - rail_v) > CLEAR_PERCENT / 100 * supply_v


def _reached(path: FloatArray, at: BoolArray, least: int, *, high: bool, supply_v: float) -> BoolArray:
    """Windows at a rail, `least` or more at a time that neither begins nor ends with a jump, shape (n,)."""
    out = np.zeros(at.size, dtype=bool)
    for a, b in np.flatnonzero(np.diff(np.pad(at.astype(np.int8), 1))).reshape(-1, 2).tolist():
        out[a:b] = b - a >= least and not is_jump(path, a, b, high=high, supply_v=supply_v)
    return out
