"""Whole judgements: what passes, what fails, what stays open and why."""

from __future__ import annotations

from dataclasses import replace

import pytest

from support.judge_cases import (
    ADJUSTABLE,
    FAIL,
    FIXED,
    PASS,
    TRACE,
    UNDECIDED,
    check,
    codes,
    end,
    finding,
    given,
    margin,
    seen,
)
from support.outcomes import CLOSED_V, make_analysis
from sweeprig.analysis.model import Cause, Code, LinearityResult
from sweeprig.judge.model import Check, Verdict
from sweeprig.judge.profile_model import Range
from sweeprig.judge.whole import overall
from sweeprig.words import Sense


def test_good_sensor_passes_and_says_what_was_not_judged() -> None:
    j = given(seen())
    assert j.verdict is PASS
    assert j.findings == ()
    assert j.reservation == (
        "Tested in 4 strokes, under the conditions of this test. Heat or vibration faults are not excluded."
    )
    assert [(m.end, m.rail, m.verdict) for m in j.margins] == [
        ("closed", "lower", PASS),
        ("open", "upper", PASS),
    ]
    assert j.profile_name == "adjustable-potentiometer"
    assert j.guard_factor == 1.0


def test_one_pass_is_not_several() -> None:
    from sweeprig.judge.whole import no_fault_text

    assert "in 1 stroke," in no_fault_text(1)


@pytest.mark.parametrize(
    ("low", "high", "sense", "code", "name", "rail"),
    [
        (0.15, 4.48, Sense.RISING, Code.MARGIN_CLOSED, "closed", "lower"),
        (0.45, 4.87, Sense.RISING, Code.MARGIN_OPEN, "open", "upper"),
        (0.02, 4.48, Sense.RISING, Code.DEAD_BAND_CLOSED, "closed", "lower"),
        (0.45, 5.005, Sense.RISING, Code.DEAD_BAND_OPEN, "open", "upper"),
        (0.15, 4.55, Sense.FALLING, Code.MARGIN_OPEN, "open", "lower"),
        (0.45, 4.995, Sense.FALLING, Code.DEAD_BAND_CLOSED, "closed", "upper"),
    ],
)
def test_an_end_too_near_a_rail_is_named(
    *, low: float, high: float, sense: Sense, code: Code, name: str, rail: str
) -> None:
    j = given(seen(low, high, sense=sense))
    assert j.verdict is FAIL
    assert margin(j, name).rail == rail
    assert margin(j, name).verdict is FAIL
    found = next(f for f in j.findings if f.code is code)
    assert found.cause is Cause.MOUNTING
    assert f"the {name} end" in found.evidence
    assert "sweeprig aim" in found.next_step
    assert j.reservation == ""


def test_a_fixed_mount_is_not_told_to_turn() -> None:
    j = given(seen(0.15), FIXED)
    assert codes(j)[0] is Code.MARGIN_CLOSED
    assert "Turn" not in " ".join(f.next_step for f in j.findings)


def test_a_dead_band_is_not_said_twice() -> None:
    own = finding(Code.DEAD_BAND_CLOSED, Cause.MOUNTING)
    j = given(seen(0.02, findings=(own,)))
    assert codes(j).count(Code.DEAD_BAND_CLOSED) == 1
    assert Code.MARGIN_CLOSED not in codes(j)


def test_a_falling_sensor_meets_mirrored_ranges() -> None:
    """Common practice, no source: swapped supply and ground turn V into S - V."""
    j = given(seen(0.6, 4.56, supply=5.0, sense=Sense.FALLING))
    assert (check(j, "closed").low, check(j, "closed").high) == (4.5, 4.6)
    assert j.verdict is PASS
    assert given(seen(0.6, 4.4, supply=5.0, sense=Sense.FALLING)).verdict is FAIL


