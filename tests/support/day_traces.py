"""Short traces for tests of the steps around a sweep."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from sweeprig.capture.model import Channel, Trace

WINDOW_S = 166 * 3 / 500_000
LSB_V = 3.3 / 0.6 / 4096


def flat_trace(
    volts: float,
    *,
    start_s: float = 0.0,
    seconds: float = 0.5,
    supply_v: float | None = 5.0,
    b_v: float | None = None,
    seed: int = 1,
) -> Trace:
    """A lever at rest with the usual noise of a window's mean and of single conversions."""
    n = round(seconds / WINDOW_S)
    rng = np.random.default_rng(seed)

    def channel(level: float) -> Channel:
        mean = level + rng.normal(0, 0.4e-3, n)
        return Channel(mean, mean - 3e-3 - rng.exponential(3e-4, n), mean + 3e-3 + rng.exponential(3e-4, n))

    return Trace(
        t_s=start_s + np.arange(n) * WINDOW_S,
        signal_a=channel(volts),
        signal_b=None if b_v is None else channel(b_v),
        supply=None if supply_v is None else channel(supply_v),
        window_s=WINDOW_S,
        n_per_window=166,
        lsb_v=LSB_V,
        full_scale_v=5.5,
        gap_before=np.zeros(n, bool),
    )


def with_dip(
    trace: Trace, at_s: float, *, channel: str = "signal_a", to_v: float = 0.02, share: float = 0.3
) -> Trace:
    """The same with one dropout that lasts `share` of one window."""
    c = getattr(trace, channel)
    k = int(np.searchsorted(trace.t_s, at_s))
    mean, low = c.mean_v.copy(), c.min_v.copy()
    high = c.max_v.copy()
    mean[k] += share * (to_v - mean[k])
    low[k], high[k] = min(low[k], to_v), max(high[k], to_v)
    return replace(trace, **{channel: Channel(mean, low, high)})
