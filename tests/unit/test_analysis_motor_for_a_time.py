"""Noise of a motor that runs for a part of a sweep, in rest and movement alike, is interference and no track."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from support.lever import WINDOW_S, changed, lever, sensed, strokes
from sweeprig.analysis.analyse import analyse
from sweeprig.analysis.model import Analysis, Cause, Code
from sweeprig.capture.model import FloatArray, Trace
from sweeprig.words import Sense, Starts

X = lever(strokes([0.9, 1.4, 1.1, 1.2, 1.0, 1.3], rest_s=0.8))
T = np.arange(X.size) * WINDOW_S


def look(trace: Trace) -> Analysis:
    return analyse(trace, starts=Starts.CLOSED, given_sense=Sense.UNKNOWN)


def noisy(rms_v: float, when: FloatArray, seed: int) -> Trace:
    """Broad noise of a motor where `when` is not 0."""
    trace = sensed(X)
    by = rms_v * np.random.default_rng(seed).normal(0, 1, X.size) * when
    return replace(trace, signal_a=changed(trace.signal_a, by))


@pytest.mark.parametrize(
    ("rms_v", "share"),
    [(v, s) for v in (0.02, 0.035, 0.055) for s in (0.1, 0.25, 0.4)] + [(0.09, 0.1), (0.09, 0.25)],
)
def test_a_motor_that_starts_is_interference_and_no_track(rms_v: float, share: float) -> None:
    found = look(noisy(rms_v, T - share * T[-1] > 0, round(1e3 * rms_v + 10 * share))).findings
    assert Code.INTERFERENCE in [f.code for f in found]
    assert Cause.TRACK not in [f.cause for f in found if f.severity == "fault"]


@pytest.mark.parametrize(
    ("rms_v", "share"), [(0.02, 0.6), (0.02, 0.7), (0.02, 0.8), (0.055, 0.7), (0.055, 0.8)]
)
def test_a_motor_that_stops_is_interference(rms_v: float, share: float) -> None:
    found = look(noisy(rms_v, T - share * T[-1] < 0, round(1e3 * rms_v + 10 * share))).findings
    assert Code.INTERFERENCE in [f.code for f in found]
    assert Cause.TRACK not in [f.cause for f in found if f.severity == "fault"]


@pytest.mark.parametrize("rms_v", [0.02, 0.05])
@pytest.mark.parametrize("seed", range(3))
def test_noise_of_movement_alone_stays_the_track(rms_v: float, seed: int) -> None:
    moves = np.abs(np.gradient(X)) > 0
    found = look(noisy(rms_v, moves, seed)).findings
    assert Code.ROUGH_TRACK in [f.code for f in found if f.severity == "fault"]
    assert (Code.INTERFERENCE, "doubt") not in [(f.code, f.severity) for f in found]
