"""Dropouts as they come: edges paired, lengths, moving lever, bursts, and what keeps an end where it is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from support.outcomes import hand, make_trace
from sweeprig.analysis import events as ev
from sweeprig.analysis.analyse import analyse
from sweeprig.analysis.model import Analysis, Event
from sweeprig.calibration.nominal import nominal_calibration
from sweeprig.calibration.volts import to_trace
from sweeprig.capture.model import Capture, Channel, FloatArray, Sense, Starts, Trace
from sweeprig.frontend import front_end
from sweeprig.twin.capture import capture_of
from sweeprig.twin.sensors import load_sensor, sensor_names

MOST_MV = 1.0


def look(trace: Trace) -> Analysis:
    return analyse(trace, starts=Starts.CLOSED, given_sense=Sense.UNKNOWN)


def without(c: Channel, spans: list[tuple[float, float]], *, to_v: float = 0.05) -> Channel:
    """The signal at `to_v` between the given times, in windows."""
    mean, low, high = c.mean_v.copy(), c.min_v.copy(), c.max_v.copy()
    for start, stop in spans:
        for w in range(int(start), int(np.ceil(stop))):
            share = min(stop, w + 1) - max(start, w)
            mean[w] += share * (to_v - mean[w])
            low[w] = to_v
            if share == 1:
                high[w] = to_v
    return Channel(mean, low, high)


def lengths(events: tuple[Event, ...], trace: Trace) -> list[float]:
    return [e.duration_s / trace.window_s for e in events]


@pytest.mark.parametrize("moving", [False, True])
@pytest.mark.parametrize("length", [0.02, 0.4, 3.7, 45.3])
def test_a_dropouts_length_is_the_time_that_is_lost(length: float, *, moving: bool) -> None:
    t, x = make_trace(), hand()
    start = int(np.argmax(x > 0.45)) + 0.3 if moving else 1250.3
    got = look(replace(t, signal_a=without(t.signal_a, [(start, start + length)]))).events
    assert len(got) == 1
    assert lengths(got, t)[0] == pytest.approx(length, abs=0.25 + 0.1 * length)


def test_separate_dropouts_stay_separate_on_a_moving_lever() -> None:
    t, x = make_trace(), hand()
    first = int(np.argmax(x > 0.3))
    spans = [(first + k * 60.0, first + k * 60.0 + 30.0) for k in range(6)]
    got = look(replace(t, signal_a=without(t.signal_a, spans))).events
    assert len(got) == len(spans)
    assert max(lengths(got, t)) < 33


def test_short_dropouts_close_together_are_not_one_long_one() -> None:
    t = make_trace()
    got = look(replace(t, signal_a=without(t.signal_a, [(1250.2, 1250.6), (1260.2, 1260.7)]))).events
    assert lengths(got, t) == pytest.approx([0.4, 0.5], abs=0.1)


@pytest.mark.parametrize("place", [0.4, 0.55, 0.7])
def test_short_partial_dropout_in_a_fast_stroke_ends(place: float) -> None:
    x = hand(1500)
    t = make_trace(n=1500)
    at = int(np.argmax(x > place)) + 0.2
    spans = [(at, at + 1.5), (at + 40.0, at + 41.5)]
    signal = without(t.signal_a, spans[:1], to_v=float(t.signal_a.mean_v[int(at)]) - 1.0)
    signal = without(signal, spans[1:], to_v=float(t.signal_a.mean_v[int(at) + 40]) - 1.0)
    got = look(replace(t, signal_a=signal)).events
    assert [e.upward for e in got] == [False, False]
    assert max(lengths(got, t)) < 3


def test_a_dropout_that_the_capture_ends_in_is_a_jump() -> None:
    t = make_trace()
    got = look(replace(t, signal_a=without(t.signal_a, [(4990, 5000)]))).events
    assert [e.kind for e in got] == ["jump"]


def test_samples_without_windows_show_a_single_wild_value() -> None:
    t = make_trace()
    v = t.signal_a.mean_v.copy()
    v[1800] = 0.1
    found = ev.find(Channel(v, v, v), window_s=t.window_s, lsb_v=0.0, supply_v=5.0)
    assert [e.start <= 1800 < e.stop for e in found] == [True]


def trace_of(capture: Capture) -> Trace:
    return to_trace(
        capture, calibration=nominal_calibration(capture.rig), front_end=front_end(str(capture.rig["build"]))
    )


def ends(a: Analysis) -> list[float]:
    return [e.value_v for e in (a.low, a.high) if e is not None]


def wild(capture: Capture, at: list[int], code: int) -> Capture:
    """One conversion of signal A at `code` in each window of `at`; the sum gains what it differs by."""
    r = capture.records
    sums, mins, maxs = r.sums.copy(), r.mins.copy(), r.maxs.copy()
    for w in at:
        usual = round(int(sums[w, 0]) / capture.window)
        sums[w, 0] = int(sums[w, 0]) + code - usual
        mins[w, 0], maxs[w, 0] = min(int(mins[w, 0]), code), max(int(maxs[w, 0]), code)
    return replace(capture, records=replace(r, sums=sums, mins=mins, maxs=maxs))


@pytest.fixture(scope="module")
def captures() -> dict[str, Capture]:
    """Every shipped sensor, three seconds, on an uncalibrated rig, powered."""
    return {name: capture_of(load_sensor(name), seed=3, seconds=3.0) for name in sensor_names()}


@pytest.mark.parametrize("code", [0, 4095])
def test_a_wild_conversion_at_each_rest_moves_no_end_by_1_mv(captures: dict[str, Capture], code: int) -> None:
    seen = 0
    for name, capture in captures.items():
        before = look(trace_of(capture))
        middles = [(r.start + r.stop) // 2 for r in before.rests]
        after = look(trace_of(wild(capture, middles, code)))
        assert len(ends(after)) == len(ends(before)), name
        moved = [1e3 * abs(p - q) for p, q in zip(ends(before), ends(after), strict=True)]
        assert all(m < MOST_MV for m in moved), (name, moved)
        seen += len(moved)
    assert seen >= 40


def spoil(channel: Channel, at: FloatArray, rng: np.random.Generator) -> Channel:
    """A dropout of one conversion to a whole window in each of the windows `at`."""
    mean, low = channel.mean_v.copy(), channel.min_v.copy()
    for w in at.astype(int):
        share = float(np.exp(rng.uniform(np.log(1 / 166), 0)))
        mean[w] += share * (0.02 - mean[w])
        low[w] = 0.02
    return Channel(mean, low, np.maximum(channel.max_v, low))


@pytest.mark.parametrize("seed", range(3))
def test_dropouts_in_5_percent_of_each_rest_move_no_end_by_1_mv(
    captures: dict[str, Capture], seed: int
) -> None:
    rng, seen = np.random.default_rng(seed), 0
    for name, capture in captures.items():
        t = trace_of(capture)
        before = look(t)
        hit = [
            rng.choice(np.arange(r.start, r.stop), max(1, (r.stop - r.start) // 20), replace=False)
            for r in before.rests
        ]
        if len(ends(before)) < 2 or not hit:
            continue
        after = look(replace(t, signal_a=spoil(t.signal_a, np.concatenate(hit), rng)))
        moved = [1e3 * abs(p - q) for p, q in zip(ends(before), ends(after), strict=True)]
        assert all(m < MOST_MV for m in moved), (name, moved)
        seen += 1
    assert seen >= 20


def test_averaging_alone_would_move_an_end_by_far_more(captures: dict[str, Capture]) -> None:
    """The same windows in a bare mean: the test above is not passed by averaging."""
    t, rng = trace_of(captures["good"]), np.random.default_rng(0)
    rest = next(r for r in look(t).rests if r.place == "high")
    at = rng.choice(np.arange(rest.start, rest.stop), (rest.stop - rest.start) // 20, replace=False)
    spoilt = spoil(t.signal_a, at, rng).mean_v[rest.start : rest.stop].mean()
    assert abs(spoilt - t.signal_a.mean_v[rest.start : rest.stop].mean()) > 5e-3
