"""Interference that never stops, that repeats like an ignition, or that is on all wires at once."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from support.lever import WINDOW_S, changed, lever, sensed, strokes
from sweeprig.analysis.analyse import analyse
from sweeprig.analysis.model import Cause, Code, Finding
from sweeprig.bench.review.review import review_capture
from sweeprig.capture.model import Channel, Trace
from sweeprig.twin.capture import play
from sweeprig.twin.sensors import load_sensor
from sweeprig.words import Sense, Starts

SOUND = sensed(lever(strokes([0.9, 1.0, 1.1, 0.9])))


def named(trace: Trace) -> list[Finding]:
    return [
        f
        for f in analyse(trace, starts=Starts.CLOSED, given_sense=Sense.UNKNOWN).findings
        if f.severity != "note"
    ]


def humming(trace: Trace, peak_v: float, hz: float) -> Trace:
    by = peak_v * np.sin(2 * np.pi * hz * np.arange(trace.t_s.size) * WINDOW_S)
    return replace(trace, signal_a=changed(trace.signal_a, by))


def struck(channel: Channel, every_s: float, peak_v: float) -> Channel:
    """A burst that rings inside one window, again and again."""
    at = np.arange(300, channel.mean_v.size - 5, round(every_s / WINDOW_S))
    low, high = channel.min_v.copy(), channel.max_v.copy()
    low[at] -= peak_v
    high[at] += peak_v
    return Channel(channel.mean_v, low, high)


@pytest.mark.parametrize("hz", [50.0, 60.0, 180.0])
def test_hum_at_rest_is_interference_and_a_doubt(hz: float) -> None:
    found = named(humming(SOUND, 0.15, hz))
    assert [(f.code, f.severity) for f in found if f.cause is Cause.INTERFERENCE] == [
        (Code.INTERFERENCE, "doubt")
    ]
    assert all(f.cause is not Cause.TRACK for f in found)


def test_spikes_of_a_motor_in_every_window_are_interference() -> None:
    (found,) = named(replace(SOUND, signal_a=struck(SOUND.signal_a, WINDOW_S, 0.1)))
    assert (found.code, found.severity) == (Code.INTERFERENCE, "doubt")
    assert found.numbers["noise_v"] == pytest.approx(0.2, abs=0.02)


def test_a_tremor_is_no_hum() -> None:
    x = lever(strokes([0.9, 1.0, 1.1, 0.9]))
    held = np.clip(x + 0.004 * np.sin(2 * np.pi * 10 * np.arange(x.size) * WINDOW_S), 0, 1)
    assert [f for f in named(sensed(held)) if f.code is Code.INTERFERENCE] == []


@pytest.mark.parametrize("name", ["good", "falling", "spring-return", "hall", "rough"])
def test_sensors_without_interference_have_none(name: str) -> None:
    capture = play(load_sensor(name), seed=3, seconds=6.0, chip="rp2040", build="plain").capture
    assert Code.INTERFERENCE not in [f.code for f in review_capture(capture).judgement.findings]


def test_ringing_like_an_ignition_is_interference() -> None:
    (found,) = named(replace(SOUND, signal_a=struck(SOUND.signal_a, 0.04, 0.2)))
    assert (found.code, found.severity) == (Code.INTERFERENCE, "fault")


def test_one_burst_that_rings_is_still_a_stray_event() -> None:
    (found,) = named(replace(SOUND, signal_a=struck(SOUND.signal_a, 60.0, 0.2)))
    assert found.code is Code.STRAY_DROPOUT


def test_ringing_on_all_wires_is_no_dropout_of_the_supply() -> None:
    assert SOUND.supply is not None
    both = replace(SOUND, signal_a=struck(SOUND.signal_a, 0.3, 0.3), supply=struck(SOUND.supply, 0.3, 0.3))
    (found,) = named(both)
    assert (found.code, found.cause, found.channel) == (Code.INTERFERENCE, Cause.INTERFERENCE, 2)