def test_a_profile_may_want_one_sense() -> None:
    rising = replace(ADJUSTABLE, sensor=replace(ADJUSTABLE.sensor, sense="rising"))
    j = given(seen(0.45, 4.56, sense=Sense.FALLING), rising)
    assert codes(j)[0] is Code.WRONG_SENSE
    assert "swapped" in j.findings[0].next_step
    assert given(seen(), rising).verdict is PASS


def test_an_unknown_sense_leaves_low_and_high_and_is_undecided() -> None:
    j = given(seen(sense=Sense.UNKNOWN))
    assert j.verdict is UNDECIDED
    assert [m.end for m in j.margins] == ["low", "high"]
    assert "which end is closed is not known" in j.reason
    assert j.quantities["closed_v"].value is None
    assert j.quantities["closed_v"].reason
    assert j.quantities["low_v"].value == CLOSED_V
    # a rail is a rail, whichever end it is
    near = given(seen(0.1, sense=Sense.UNKNOWN))
    assert near.verdict is FAIL
    assert "sense unknown, the low end is taken as closed" in near.findings[0].evidence


def test_near_a_limit_undecided_says_what_would_decide() -> None:
    # U of the closed end is about 2 mV
    j = given(seen(0.401, 4.5, supply=5.0))
    assert j.verdict is UNDECIDED
    assert "closed throttle" in j.reason.lower()
    assert "must be below" in check(j, "closed").would_decide
    assert given(seen(0.401, 4.5, supply=5.0), guard_factor=0.0).verdict is PASS
    assert given(seen(0.399, 4.5, supply=5.0), guard_factor=0.0).verdict is FAIL
    assert given(seen(0.395, 4.5, supply=5.0)).verdict is FAIL
    assert codes(given(seen(0.395, 4.5, supply=5.0))) == [Code.CLOSED_OUT_OF_RANGE]
    assert codes(given(seen(0.45, 3.9, supply=5.0))) == [Code.OPEN_OUT_OF_RANGE]


def test_the_profile_may_set_the_guard_band() -> None:
    simple = replace(ADJUSTABLE, guard=replace(ADJUSTABLE.guard, factor=0.0))
    j = given(seen(0.401, 4.5, supply=5.0), simple)
    assert j.verdict is PASS
    assert j.guard_factor == 0.0


@pytest.mark.parametrize("code", [Code.NOT_ANALOGUE, Code.RIG_OVER_RANGE])
def test_what_cannot_be_read_decides_nothing(code: Code) -> None:
    other = finding(Code.SUPPLY_DROPOUT, Cause.SUPPLY)
    unread = seen(findings=(other, finding(code, Cause.RIG)), low=None, high=None, strokes=())
    j = given(unread)
    assert j.verdict is UNDECIDED
    assert (j.margins, j.checks) == ((), ())
    assert "do this" in j.reason
    assert j.quantities["closed_v"].value is None


def test_over_range_is_never_a_dead_band() -> None:
    unread = seen(low=None, high=None, findings=(finding(Code.RIG_OVER_RANGE, Cause.RIG),))
    assert codes(given(unread)) == [Code.RIG_OVER_RANGE]


def test_fault_names_the_explaining_cause_first() -> None:
    found = (
        finding(Code.WORN_SPOT, Cause.TRACK),
        finding(Code.SUPPLY_DROPOUT, Cause.SUPPLY),
        finding(Code.STRAY_DROPOUT, Cause.CONNECTION, "doubt"),
    )
    j = given(seen(findings=found))
    assert j.verdict is FAIL
    assert codes(j) == [Code.SUPPLY_DROPOUT, Code.WORN_SPOT, Code.STRAY_DROPOUT]
    assert j.reason.startswith("Supply dropout at 28 to 33 % of travel (cause: supply): seen so.")
    assert "Also: worn spot." in j.reason


@pytest.mark.parametrize(("severity", "verdict"), [("fault", FAIL), ("doubt", UNDECIDED), ("note", PASS)])
def test_severity_weighs(severity: str, verdict: Verdict) -> None:
    assert given(seen(findings=(finding(Code.WORN_SPOT, Cause.TRACK, severity),))).verdict is verdict


