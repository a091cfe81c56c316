"""Places that read low in every pass, and what a hand, a detent or a converter does that looks nearly like them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from support.lever import Legs, changed, lever, sensed
from sweeprig.analysis.analyse import analyse
from sweeprig.analysis.model import Cause, Code, Finding
from sweeprig.bench.review.review import review_capture
from sweeprig.capture.model import FloatArray, Trace
from sweeprig.twin.capture import play
from sweeprig.twin.sensors import Fault, load_sensor
from sweeprig.words import Sense, Starts


def smooth(times: list[float], *, rest_s: float = 0.4) -> FloatArray:
    """Strokes with the course of a hand: minimum jerk."""
    parts = [np.zeros(round(rest_s * 1000))]
    for k, seconds in enumerate(times):
        u = (np.arange(round(seconds * 1000)) + 1) / round(seconds * 1000)
        x = 10 * u**3 - 15 * u**4 + 6 * u**5
        rest = np.ones(round(rest_s * 1000))
        parts += [x, rest] if k % 2 == 0 else [1 - x, 1 - rest]
    return np.concatenate(parts)


def dipped(x: FloatArray, *, at: float, by_v: float, width: float) -> Trace:
    """The track reads low about one place, by a bell of that width at half depth."""
    trace = sensed(x)
    bell = -by_v * np.exp(-0.5 * ((x - at) / (width / 2.355)) ** 2)
    return replace(trace, signal_a=changed(trace.signal_a, bell))


def named(trace: Trace) -> list[Finding]:
    return [
        f
        for f in analyse(trace, starts=Starts.CLOSED, given_sense=Sense.UNKNOWN).findings
        if f.severity != "note"
    ]


FOUR = [0.9, 1.1, 1.0, 0.8]


@pytest.mark.parametrize("at", [0.1, 0.45, 0.9])
@pytest.mark.parametrize("by_v", [0.020, 0.030])
@pytest.mark.parametrize("width", [0.004, 0.008, 0.012])
def test_a_shallow_dip_in_every_pass_is_the_tracks(at: float, by_v: float, width: float) -> None:
    """A bell that is steep against the lever's speed holds the level for a while: a flat spot says the same."""
    (found,) = named(dipped(smooth(FOUR), at=at, by_v=by_v, width=width))
    assert found.cause is Cause.TRACK
    assert (found.code, found.severity) in ((Code.WORN_SPOT, "doubt"), (Code.FLAT_SPOT, "fault"))
    assert found.where_percent == pytest.approx((100 * at, 100 * at), abs=2)


@pytest.mark.parametrize("by_v", [0.015, 0.020, 0.030])
def test_a_dip_in_the_middle_says_how_deep_and_how_often(by_v: float) -> None:
    (found,) = named(dipped(smooth(FOUR), at=0.45, by_v=by_v, width=0.008))
    assert (found.code, found.severity) == (Code.WORN_SPOT, "doubt")
    assert "4 of 4 strokes, up and down" in found.evidence
    assert found.numbers["worst_depth_percent"] == pytest.approx(20 * by_v, rel=0.3)


@pytest.mark.parametrize("by_v", [0.1, 0.2])
def test_a_deep_dip_is_a_fault(by_v: float) -> None:
    found = named(dipped(smooth([2.0] * 4), at=0.4, by_v=by_v, width=0.01))
    assert [(f.code, f.severity) for f in found] == [(Code.WORN_SPOT, "fault")]
    assert found[0].where_percent == pytest.approx((40, 40), abs=2)


def test_no_dip_no_finding() -> None:
    assert named(sensed(smooth(FOUR))) == []


def test_a_dip_in_one_pass_is_none() -> None:
    x = smooth(FOUR)
    once = dipped(x, at=0.45, by_v=0.03, width=0.008)
    whole = sensed(x)
    first = np.arange(x.size) < 1500
    mean = np.where(first, once.signal_a.mean_v, whole.signal_a.mean_v)
    by = mean - whole.signal_a.mean_v
    assert named(replace(whole, signal_a=changed(whole.signal_a, by))) == []


def test_a_lever_that_waits_at_one_place_is_no_dip() -> None:
    legs: Legs = [(0.0, 0.5)]
    for k in range(4):
        to = float(k % 2 == 0)
        legs += [(0.4, 0.6 - 0.2 * to), (0.4, 0.02 + 0.01 * k), (to, 0.4 + 0.2 * to), (to, 0.4)]
    assert [f for f in named(sensed(lever(legs))) if f.code is Code.WORN_SPOT] == []


def test_a_lever_drawn_into_a_detent_is_no_dip() -> None:
    """It runs ahead of the hand into the middle of the detent and lags behind it on the way out, either way."""
    x = smooth([1.2] * 4)
    near = np.clip((x - 0.5) / 0.01, -1, 1)
    assert [f for f in named(sensed(x - 0.004 * np.sin(np.pi * near))) if f.code is Code.WORN_SPOT] == []


def test_wide_codes_of_a_converter_are_no_dip() -> None:
    for seed in range(3):
        capture = play("good", seed=seed, seconds=8.0, chip="rp2040", build="plain").capture
        assert [f.code for f in review_capture(capture).judgement.findings] == []


