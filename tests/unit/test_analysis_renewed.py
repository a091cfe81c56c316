"""A sensor that renews its output by a clock of its own is not rough."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from support.lever import WINDOW_S, lever, sensed, strokes
from support.outcomes import CLOSED_V, OPEN_V
from sweeprig.analysis.analyse import analyse
from sweeprig.analysis.model import Analysis, Code, FloatArray
from sweeprig.analysis.renewed import period_of
from sweeprig.capture.model import Channel, Sense, Starts


def held(x: FloatArray, every_s: float, *, rough: float = 0.0) -> FloatArray:
    """Means of windows of a place renewed every so many seconds; `rough`: what each renewal is off by, rms."""
    fine = 10
    t = np.arange(x.size * fine) * WINDOW_S / fine
    tick = np.floor(t / every_s)
    off = np.random.default_rng(3).normal(0, 1, int(tick[-1]) + 1)[tick.astype(int)] * rough
    there = np.interp(tick * every_s, np.arange(x.size) * WINDOW_S, x)
    moving = np.interp(t, np.arange(x.size) * WINDOW_S, np.abs(np.gradient(x)) > 0) > 0
    return (there + off * moving).reshape(-1, fine).mean(axis=1)


def seen(x: FloatArray) -> Analysis:
    mean = CLOSED_V + (OPEN_V - CLOSED_V) * x + np.random.default_rng(5).normal(0, 1e-4, x.size)
    trace = replace(sensed(x), signal_a=Channel(mean, mean - 2.6e-3, mean + 2.6e-3))
    return analyse(trace, starts=Starts.CLOSED, given_sense=Sense.UNKNOWN)


@pytest.mark.parametrize("every", [2.0, 3.0, 3.3, 4.0, 4.0003])
def test_an_output_renewed_by_its_own_clock_is_not_rough(every: float) -> None:
    found = seen(held(lever(strokes([0.9, 1.2] * 4)), every * WINDOW_S))
    assert [f for f in found.findings if f.severity != "note"] == []
    assert any("renewed" in line and "oughness" in line for line in found.not_shown)


@pytest.mark.parametrize("every", [1.0, 4.0])
def test_a_rough_track_stays_rough_whatever_renews_it(every: float) -> None:
    found = seen(held(lever(strokes([0.9, 1.2] * 4)), every * WINDOW_S, rough=0.01))
    assert Code.ROUGH_TRACK in {f.code for f in found.findings}


def test_a_sound_track_says_nothing_of_a_clock() -> None:
    found = seen(lever(strokes([0.9, 1.2] * 4)))
    assert not any("renewed" in line for line in found.not_shown)


def test_the_codes_of_a_converter_at_an_even_speed_are_no_clock() -> None:
    """A motor moves the lever by a code in four windows."""
    mean = np.floor(np.concatenate([np.arange(4000), np.arange(4000)[::-1]]) / 4) * 5e-3
    free = np.ones(mean.size, bool)
    assert period_of(mean, free=free, noise_v=1e-4, lsb_v=1e-4) == pytest.approx(4.0)
    assert period_of(mean, free=free, noise_v=1e-4, lsb_v=5e-3) is None
