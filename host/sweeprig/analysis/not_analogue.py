"""Signals that are not a position: two levels that toggle, and readings above the rig's range."""

from __future__ import annotations

import numpy as np

from sweeprig.analysis.model import FloatArray
from sweeprig.capture.model import Channel, Trace

TOGGLE_SHARE = 0.3  # of windows that hold both levels
TOGGLE_PERCENT = 40.0  # % of supply between the levels
OVER_SHARE = 0.01  # of windows at the top of the range


def toggles(channel: Channel, *, supply_v: float) -> str:
    """'pwm' for a signal that switches on and off quickly, 'levels' for one with two levels only, else ''."""
    spread = channel.max_v - channel.min_v
    wide = spread > TOGGLE_PERCENT / 100 * supply_v
    if float(wide.mean()) > TOGGLE_SHARE:
        return "pwm"
    return "levels" if _two_levels(channel.mean_v, channel.min_v, channel.max_v, supply_v) else ""


def _two_levels(mean: FloatArray, low: FloatArray, high: FloatArray, supply_v: float) -> bool:
    bottom, top = (float(q) for q in np.quantile(mean, (0.01, 0.99)))
    span = top - bottom
    if span < TOGGLE_PERCENT / 100 * supply_v:
        return False
    calm = high - low < 0.5 * span  # windows without an edge in them
    if float(calm.mean()) < 1.0 - TOGGLE_SHARE - 0.1:
        return False
    between = (mean > bottom + 0.1 * span) & (mean < top - 0.1 * span)
    edges = np.count_nonzero(np.diff((mean > bottom + span / 2).astype(np.int8)))
    flat = np.minimum(np.abs(mean - bottom), np.abs(mean - top)) < 0.02 * span
    return bool(edges >= 1 and np.count_nonzero(between & calm) <= edges and float(flat[calm].mean()) > 0.9)


def over_range(trace: Trace) -> tuple[int, ...]:
    """Channels that stand at the top of what the rig can read."""
    if not np.isfinite(trace.full_scale_v):
        return ()
    top = trace.full_scale_v - max(3 * trace.lsb_v, 1e-3 * trace.full_scale_v)
    named = ((0, trace.signal_a), (1, trace.signal_b), (2, trace.supply))
    return tuple(k for k, c in named if c is not None and float((c.mean_v >= top).mean()) > OVER_SHARE)