def test_a_fault_of_the_rig_is_not_the_sensors() -> None:
    j = given(seen(findings=(finding(Code.RECORDS_LOST, Cause.RIG),)))
    assert j.verdict is UNDECIDED
    assert "data lost" in j.reason.lower()


def test_events_shallower_than_the_profiles_limit_are_notes() -> None:
    shallow = finding(Code.WORN_SPOT, Cause.TRACK, worst_depth_percent=0.25)
    j = given(seen(findings=(shallow,)))
    assert j.verdict is PASS
    assert j.findings[0].severity == "note"
    deep = finding(Code.WORN_SPOT, Cause.TRACK, worst_depth_percent=0.35)
    assert given(seen(findings=(deep,))).verdict is FAIL


def test_too_few_strokes_pass_nothing() -> None:
    strokes = make_analysis(TRACE).strokes
    j = given(seen(strokes=strokes[:2]))
    assert j.verdict is UNDECIDED
    assert j.reason.startswith("Only 2 full strokes were seen, 3 are needed")
    half = tuple(replace(s, full=False) for s in strokes)
    assert given(seen(strokes=half)).verdict is UNDECIDED


def test_an_end_that_was_not_seen_is_undecided() -> None:
    j = given(seen(high=None))
    assert j.verdict is UNDECIDED
    assert margin(j, "open").level_v is None
    assert "never held still at" in j.quantities["open_v"].reason
    assert j.quantities["span_v"].value is None


def test_lost_records_are_counted_in_what_was_not_seen() -> None:
    j = given(seen(), trace=replace(TRACE, n_lost=66))
    assert any("66 of 666 data blocks (9.9 %)" in text for text in j.not_shown)


def test_the_place_of_a_fault_is_said_once() -> None:
    spot = replace(finding(Code.WORN_SPOT, Cause.TRACK), where_percent=(28.1, 28.4))
    assert given(seen(findings=(spot,))).reason.startswith("Worn spot at 28 % of travel (cause: track)")
    assert given(seen(0.15)).reason.startswith(
        "Closed throttle too near ground (cause: mounting): the closed"
    )


def test_linearity_is_judged_with_an_angle_only() -> None:
    bent = LinearityResult(3.5, 4.0, 4.2, 0.4, 0.05, 0.0, 0.0)
    j = given(seen(linearity=bent))
    assert codes(j) == [Code.NOT_LINEAR]
    assert check(j, "hysteresis").verdict is PASS
    assert not [c for c in given(seen()).checks if c.name in ("linearity", "hysteresis")]
    assert codes(given(seen(linearity=replace(bent, independent_percent=0.5, hysteresis_percent=1.5)))) == [
        Code.HYSTERESIS
    ]


def test_a_span_too_small_fails() -> None:
    j = given(seen(0.45, 3.3))
    assert check(j, "span").verdict is FAIL


def test_falling_profile_states_its_ranges_as_they_are() -> None:
    limits = replace(
        ADJUSTABLE.limits, closed=Range(4.4, 4.6, "V", "ours"), open=Range(0.4, 0.8, "V", "ours")
    )
    falling = replace(ADJUSTABLE, sensor=replace(ADJUSTABLE.sensor, sense="falling"), limits=limits)
    j = given(seen(0.6, 4.5, supply=5.0, sense=Sense.FALLING), falling)
    assert (check(j, "closed").low, check(j, "closed").high) == (4.4, 4.6)
    assert j.verdict is PASS


def test_a_wrong_sense_that_the_analysis_named_is_not_said_twice() -> None:
    rising = replace(ADJUSTABLE, sensor=replace(ADJUSTABLE.sensor, sense="rising"))
    told = finding(Code.WRONG_SENSE, Cause.WIRING)
    j = given(seen(0.45, 4.56, sense=Sense.FALLING, findings=(told,)), rising)
    assert codes(j).count(Code.WRONG_SENSE) == 1


