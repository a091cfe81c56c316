"""Interference that never stops, that repeats like an ignition, or that is on all wires at once."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import t

from support.lever import WINDOW_S, changed, lever, sensed, strokes
from support.outcomes import CLOSED_V, OPEN_V
from sweeprig.analysis.analyse import analyse
from sweeprig.analysis.model import Analysis, Cause, Code, Finding
from sweeprig.bench.review.review import review_capture, review_csv
from sweeprig.capture.model import Channel, FloatArray, Trace
from sweeprig.judge.outcome import Outcome
from sweeprig.twin.capture import play
from sweeprig.twin.sensors import load_sensor
from sweeprig.words import Sense, Starts

SOUND = sensed(lever(strokes([0.9, 1.0, 1.1, 0.9])))


def look(trace: Trace) -> Analysis:
    return analyse(trace, starts=Starts.CLOSED, given_sense=Sense.UNKNOWN)


def named(trace: Trace) -> list[Finding]:
    return [f for f in look(trace).findings if f.severity != "note"]


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


@pytest.mark.parametrize("hz", [50.1, 60.0, 100.2])
def test_loud_hum_makes_no_strokes_and_hides_no_end(hz: float) -> None:
    """0.6 V peak to peak turn the signal round twice a period, as no lever does."""
    found = look(humming(SOUND, 0.3, hz))
    assert [(f.code, f.severity) for f in found.findings] == [(Code.INTERFERENCE, "doubt")]
    assert len(found.strokes) == 4
    for end, level in ((found.low, CLOSED_V), (found.high, OPEN_V)):
        assert end is not None
        assert abs(end.value_v - level) < float(t.ppf(0.975, end.dof)) * end.u_v < 0.03


def test_hum_that_reaches_down_to_ground_is_no_dead_band() -> None:
    found = named(humming(SOUND, 0.42, 50.1))
    assert [(f.code, f.severity) for f in found] == [(Code.INTERFERENCE, "doubt")]


def table(tmp_path: Path, x: FloatArray, *, every: int, hum_v: float, hz: float) -> Outcome:
    """A table of every so many windows of a sound sensor with hum on it, as single readings of 12 bits."""
    at = np.arange(0, x.size, every) * WINDOW_S
    v = CLOSED_V + (OPEN_V - CLOSED_V) * x[::every] + hum_v * np.sin(2 * np.pi * hz * at)
    rows = [f"{a:.6f},{round(b / 1.22e-3) * 1.22e-3:.5f},5.01" for a, b in zip(at, v, strict=True)]
    path = tmp_path / "a.csv"
    path.write_text("\n".join(["time_s,signal_v,supply_v", *rows]) + "\n")
    return review_csv(path)


@pytest.mark.parametrize("hz", [50.1, 60.0])
def test_loud_hum_in_200_readings_a_second_is_named(tmp_path: Path, hz: float) -> None:
    """It was a lever that did not move, by 3.7 V."""
    found = table(tmp_path, lever(strokes([0.9, 1.0, 1.1, 0.9])), every=5, hum_v=0.3, hz=hz)
    assert [(f.code, f.severity) for f in found.judgement.findings] == [(Code.INTERFERENCE, "doubt")]
    assert len(found.analysis.strokes) == 4
    assert "never rests" in found.judgement.reason


def test_a_signal_lost_in_hum_is_no_lever_that_did_not_move(tmp_path: Path) -> None:
    found = table(tmp_path, lever(strokes([0.9, 1.0, 1.1, 0.9] * 2)), every=50, hum_v=0.4, hz=47.0)
    (lost,) = found.judgement.findings
    assert (lost.code, lost.cause) == (Code.INTERFERENCE, Cause.INTERFERENCE)
    assert "stays at" not in lost.evidence
    assert "quick" in lost.evidence


def test_quick_strokes_in_100_readings_a_second_are_no_hum(tmp_path: Path) -> None:
    found = table(tmp_path, lever(strokes([0.2] * 12, rest_s=0.15)), every=10, hum_v=0.0, hz=50.0)
    assert Code.INTERFERENCE not in [f.code for f in found.judgement.findings]