@pytest.mark.parametrize("name", ["good", "falling"])
def test_a_dip_on_a_simulated_rig_is_found_at_its_place(name: str) -> None:
    spec = load_sensor(name)
    hand = replace(spec.hand, strokes=5, stroke_s=(0.9, 1.1))
    dip = Fault("bump", place=0.35, width=0.008 / 2.355, volts=-0.025)
    capture = play(replace(spec, hand=hand, faults=(dip,)), seed=4, seconds=8.0).capture
    (found,) = [f for f in review_capture(capture).judgement.findings if f.severity != "note"]
    assert (found.code, found.cause) == (Code.WORN_SPOT, Cause.TRACK)
    assert found.where_percent == pytest.approx((35, 35), abs=1.5)


def test_ends_of_the_travel_are_left_out() -> None:
    assert named(dipped(smooth(FOUR), at=0.01, by_v=0.02, width=0.008)) == []


@pytest.mark.parametrize("times", [FOUR, [1.5] * 6])
@pytest.mark.parametrize("at", [0.25, 0.5, 0.7])
@pytest.mark.parametrize("times_steeper", [1.6, 2.0, 3.0])
def test_a_track_of_two_slopes_has_no_dip(times: list[float], at: float, times_steeper: float) -> None:
    x = smooth(times)
    bent = np.where(x < at, x, at + times_steeper * (x - at)) / (at + times_steeper * (1 - at))
    assert named(sensed(bent)) == []


@pytest.mark.parametrize("at", [0.25, 0.7])
def test_a_dip_is_found_on_a_track_of_two_slopes(at: float) -> None:
    x = smooth(FOUR)
    bent = np.where(x < 0.5, x, 0.5 + 2 * (x - 0.5)) / 1.5
    (found,) = named(dipped(bent, at=at, by_v=0.03, width=0.008))
    assert found.where_percent == pytest.approx((100 * at, 100 * at), abs=2)


def dipped_in(x: FloatArray, *, at: float, by_v: float, width: float, there: NDArray[np.bool_]) -> Trace:
    """The same, but only in the windows `there`."""
    whole, low = sensed(x), dipped(x, at=at, by_v=by_v, width=width)
    by = np.where(there, low.signal_a.mean_v - whole.signal_a.mean_v, 0.0)
    return replace(whole, signal_a=changed(whole.signal_a, by))


TEN = [1.0, 1.1, 0.9, 1.2, 1.0] * 2


@pytest.mark.parametrize(("by_v", "width"), [(0.10, 0.01), (0.25, 0.02), (0.5, 0.03)])
@pytest.mark.parametrize(("way", "name"), [(1, "rising"), (-1, "falling")])
def test_a_dip_in_one_direction_only_is_a_doubt(by_v: float, width: float, way: int, name: str) -> None:
    x = smooth(TEN)
    (found,) = named(dipped_in(x, at=0.4, by_v=by_v, width=width, there=way * np.gradient(x) > 0))
    assert (found.code, found.severity, found.cause) == (Code.WORN_SPOT, "doubt", Cause.TRACK)
    assert f"in 5 of 5 {name} strokes" in found.evidence
    assert found.where_percent == pytest.approx((40, 40), abs=2 + 100 * width)


def test_a_dip_that_comes_half_way_through_is_a_doubt() -> None:
    x = smooth(TEN)
    late = np.arange(x.size) > x.size // 2
    (found,) = named(dipped_in(x, at=0.4, by_v=0.2, width=0.02, there=late))
    assert (found.code, found.severity) == (Code.WORN_SPOT, "doubt")
    assert "in 5 of 10 strokes, all from number 6 to 10" in found.evidence


@pytest.mark.parametrize("seed", range(6))
def test_a_hand_that_turns_back_at_random_is_sound(seed: int) -> None:
    rng = np.random.default_rng(seed)
    legs: Legs = [(0.0, 0.5)]
    for k in range(10):
        to, at, by = float(k % 2 == 0), rng.uniform(0.2, 0.8), rng.uniform(0.02, 0.1)
        back = at - by if to else at + by
        legs += [(at, rng.uniform(0.3, 0.8)), (back, 0.1), (to, rng.uniform(0.4, 0.9)), (to, 0.4)]
    assert [f for f in named(sensed(lever(legs))) if f.code is Code.WORN_SPOT] == []


@pytest.mark.parametrize(("way", "name"), [(1, "rising"), (-1, "falling")])
@pytest.mark.parametrize("width", [0.007, 0.008])
def test_a_dip_of_one_direction_that_does_not_go_back_is_a_doubt(way: int, name: str, width: float) -> None:
    x = smooth(TEN)
    (found,) = named(dipped_in(x, at=0.4, by_v=0.06, width=width, there=way * np.gradient(x) > 0))
    assert (found.code, found.severity, found.cause) == (Code.WORN_SPOT, "doubt", Cause.TRACK)
    assert f"in 5 of 5 {name} strokes" in found.evidence
    assert found.where_percent == pytest.approx((40, 40), abs=2)


@pytest.mark.parametrize("seed", range(6))
def test_a_hand_that_slows_at_random_in_one_direction_is_sound(seed: int) -> None:
    rng = np.random.default_rng(seed)
    legs: Legs = [(0.0, 0.5)]
    for k in range(10):
        to, at = float(k % 2 == 0), rng.uniform(0.2, 0.8)
        slow = [(at, 0.5), (at + 0.02, rng.uniform(0.05, 0.2))] if to else []
        legs += [*slow, (to, 0.6), (to, 0.4)]
    assert [f for f in named(sensed(lever(legs))) if f.code is Code.WORN_SPOT] == []
