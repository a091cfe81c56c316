"""Simulated and hand-made sweeps, each with one thing wrong, and sound ones of every kind of hand: codes and causes."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from support.lever import through_play
from support.outcomes import CLOSED_V, OPEN_V, hand, make_trace
from sweeprig.analysis.analyse import analyse
from sweeprig.analysis.model import Analysis, Cause, Code
from sweeprig.calibration.nominal import nominal_calibration
from sweeprig.calibration.volts import to_trace
from sweeprig.capture.model import Capture, Channel, FloatArray, Sense, Starts, Trace
from sweeprig.frontend import front_end
from sweeprig.twin.capture import capture_of
from sweeprig.twin.hands import Hand
from sweeprig.twin.sensors import Fault, SensorSpec, load_sensor


def trace_of(capture: Capture) -> Trace:
    return to_trace(
        capture, calibration=nominal_calibration(capture.rig), front_end=front_end(str(capture.rig["build"]))
    )


def sweep(spec: SensorSpec, *, seed: int = 4, seconds: float = 6.0, **rig: Any) -> Analysis:
    trace = trace_of(capture_of(spec, seed=seed, seconds=seconds, **rig))
    starts = {"closed": Starts.CLOSED, "open": Starts.OPEN}.get(spec.hand.starts, Starts.ANYWHERE)
    return analyse(trace, starts=starts, given_sense=Sense.UNKNOWN, sensor_kind=spec.kind)


def look(trace: Trace, *, starts: Starts = Starts.CLOSED) -> Analysis:
    return analyse(trace, starts=starts, given_sense=Sense.UNKNOWN)


def codes(a: Analysis) -> set[Code]:
    return {f.code for f in a.findings}


def moved_by(x: FloatArray, *, low: float = CLOSED_V, high: float = OPEN_V, seed: int = 5) -> Trace:
    """A sound rising sensor on a lever at x (n,), share of travel."""
    t = make_trace(n=x.size, seed=seed)
    mean = low + (high - low) * x + np.random.default_rng(seed).normal(0, 6e-4, x.size)
    return replace(t, signal_a=Channel(mean, mean - 2.6e-3, mean + 2.6e-3))


# --- one fault at a time, on simulated sensors


@pytest.mark.parametrize(
    ("name", "code", "cause"),
    [
        ("worn", Code.WORN_SPOT, Cause.TRACK),
        ("loose-connector", Code.LOOSE_CONNECTION, Cause.CONNECTION),
        ("loose-ground", Code.LOOSE_CONNECTION, Cause.GROUND),
        ("supply-dropouts", Code.SUPPLY_DROPOUT, Cause.SUPPLY),
        ("supply-sag", Code.SUPPLY_SAG, Cause.SUPPLY),
        ("interference", Code.INTERFERENCE, Cause.INTERFERENCE),
        ("rough", Code.ROUGH_TRACK, Cause.TRACK),
        ("flat-spot", Code.FLAT_SPOT, Cause.TRACK),
        ("dead-band-closed", Code.DEAD_BAND_CLOSED, Cause.MOUNTING),
        ("dead-band-open", Code.DEAD_BAND_OPEN, Cause.MOUNTING),
        ("ends-wander", Code.ENDS_NOT_REPEATED, Cause.MOUNTING),
        ("no-movement", Code.NO_MOVEMENT, Cause.MOUNTING),
        ("open-signal", Code.STUCK_LOW, Cause.WIRING),
        ("shorted-to-ground", Code.STUCK_LOW, Cause.WIRING),
        ("shorted-to-supply", Code.STUCK_HIGH, Cause.WIRING),
        ("two-tracks-shorted", Code.TRACKS_SHORTED, Cause.WIRING),
        ("two-tracks-correlation", Code.TRACKS_DISAGREE, Cause.TRACK),
        ("two-tracks-worn-b", Code.WORN_SPOT, Cause.TRACK),
        ("pwm", Code.NOT_ANALOGUE, Cause.WIRING),
        ("digital", Code.NOT_ANALOGUE, Cause.WIRING),
        ("switch", Code.NOT_ANALOGUE, Cause.WIRING),
        ("over-range", Code.RIG_OVER_RANGE, Cause.RIG),
        ("over-range-12v", Code.RIG_OVER_RANGE, Cause.RIG),
        ("one-spike", Code.STRAY_DROPOUT, Cause.CONNECTION),
    ],
)
def test_each_fault_has_its_code_and_cause_and_no_other(name: str, code: Code, cause: Cause) -> None:
    a = sweep(load_sensor(name))
    assert codes(a) == {code}
    assert {f.cause for f in a.findings} == {cause}
    assert all(f.evidence and f.next_step for f in a.findings)


@pytest.mark.parametrize("name", ["pwm", "digital", "switch", "over-range", "over-range-12v"])
def test_what_is_no_position_gets_no_numbers(name: str) -> None:
    a = sweep(load_sensor(name), seconds=3.0)
    assert a.low is None
    assert a.high is None
    assert not a.strokes
    assert a.track_map is None


@pytest.mark.parametrize(
    "name", ["good", "falling", "hall", "spring-return", "two-tracks-half-scale", "two-tracks-opposed"]
)
def test_sound_sensors_have_no_finding(name: str) -> None:
    assert not sweep(load_sensor(name)).findings


def test_worn_and_loose_are_both_named() -> None:
    a = sweep(load_sensor("loose-and-worn"))
    assert {Code.WORN_SPOT, Code.LOOSE_CONNECTION} <= codes(a)
    worn = next(f for f in a.findings if f.code is Code.WORN_SPOT)
    assert worn.where_percent is not None
    assert np.mean(worn.where_percent) == pytest.approx(18, abs=1)


def test_the_track_that_drops_out_is_named() -> None:
    assert {f.channel for f in sweep(load_sensor("two-tracks-worn-b")).findings} == {1}


def test_sag_and_worn_spot_at_once() -> None:
    spec = load_sensor("worn")
    sag = Fault("supply-sag", depth=0.1, start_s=2.0, length_s=1.5)
    a = sweep(replace(spec, faults=(*spec.faults, sag)))
    assert codes(a) == {Code.WORN_SPOT, Code.SUPPLY_SAG}


def test_a_sag_that_both_tracks_follow_is_not_their_disagreement() -> None:
    spec = load_sensor("two-tracks-opposed")
    a = sweep(replace(spec, faults=(Fault("supply-sag", depth=0.2, start_s=1.5, length_s=1.5),)))
    assert codes(a) == {Code.SUPPLY_SAG}


def test_opposed_tracks_that_are_joined_stand_still_together() -> None:
    spec = load_sensor("two-tracks-opposed")
    a = sweep(replace(spec, faults=(Fault("tracks-shorted", ohm=3.0),)), build="full")
    assert codes(a) == {Code.TRACKS_SHORTED}


# --- ground, and a sensor that another controller feeds


def test_a_ground_that_moves_is_found_where_it_is_measured() -> None:
    a = sweep(load_sensor("ground-shift"), build="full", hookup="tapped")
    assert codes(a) == {Code.GROUND_SHIFT}
    assert a.findings[0].cause is Cause.GROUND
    assert a.findings[0].numbers["shift_v"] == pytest.approx(0.22, abs=0.03)


def test_without_the_sense_lead_ground_is_said_to_be_unseen() -> None:
    a = sweep(load_sensor("ground-shift"))
    assert Code.GROUND_SHIFT not in codes(a)
    assert any("Ground offset" in text for text in a.not_shown)


def test_tapped_without_supply_gives_ends_and_no_ratio() -> None:
    t = replace(trace_of(capture_of("good", seed=2, seconds=5.0, hookup="tapped", build="full")), supply=None)
    a = look(t)
    assert not a.findings
    assert a.low is not None
    assert np.isnan(a.low.ratio)
    assert np.isnan(a.supply_v)
    assert any("supply was not measured" in text for text in a.not_shown)


# --- hands


@pytest.mark.parametrize("name", ["good", "falling"])
@pytest.mark.parametrize("starts", ["closed", "open"])
def test_sense_from_either_start(name: str, starts: str) -> None:
    spec = load_sensor(name)
    a = sweep(replace(spec, hand=replace(spec.hand, starts=starts)))
    assert a.sense.value == spec.truth.sense
    assert starts in a.sense_evidence
    assert not a.findings


def test_start_in_the_middle_gives_ends_but_no_sense() -> None:
    spec = load_sensor("good")
    a = sweep(replace(spec, hand=replace(spec.hand, starts="middle")))
    assert a.sense is Sense.UNKNOWN
    assert a.closed_end is None
    assert a.low is not None
    assert a.high is not None
    assert any("Which end is closed" in text for text in a.not_shown)
    assert not a.findings


def test_one_stroke_says_what_it_cannot_tell() -> None:
    spec = load_sensor("good")
    a = sweep(replace(spec, hand=replace(spec.hand, strokes=1)), seconds=3.0)
    assert len(a.strokes) == 1
    assert not a.findings
    assert any("too few strokes" in text for text in a.not_shown)


@pytest.mark.parametrize("n", [2, 7, 30])
def test_strokes_are_counted(n: int) -> None:
    spec = load_sensor("good")
    seconds = 2.0 + 1.2 * n
    a = sweep(replace(spec, hand=replace(spec.hand, strokes=n)), seconds=seconds)
    assert len(a.strokes) == n
    assert [s.direction for s in a.strokes] == [1 if k % 2 == 0 else -1 for k in range(n)]
    assert not a.findings


@pytest.mark.parametrize("seed", range(4))
def test_hesitation_tremor_and_release_are_no_faults(seed: int) -> None:
    uneven = Hand(strokes=8, partial=0.3, hesitate=0.6, snap=0.5, bounce=0.05, tremor=0.006)
    a = sweep(replace(load_sensor("good"), hand=uneven), seed=seed, seconds=9.0)
    assert not a.findings
    assert not a.events


# --- flat spots and dead bands by hand


def flattened(x: FloatArray, low: float, high: float) -> FloatArray:
    """The same lever on a track that does not rise between two places."""
    return np.asarray(np.where(x < low, x, np.where(x < high, low, x - (high - low))) / (1 - (high - low)))


@pytest.mark.parametrize("place", [0.25, 0.5, 0.75])
def test_a_level_that_stays_in_every_stroke_is_a_flat_spot(place: float) -> None:
    a = look(moved_by(flattened(hand(), place, place + 0.03)))
    assert codes(a) == {Code.FLAT_SPOT}
    where = a.findings[0].where_percent
    assert where is not None
    assert where[0] - 0.5 <= 100 * place / 0.97 <= where[1] + 0.5


def test_a_hesitation_in_one_stroke_is_not_a_flat_spot() -> None:
    x = hand()
    at = int(np.argmax(x > 0.5))
    held = np.concatenate([x[:at], np.full(150, x[at]), x[at:-150]])
    assert not look(moved_by(held)).findings


def test_hesitation_in_a_single_stroke_is_no_flat_spot() -> None:
    x = 0.5 * hand(strokes=6)
    last = hand(1000, strokes=1, rest=0.2)
    at = int(np.argmax(last > 0.75))
    once = np.concatenate([x, last[:at], np.full(120, last[at]), last[at:]])
    assert Code.FLAT_SPOT not in codes(look(moved_by(once)))


@pytest.mark.parametrize(("end", "code"), [("low", Code.DEAD_BAND_CLOSED), ("high", Code.DEAD_BAND_OPEN)])
def test_a_track_that_ends_before_the_travel_is_a_dead_band(end: str, code: Code) -> None:
    low, high = (-0.4, OPEN_V) if end == "low" else (CLOSED_V, 5.4)
    t = moved_by(hand(), low=low, high=high)
    rail = 5.012
    clip = [np.clip(v, 0.004, rail - 0.004) for v in (t.signal_a.mean_v, t.signal_a.min_v, t.signal_a.max_v)]
    a = look(replace(t, signal_a=Channel(*clip)))
    assert codes(a) == {code}
    assert a.findings[0].cause is Cause.MOUNTING


def test_a_reading_over_the_rigs_range_is_never_a_dead_band() -> None:
    t = moved_by(hand(), high=7.0)
    clip = [np.minimum(v, 5.5) for v in (t.signal_a.mean_v, t.signal_a.min_v, t.signal_a.max_v)]
    assert codes(look(replace(t, signal_a=Channel(*clip)))) == {Code.RIG_OVER_RANGE}


def test_play_is_not_claimed_without_an_angle() -> None:
    spec = load_sensor("hysteresis")
    a = sweep(spec)
    assert not a.findings
    assert a.linearity is None
    assert any("play" in text for text in a.not_shown)


def test_angle_gives_volts_per_degree_without_a_fault() -> None:
    x = hand()
    got = look(replace(moved_by(x), angle_deg=90 * x)).linearity
    assert got is not None
    assert got.volts_per_degree == pytest.approx((OPEN_V - CLOSED_V) / 90, rel=0.002)
    assert got.independent_percent < 0.05
    assert got.hysteresis_percent < 0.1
    assert got.dead_band_closed_deg == 0
    assert got.dead_band_open_deg == 0


def test_an_angle_shows_play_as_hysteresis() -> None:
    x = hand()
    got = look(replace(moved_by(through_play(x, 0.02)), angle_deg=90 * x)).linearity
    assert got is not None
    assert got.hysteresis_percent == pytest.approx(100 * 0.02 * (OPEN_V - CLOSED_V) / 5.012, rel=0.15)


def test_an_angle_gives_linearity_and_the_dead_band_in_degrees() -> None:
    x = hand()
    bow = 0.04 * 4 * x * (1 - x)  # of span, largest in the middle: terminal-based 4 %, independent half of it
    span = 100 * (OPEN_V - CLOSED_V) / 5.012
    bent = look(replace(moved_by(x + bow), angle_deg=90 * x)).linearity
    assert bent is not None
    assert bent.terminal_percent == pytest.approx(0.04 * span, rel=0.03)
    assert bent.independent_percent == pytest.approx(0.02 * span, rel=0.03)
    late = look(replace(moved_by(np.maximum(x - 0.08, 0) / 0.92), angle_deg=90 * x)).linearity
    assert late is not None
    assert late.dead_band_closed_deg == pytest.approx(7.2, abs=0.7)
    assert late.dead_band_open_deg == 0
