"""Contacts that stay open for tenths of seconds, and tracks that carry nothing beyond a place."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from support.lever import WINDOW_S, lever, sensed, strokes
from sweeprig.analysis.analyse import analyse
from sweeprig.analysis.model import Analysis, Cause, Code
from sweeprig.capture.model import BoolArray, Channel, FloatArray, Starts
from sweeprig.words import Sense

SUPPLY_V = 5.012
PLACES = lever(strokes([1.2] * 8, rest_s=0.8))


def look(x: FloatArray, gone: BoolArray, to_v: float) -> Analysis:
    """A sound sensor that reads `to_v` where it is gone, (n,)."""
    t = sensed(x)
    a = t.signal_a
    signal = Channel(*(np.where(gone, to_v + (v - a.mean_v), v) for v in (a.mean_v, a.min_v, a.max_v)))
    return analyse(replace(t, signal_a=signal), starts=Starts.CLOSED, given_sense=Sense.UNKNOWN)


def opened(begins: list[float], seconds: float) -> BoolArray:
    at = np.arange(PLACES.size) * WINDOW_S
    return np.any([(at >= b) & (at < b + seconds) for b in begins], axis=0)


@pytest.mark.parametrize("seconds", [0.15, 0.25, 0.45])
@pytest.mark.parametrize(
    ("to_v", "cause"), [(0.0, Cause.CONNECTION), (0.15, Cause.CONNECTION), (SUPPLY_V, Cause.GROUND)]
)
def test_a_wire_that_opens_for_tenths_of_seconds_is_counted_once(
    seconds: float, to_v: float, cause: Cause
) -> None:
    found = look(PLACES, opened([0.9, 4.3, 7.1, 12.6], seconds), to_v)
    assert [(f.code, f.cause) for f in found.findings] == [(Code.LOOSE_CONNECTION, cause)]
    events = [e for e in found.events if e.channel == 0]
    assert [e.upward for e in events] == [to_v > 1] * 4
    assert [e.duration_s for e in events] == pytest.approx([seconds] * 4, rel=0.03)
    assert len(found.strokes) == 8


@pytest.mark.parametrize("to_v", [0.0, 0.25])
@pytest.mark.parametrize("half_width", [0.015, 0.03])
@pytest.mark.parametrize("stroke_s", [8.0, 15.0])
def test_slow_strokes_over_a_stretch_that_is_open_keep_its_place(
    stroke_s: float, half_width: float, to_v: float
) -> None:
    x = lever(strokes([stroke_s] * 4))
    found = look(x, np.abs(x - 0.4) < half_width, to_v)
    assert [f.code for f in found.findings] == [Code.WORN_SPOT]
    assert found.findings[0].where_percent == pytest.approx(
        (40 - 100 * half_width, 40 + 100 * half_width), abs=0.5
    )


@pytest.mark.parametrize("to_v", [0.0, 0.1, SUPPLY_V])
@pytest.mark.parametrize("place", [0.6, 0.92, 0.97])
def test_a_track_that_is_open_beyond_a_place_is_the_track(place: float, to_v: float) -> None:
    found = look(PLACES, place < PLACES, to_v)
    assert [(f.code, f.cause) for f in found.findings] == [(Code.WORN_SPOT, Cause.TRACK)]
    assert found.findings[0].where_percent == (98.0, 100.0)
    assert found.findings[0].numbers["n_events"] == 4
    assert len(found.strokes) == 8


@pytest.mark.parametrize("place", [0.67, 0.92])
@pytest.mark.parametrize("every", [1, 5])
def test_a_spring_that_brings_the_lever_back_hides_no_end_of_the_track(place: float, every: int) -> None:
    """Opened in a second, let go: the way back takes 0.12 s, and 5 ms windows show little of it."""
    step_s = WINDOW_S * every
    legs = [(0.0, 0.6), *[(1.0, 1.0), (1.0, 0.4), (0.0, 0.12), (0.0, 0.6)] * 5]
    x = lever(legs, step_s=step_s)
    t = sensed(x)
    gone = x > place
    signal = Channel(
        *(
            np.where(gone, v - t.signal_a.mean_v, v)
            for v in (t.signal_a.mean_v, t.signal_a.min_v, t.signal_a.max_v)
        )
    )
    trace = replace(t, signal_a=signal, t_s=np.arange(x.size) * step_s, window_s=step_s)
    found = analyse(trace, starts=Starts.CLOSED, given_sense=Sense.UNKNOWN)
    assert [(f.code, f.cause) for f in found.findings if f.severity == "fault"] == [
        (Code.WORN_SPOT, Cause.TRACK)
    ]


def test_a_wire_that_comes_off_anywhere_stays_a_wire() -> None:
    at = np.arange(PLACES.size) * WINDOW_S
    gone = np.any([(at >= b) & (at < b + 0.8) for b in (1.1, 3.4, 5.3, 9.7)], axis=0)
    found = look(PLACES, gone, 0.0)
    assert found.findings[0].cause in (Cause.WIRING, Cause.CONNECTION)


def test_a_wire_that_opens_at_the_open_stop_stays_a_wire() -> None:
    at = np.arange(PLACES.size) * WINDOW_S
    gone = np.any([(at >= b) & (at < b + 0.4) for b in (2.2, 6.2, 10.2)], axis=0)
    found = look(PLACES, gone & (PLACES > 0.999), 0.0)
    assert [f.code for f in found.findings] == [Code.LOOSE_CONNECTION]


def test_dropouts_of_a_lever_that_nobody_moves_are_named() -> None:
    at = np.arange(PLACES.size) * WINDOW_S
    gone = np.any([(at >= b) & (at < b + 0.01) for b in np.arange(1.0, 9.0, 0.7)], axis=0)
    found = look(np.full(PLACES.size, 0.3), gone, 0.0)
    assert {f.code for f in found.findings} == {Code.NO_MOVEMENT, Code.LOOSE_CONNECTION}
    assert {e.at_percent for e in found.events} == {None}


def test_a_lever_that_nobody_moves_has_no_other_finding() -> None:
    found = look(np.full(PLACES.size, 0.3), np.zeros(PLACES.size, bool), 0.0)
    assert [f.code for f in found.findings] == [Code.NO_MOVEMENT]


@pytest.mark.parametrize("stroke_s", [0.3, 0.5, 1.2])
@pytest.mark.parametrize(("place", "step_v"), [(0.33, 0.32), (0.65, 0.33), (0.5, -0.3)])
def test_a_step_of_the_track_is_no_long_dropout(stroke_s: float, place: float, step_v: float) -> None:
    """The lever is beyond the crack for less than a second, at its open stop above all."""
    x = lever(strokes([stroke_s] * 8, rest_s=0.4))
    t = sensed(x)
    by = step_v * (x > place)
    signal = Channel(*(v + by for v in (t.signal_a.mean_v, t.signal_a.min_v, t.signal_a.max_v)))
    found = analyse(replace(t, signal_a=signal), starts=Starts.CLOSED, given_sense=Sense.UNKNOWN)
    faults = [f for f in found.findings if f.severity == "fault"]
    assert {f.cause for f in faults} <= {Cause.TRACK}
    assert all(f.where_percent is not None and f.where_percent[1] < 98 for f in faults)
    assert found.high is not None
