"""Two signals are one when they differ by a few codes at every place; sound tracks, however alike, are two."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from support.lever import lever, sensed, strokes
from sweeprig.analysis.analyse import analyse
from sweeprig.analysis.model import Code
from sweeprig.capture.model import Channel, FloatArray, Sense, Starts

PLACES = lever(strokes([0.7] * 4))


def codes(b_of_a: float, offset_v: float = 0.0, bow_v: float = 0.0) -> set[Code]:
    """Track B at a gain and an offset to A, with a bend of its own."""
    t = sensed(PLACES)
    noise = np.random.default_rng(4).normal(0, 6e-4, PLACES.size)
    mean: FloatArray = b_of_a * t.signal_a.mean_v + offset_v + bow_v * 4 * PLACES * (1 - PLACES) + noise
    both = replace(t, signal_b=Channel(mean, mean - 2.6e-3, mean + 2.6e-3))
    return {f.code for f in analyse(both, starts=Starts.CLOSED, given_sense=Sense.UNKNOWN).findings}


@pytest.mark.parametrize(
    ("gain", "offset_v", "bow_v"),
    [(0.97, 0.0, 0.0), (1.03, 0.0, 0.0), (1.0, 0.03, 0.0), (1.0, -0.03, 0.0), (1.0, 0.0, 0.03)],
)
def test_sound_parallel_tracks_are_not_joined(gain: float, offset_v: float, bow_v: float) -> None:
    assert codes(gain, offset_v, bow_v) == set()


@pytest.mark.parametrize("gain", [0.99, 0.998, 1.0, 1.006, 1.012])
def test_one_signal_on_two_channels_is_joined(gain: float) -> None:
    assert codes(gain) == {Code.TRACKS_SHORTED}
    assert codes(gain, 0.003) == {Code.TRACKS_SHORTED}
