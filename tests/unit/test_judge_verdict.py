"""Whole judgements of analyses built by hand: what passes, what fails, what stays open and why."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from outcomes import CLOSED_V, OPEN_V, SUPPLY_V, make_analysis, make_setup, make_trace, make_trim
from sweeprig.analysis.model import Analysis, Cause, Code, End, Finding, LinearityResult, TwoTracks
from sweeprig.capture.model import Channel, Trace
from sweeprig.frontend import front_end
from sweeprig.judge.judge import judge
from sweeprig.judge.model import Check, Judgement, Margin, Verdict
from sweeprig.judge.profile import Profile, load_profile
from sweeprig.words import Hookup, Sense

PASS, FAIL, UNDECIDED = Verdict.PASS, Verdict.FAIL, Verdict.UNDECIDED
TRACE = make_trace(n=600)
ADJUSTABLE = load_profile("adjustable-potentiometer")
FIXED = load_profile("fixed-potentiometer")
OPPOSED = load_profile("two-tracks-opposed")


def end(value: float, *, supply: float = SUPPLY_V, u: float = 0.2e-3) -> End:
    return End(value, u, 12, 3, 900, 0.3e-3, 0.1e-3, value / supply, u / supply)


def seen(
    low: float | End | None = CLOSED_V,
    high: float | End | None = OPEN_V,
    *,
    supply: float = SUPPLY_V,
    **more: Any,
) -> Analysis:
    ends = [end(v, supply=supply) if isinstance(v, float) else v for v in (low, high)]
    return replace(make_analysis(TRACE), **{"low": ends[0], "high": ends[1], "supply_v": supply, **more})


def given(analysis: Analysis, profile: Profile = ADJUSTABLE, **more: Any) -> Judgement:
    more = {
        "trace": TRACE,
        "setup": make_setup(),
        "trim": make_trim(),
        "front_end": front_end("full"),
        **more,
    }
    return judge(analysis=analysis, profile=profile, **more)


def check(judgement: Judgement, name: str) -> Check:
    return next(c for c in judgement.checks if c.name == name)


def margin(judgement: Judgement, name: str) -> Margin:
    return next(m for m in judgement.margins if m.end == name)


def codes(judgement: Judgement) -> list[Code]:
    return [f.code for f in judgement.findings]


def finding(code: Code, cause: Cause, severity: str = "fault", **numbers: float) -> Finding:
    return Finding(code, cause, 0, (28.0, 33.0), "seen so", "do this", severity, numbers)


def test_a_good_sensor_passes_and_the_pass_says_what_it_does_not_say() -> None:
    j = given(seen())
    assert j.verdict is PASS
    assert j.findings == ()
    assert j.under == (
        "No fault seen in 4 passes, at this temperature and place. Heat or vibration faults are not excluded."
    )
    assert [(m.end, m.rail, m.verdict) for m in j.margins] == [
        ("closed", "lower", PASS),
        ("open", "upper", PASS),
    ]
    assert j.profile_name == "adjustable-potentiometer"
    assert j.guard_factor == 1.0


def test_one_pass_is_not_several() -> None:
    from sweeprig.judge.whole import no_fault_text

    assert "in 1 pass," in no_fault_text(1)


def test_quantities_carry_their_budget() -> None:
    q = given(seen()).quantities
    assert q["closed_v"].value == CLOSED_V
    assert q["closed_v"].u95 == q["low_v"].u95
    for name in ("closed_v", "open_v", "span_v", "supply_v", "closed_ratio", "open_ratio"):
        own = q[name]
        assert own.u is not None
        assert own.u95 is not None
        assert own.coverage_factor is not None
        assert own.u == pytest.approx(math.sqrt(sum(b.contribution**2 for b in own.budget)))
        assert own.u95 == pytest.approx(own.coverage_factor * own.u)
        assert own.u95 > 0
    assert q["closed_ratio"].value == pytest.approx(CLOSED_V / SUPPLY_V)


@pytest.mark.parametrize("supply", [4.6, 5.0, 5.2])
def test_limits_of_a_ratiometric_sensor_hold_for_ratio_times_nominal(supply: float) -> None:
    """0.09 and 0.9 of the supply are 0.45 and 4.5 V at 5 V, whatever the supply is."""
    j = given(seen(0.09 * supply, 0.9 * supply, supply=supply))
    assert j.verdict is PASS
    closed = margin(j, "closed")
    assert closed.value_v == pytest.approx(0.45)
    assert closed.measured_v == pytest.approx(0.09 * supply)
    assert check(j, "closed").value == pytest.approx(0.45)
    assert check(j, "span").value == pytest.approx(4.05, rel=1e-6)


def test_limits_of_another_sensor_hold_for_measured_volts() -> None:
    fixed_reference = replace(ADJUSTABLE, supply=replace(ADJUSTABLE.supply, ratiometric=False))
    j = given(seen(0.414, 4.14, supply=4.6), fixed_reference)
    assert margin(j, "closed").value_v == pytest.approx(0.414)
    assert margin(j, "open").limit_v == pytest.approx(4.4, abs=1e-3)  # measured supply less the margin
    assert j.verdict is PASS


def test_sensor_ground_is_the_lower_rail() -> None:
    """0.25 V on the meter with sensor ground at 0.12 V is 0.13 V above its rail."""
    trace = replace(TRACE, ground_v=np.full(TRACE.t_s.size, 0.12))
    j = given(seen(0.25, 4.5, supply=5.0), FIXED, trace=trace)
    assert margin(j, "closed").value_v == pytest.approx(5 * 0.13 / 4.88)
    assert margin(j, "closed").verdict is FAIL
    assert given(seen(0.25, 4.5, supply=5.0), FIXED).margins[0].verdict is PASS


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
    assert j.under == ""


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


def test_near_a_limit_it_is_undecided_and_says_what_would_decide_it() -> None:
    # U of the closed end is about 2 mV
    j = given(seen(0.401, 4.5, supply=5.0))
    assert j.verdict is UNDECIDED
    assert "closed throttle" in j.reason.lower()
    assert "would have to be below" in check(j, "closed").would_decide
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


def test_a_fault_fails_with_the_cause_that_explains_the_others_first() -> None:
    found = (
        finding(Code.WORN_PLACE, Cause.TRACK),
        finding(Code.SUPPLY_DROPOUT, Cause.SUPPLY),
        finding(Code.STRAY_DROPOUT, Cause.CONNECTION, "doubt"),
    )
    j = given(seen(findings=found))
    assert j.verdict is FAIL
    assert codes(j) == [Code.SUPPLY_DROPOUT, Code.WORN_PLACE, Code.STRAY_DROPOUT]
    assert j.reason.startswith("Supply dropout at 28 to 33 % of signal span (cause: supply): seen so.")
    assert "Also: worn place." in j.reason


@pytest.mark.parametrize(("severity", "verdict"), [("fault", FAIL), ("doubt", UNDECIDED), ("note", PASS)])
def test_severity_weighs(severity: str, verdict: Verdict) -> None:
    assert given(seen(findings=(finding(Code.WORN_PLACE, Cause.TRACK, severity),))).verdict is verdict


def test_a_fault_of_the_rig_is_not_the_sensors() -> None:
    j = given(seen(findings=(finding(Code.RECORDS_LOST, Cause.RIG),)))
    assert j.verdict is UNDECIDED
    assert "records lost" in j.reason.lower()


def test_events_shallower_than_the_profiles_limit_are_notes() -> None:
    shallow = finding(Code.WORN_PLACE, Cause.TRACK, worst_depth_percent=0.25)
    j = given(seen(findings=(shallow,)))
    assert j.verdict is PASS
    assert j.findings[0].severity == "note"
    deep = finding(Code.WORN_PLACE, Cause.TRACK, worst_depth_percent=0.35)
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
    assert margin(j, "open").value_v is None
    assert "no rest was seen" in j.quantities["open_v"].reason
    assert j.quantities["span_v"].value is None


def test_without_the_supply_there_is_no_ratio_and_its_range_is_counted() -> None:
    trace = make_trace(n=600, supply=False)
    blind = seen(0.45, 4.3, supply=math.nan)
    j = given(blind, trace=trace, setup=make_setup(hookup=Hookup.TAPPED))
    assert j.quantities["closed_ratio"].value is None
    assert "not observed" in j.quantities["closed_ratio"].reason
    assert not [c for c in j.checks if c.name == "supply"]
    assert any("taken as 4.75 to 5.25 V" in text for text in j.not_shown)
    # 5 % of 4.3 V, rectangular: 4.3 x 0.25/5/sqrt(3) = 0.124 V standard uncertainty
    assert margin(j, "open").u95 == pytest.approx(1.96 * 4.3 * 0.05 / math.sqrt(3), rel=0.01)
    assert j.quantities["open_v"].u95 == pytest.approx(2e-3, rel=0.5)
    near = replace(blind, high=end(4.5, supply=math.nan))
    j = given(near, trace=trace, setup=make_setup(hookup=Hookup.TAPPED))
    assert j.verdict is UNDECIDED
    assert "observe the supply" in j.reason


def test_data_that_did_not_come_from_a_rig_says_so() -> None:
    trace = replace(TRACE, source="csv")
    j = given(seen(), trace=trace, trim=None, front_end=None)
    assert j.verdict is PASS
    assert any("Accuracy of what measured this data: not known" in text for text in j.not_shown)
    assert [b.kind for b in j.quantities["closed_v"].budget] == ["A"]


@pytest.mark.parametrize(
    ("hookup", "supply", "verdict"),
    [
        (Hookup.TAPPED, 4.65, FAIL),
        (Hookup.TAPPED, 4.9, PASS),
        (Hookup.POWERED, 4.65, PASS),
        (Hookup.POWERED, 4.0, FAIL),
    ],
)
def test_the_supply_is_judged_by_who_feeds_it(hookup: Hookup, supply: float, verdict: Verdict) -> None:
    trace = replace(TRACE, supply=Channel(*(np.full(TRACE.t_s.size, supply),) * 3))
    j = given(seen(0.09 * supply, 0.9 * supply, supply=supply), trace=trace, setup=make_setup(hookup=hookup))
    assert check(j, "supply").verdict is verdict
    assert j.verdict is verdict
    if verdict is FAIL:
        assert codes(j) == [Code.SUPPLY_OUT_OF_RANGE]


def test_a_sensor_that_is_not_fed_has_no_margins() -> None:
    cut = seen(0.01, 0.02, supply=0.05, findings=(finding(Code.SUPPLY_CUT, Cause.SUPPLY),))
    j = given(cut)
    assert j.verdict is FAIL
    assert j.reason.startswith("Supply cut")
    assert j.margins == ()
    assert [c.name for c in j.checks] == ["supply"]


def test_lost_records_are_counted_in_what_was_not_seen() -> None:
    j = given(seen(), trace=replace(TRACE, n_lost=66))
    assert any("66 of 666 records (9.9 %)" in text for text in j.not_shown)


def two(*, slope: float = -1.0, offset: float = 5.0, error: float = 0.2) -> TwoTracks:
    return TwoTracks("opposed", slope, offset, error / 20, error, 50.0)


def with_b(**more: Any) -> tuple[Trace, Analysis]:
    trace = replace(TRACE, signal_b=TRACE.signal_a)
    more = {"low_b": end(0.5, supply=5.0), "high_b": end(4.55, supply=5.0), "two_tracks": two(), **more}
    return trace, seen(0.45, 4.5, supply=5.0, **more)


def test_two_tracks_are_judged_by_their_relation() -> None:
    trace, analysis = with_b()
    j = given(analysis, OPPOSED, trace=trace)
    assert j.verdict is PASS
    assert check(j, "sum_b").value == pytest.approx(5.0)
    assert [m.end for m in j.margins] == ["closed", "open", "open B", "closed B"]
    assert j.quantities["closed_b_v"].value == 4.55  # B falls where A rises


@pytest.mark.parametrize(
    ("relation", "name"),
    [(two(slope=-0.8), "slope_b"), (two(error=3.0), "correlation")],
)
def test_tracks_that_disagree_fail(relation: TwoTracks, name: str) -> None:
    trace, analysis = with_b(two_tracks=relation)
    j = given(analysis, OPPOSED, trace=trace)
    assert j.verdict is FAIL
    assert check(j, name).verdict is FAIL
    assert Code.TRACKS_DISAGREE in codes(j)


def test_exchanged_tracks_are_told_apart_from_bad_ones() -> None:
    half = load_profile("two-tracks-half-scale")
    trace, analysis = with_b(two_tracks=TwoTracks("half-scale", 2.0, 0.0, 0.0, 0.1, 50.0))
    exchanged = given(analysis, half, trace=trace)
    assert any("exchanged" in f.next_step for f in exchanged.findings)
    trace, analysis = with_b(two_tracks=TwoTracks("other", 0.7, 0.0, 0.0, 0.1, 50.0))
    assert not any("exchanged" in f.next_step for f in given(analysis, half, trace=trace).findings)


def test_the_relation_is_judged_where_no_slope_is_limited() -> None:
    loose = replace(OPPOSED, limits=replace(OPPOSED.limits, slope_b=None))
    trace, analysis = with_b()
    assert given(analysis, loose, trace=trace).verdict is PASS
    trace, analysis = with_b(two_tracks=replace(two(), relation="other", slope=-0.7))
    j = given(analysis, loose, trace=trace)
    assert j.verdict is FAIL
    assert "look other" in j.findings[0].evidence


def test_shorted_tracks_are_not_said_to_disagree_as_well() -> None:
    short = Finding(Code.TRACKS_SHORTED, Cause.WIRING, None, None, "joined", "measure")
    trace, analysis = with_b(findings=(short,), two_tracks=TwoTracks("same", 1.0, 0.0, 0.0, 0.0, 50.0))
    j = given(analysis, OPPOSED, trace=trace)
    assert j.verdict is FAIL
    assert Code.TRACKS_SHORTED in codes(j)
    assert Code.TRACKS_DISAGREE not in codes(j)


def test_the_place_of_a_fault_is_said_once() -> None:
    spot = replace(finding(Code.WORN_PLACE, Cause.TRACK), where_percent=(28.1, 28.4))
    assert given(seen(findings=(spot,))).reason.startswith("Worn place at 28 % of signal span (cause: track)")
    assert given(seen(0.15)).reason.startswith(
        "Closed throttle too near a rail (cause: mounting): the closed"
    )


def test_a_wrong_sum_fails() -> None:
    trace, analysis = with_b(low_b=end(1.3, supply=5.0), high_b=end(4.75, supply=5.0))
    j = given(analysis, OPPOSED, trace=trace)
    assert check(j, "sum_b").value == pytest.approx((0.45 + 4.5 + 1.3 + 4.75) / 2)
    assert check(j, "sum_b").verdict is UNDECIDED  # 5.5 V stands on its limit
    trace, analysis = with_b(low_b=end(1.4, supply=5.0), high_b=end(4.75, supply=5.0))
    assert check(given(analysis, OPPOSED, trace=trace), "sum_b").verdict is FAIL


def test_track_b_near_a_rail_fails_by_its_own_name() -> None:
    trace, analysis = with_b(low_b=end(0.1, supply=5.0))
    j = given(analysis, OPPOSED, trace=trace)
    found = next(f for f in j.findings if f.code is Code.MARGIN_OPEN)
    assert found.channel == 1
    assert "the open B end" in found.evidence


def test_no_correlation_without_the_supply_or_with_two_supplies() -> None:
    trace, analysis = with_b(supply_v=math.nan)
    j = given(analysis, OPPOSED, trace=replace(trace, supply=None))
    assert check(j, "correlation").value is None
    assert "supply was not observed" in check(j, "correlation").would_decide
    apart = replace(OPPOSED, sensor=replace(OPPOSED.sensor, supplies=2))
    trace, analysis = with_b(two_tracks=two(error=9.0))
    j = given(analysis, apart, trace=trace)
    assert j.verdict is UNDECIDED
    assert "one track at a time" in check(j, "correlation").would_decide


def test_a_missing_second_track_is_undecided() -> None:
    j = given(seen(0.45, 4.5, supply=5.0), OPPOSED)
    assert j.verdict is UNDECIDED
    assert j.reason.startswith("Track B was not captured")


def test_a_second_channel_that_the_profile_does_not_have_is_left_out() -> None:
    disagree = Finding(Code.TRACKS_DISAGREE, Cause.TRACK, 1, None, "noise", "none")
    trace, analysis = with_b(findings=(disagree,), two_tracks=two(error=30.0))
    j = given(analysis, ADJUSTABLE, trace=trace)
    assert j.verdict is PASS
    assert "closed_b_v" not in j.quantities
    assert any("B was not judged" in text for text in j.not_shown)


def test_linearity_is_judged_with_an_angle_only() -> None:
    bent = LinearityResult(3.5, 4.0, 4.2, None, 0.4, 0.05, 0.0, 0.0)
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


def test_the_load_of_the_rig_is_named_where_the_track_is_not_known() -> None:
    unmeasured = make_setup(track_ohm=None)
    assert any("--track-ohm" in t for t in given(seen(), setup=unmeasured).not_shown)
    assert not any("--track-ohm" in t for t in given(seen()).not_shown)
    hall = given(seen(), load_profile("hall"), setup=make_setup(track_ohm=None, sensor_kind="hall"))
    assert not any("--track-ohm" in t for t in hall.not_shown)


def test_the_uncertainty_of_a_ratio_holds_signal_and_supply() -> None:
    """JCGM 100, 5.1.2: u(V/S)^2 = (u(V)/S)^2 + (V u(S)/S^2)^2."""
    q = given(seen(0.45, 4.5, supply=5.0)).quantities
    v, s, ratio = q["open_v"], q["supply_v"], q["open_ratio"]
    assert v.u is not None
    assert s.u is not None
    assert ratio.u == pytest.approx(math.hypot(v.u / 5.0, 0.9 * s.u / 5.0), rel=1e-3)
    assert ratio.u > 1.2 * v.u / 5.0


def test_each_end_is_put_against_the_supply_of_its_own_rests() -> None:
    sagged = seen(end(0.45, supply=5.0), end(4.14, supply=4.6), supply=4.9)
    j = given(sagged)
    assert margin(j, "closed").value_v == pytest.approx(0.45)
    assert margin(j, "open").value_v == pytest.approx(4.5)
    assert j.quantities["open_ratio"].value == pytest.approx(0.9)


def test_dropouts_of_the_supply_do_not_widen_its_interval() -> None:
    supply = TRACE.supply
    assert supply is not None
    dropped = supply.mean_v.copy()
    dropped[::40] = 1.0
    trace = replace(TRACE, supply=replace(supply, mean_v=dropped))
    clean, torn = given(seen()).quantities["supply_v"], given(seen(), trace=trace).quantities["supply_v"]
    assert torn.u == pytest.approx(clean.u, rel=0.02)


def test_the_upper_rail_in_volts_is_as_uncertain_as_the_supply() -> None:
    own = replace(ADJUSTABLE, supply=replace(ADJUSTABLE.supply, ratiometric=False))
    q = given(seen(supply=5.0), own)
    v, s = q.quantities["open_v"], q.quantities["supply_v"]
    assert v.u is not None
    assert s.u is not None
    assert margin(q, "open").u95 == pytest.approx(1.96 * math.hypot(v.u, s.u), rel=0.01)
    assert margin(q, "closed").u95 == pytest.approx(q.quantities["closed_v"].u95)
    blind = given(seen(supply=math.nan), own, trace=replace(TRACE, supply=None))
    assert margin(blind, "open").u95 == pytest.approx(1.96 * 0.25 / math.sqrt(3), rel=0.01)
