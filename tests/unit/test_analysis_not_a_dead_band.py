"""A signal at ground for a moment: what a contact that opens leaves there, and what a dead band does."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from support.lever import WINDOW_S, lever, sensed, strokes
from sweeprig.analysis.analyse import analyse
from sweeprig.analysis.model import Analysis, Code
from sweeprig.capture.model import Channel, FloatArray, Starts, Trace
from sweeprig.words import Sense

X = lever(strokes([1.1] * 8, rest_s=0.4))


def look(t: Trace, signal_v: FloatArray) -> Analysis:
    by_v = signal_v - t.signal_a.mean_v
    signal = Channel(*(v + by_v for v in (t.signal_a.mean_v, t.signal_a.min_v, t.signal_a.max_v)))
    return analyse(replace(t, signal_a=signal), starts=Starts.CLOSED, given_sense=Sense.UNKNOWN)


def opened(signal_v: FloatArray, seconds: float, tau_s: float, seed: int) -> FloatArray:
    """The signal goes to ground and comes back with a time constant, ten times, anywhere, (n,)."""
    rng, target = np.random.default_rng([seed, 11]), signal_v.copy()
    for at in rng.integers(300, signal_v.size - 300, 10):
        target[at : at + round(seconds / WINDOW_S)] = 0.0
    share, out = np.exp(-WINDOW_S / tau_s), signal_v.copy()
    for k in range(1, out.size):
        out[k] = target[k] + (out[k - 1] - target[k]) * share
    return out


@pytest.mark.parametrize("seconds", [0.012, 0.03, 0.06])
@pytest.mark.parametrize("tau_s", [0.0005, 0.004, 0.006])
@pytest.mark.parametrize("seed", [1, 2])
def test_dropouts_to_ground_behind_a_filter_are_no_dead_band(seconds: float, tau_s: float, seed: int) -> None:
    t = sensed(X)
    found = {f.code for f in look(t, opened(t.signal_a.mean_v, seconds, tau_s, seed)).findings}
    assert found & {Code.LOOSE_CONNECTION, Code.STRAY_DROPOUT}
    assert not found & {Code.DEAD_BAND_CLOSED, Code.DEAD_BAND_OPEN}


@pytest.mark.parametrize("span", [(-0.3, 4.2), (0.5, 5.4), (-0.05, 4.5)])
@pytest.mark.parametrize("seconds", [0.12, 0.4, 1.5])
def test_an_end_at_a_rail_is_a_dead_band_at_any_pace(span: tuple[float, float], seconds: float) -> None:
    t = sensed(lever(strokes([seconds] * 6, rest_s=0.3)), low=span[0], high=span[1])
    found = {f.code for f in look(t, np.clip(t.signal_a.mean_v, 0.004, 4.99)).findings}
    assert (Code.DEAD_BAND_CLOSED in found) == (span[0] < 0)
    assert (Code.DEAD_BAND_OPEN in found) == (span[1] > 5)