def test_a_limit_not_kept_fails_even_where_no_finding_names_it() -> None:
    broken = Check("something", 2.0, 0.1, "V", None, 1.0, FAIL)
    assert overall((), (), (broken,))[0] is FAIL
    assert overall((), (), (replace(broken, verdict=PASS),))[0] is PASS


@pytest.mark.parametrize(("low", "high", "rail"), [(0.24, 2.7, "ground"), (2.5, 4.78, "the supply")])
def test_ends_drawn_to_one_rail_are_the_wiring_not_the_mount(low: float, high: float, rail: str) -> None:
    """A track through 300 to 600 ohm to a rail; a turn on the mount keeps the distance of the ends."""
    j = given(seen(low=low, high=high))
    ends = [f for f in j.findings if f.code in (Code.CLOSED_OUT_OF_RANGE, Code.OPEN_OUT_OF_RANGE)]
    assert ends
    assert {f.cause for f in ends} == {Cause.WIRING}
    assert f"drawn towards {rail}" in j.reason


@pytest.mark.parametrize(("low", "high"), [(0.25, 4.3), (0.45, 2.7), (0.3, 3.9), (0.95, 4.4)])
def test_a_turned_sensor_and_a_short_travel_are_the_mounting(low: float, high: float) -> None:
    j = given(seen(low=low, high=high))
    ends = [f for f in j.findings if f.code in (Code.CLOSED_OUT_OF_RANGE, Code.OPEN_OUT_OF_RANGE)]
    assert {f.cause for f in ends} == {Cause.MOUNTING}


@pytest.mark.parametrize(("low", "high", "wire"), [(0.95, 4.4, "the supply"), (0.45, 2.7, "ground")])
def test_one_end_drawn_inwards_names_a_resistance_beside_the_stop(low: float, high: float, wire: str) -> None:
    """A lever that is not moved all the way, and a resistance to a rail, read the same at the ends."""
    j = given(seen(low=low, high=high))
    end = next(f for f in j.findings if f.code in (Code.CLOSED_OUT_OF_RANGE, Code.OPEN_OUT_OF_RANGE))
    assert f"resistance from the signal to {wire}" in end.evidence
    assert "unplug the sensor and measure" in end.next_step


@pytest.mark.parametrize(("low", "high"), [(0.25, 4.3), (0.6, 4.9)])
def test_both_ends_turned_alike_name_no_resistance(low: float, high: float) -> None:
    j = given(seen(low=low, high=high))
    assert not any("resistance from the signal" in f.evidence for f in j.findings)


def test_of_two_doubts_of_one_name_the_first_is_in_the_reason() -> None:
    """The worse of two ends comes first; the verdict named the other."""
    worse = replace(
        finding(Code.ENDS_NOT_REPEATED, Cause.MOUNTING, "doubt"), evidence="the closed end, 33 mV"
    )
    j = given(seen(findings=(worse, replace(worse, evidence="the open end, 11 mV"))))
    assert j.reason.startswith("An end did not read the same each time: the closed end, 33 mV.")
    assert "the open end, 11 mV" not in j.reason


@pytest.mark.parametrize(
    ("n_rests", "n_agreeing", "n_short", "spread_v"),
    [(3, 3, 2, 0.4e-3), (3, 3, 0, 18e-3), (1, 2, 1, float("nan")), (2, 2, 0, 12e-3)],
)
def test_half_strokes_that_nearly_agree_fail_no_range(
    n_rests: int, n_agreeing: int, n_short: int, spread_v: float
) -> None:
    short = replace(
        end(3.2), n_rests=n_rests, n_agreeing=n_agreeing, n_turned_short=n_short, spread_v=spread_v
    )
    assert check(given(seen(0.45, short)), "open").verdict is UNDECIDED
    sure = replace(end(3.2), n_rests=2, n_agreeing=2, spread_v=0.5e-3)
    assert check(given(seen(0.45, sure)), "open").verdict is FAIL
