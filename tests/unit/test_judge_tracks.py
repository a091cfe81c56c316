"""Two tracks against each other and against their limits."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from support.judge_cases import (
    ADJUSTABLE,
    FAIL,
    OPPOSED,
    PASS,
    TRACE,
    UNDECIDED,
    check,
    codes,
    end,
    given,
    seen,
)
from support.outcomes import make_calibration
from sweeprig.analysis.model import Analysis, Cause, Code, Finding, TwoTracks
from sweeprig.calibration.model import ChannelCalibration, Line
from sweeprig.capture.model import Trace
from sweeprig.judge.profile import load_profile
from sweeprig.judge.profile_model import Range


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


def test_swapped_tracks_are_told_apart_from_bad_ones() -> None:
    half = load_profile("two-tracks-half-scale")
    trace, analysis = with_b(two_tracks=TwoTracks("half-scale", 2.0, 0.0, 0.0, 0.1, 50.0))
    swapped = given(analysis, half, trace=trace)
    assert any("appear swapped" in f.next_step for f in swapped.findings)
    trace, analysis = with_b(two_tracks=TwoTracks("other", 0.7, 0.0, 0.0, 0.1, 50.0))
    assert not any("appear swapped" in f.next_step for f in given(analysis, half, trace=trace).findings)


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
    half = given(analysis, load_profile("two-tracks-half-scale"), trace=trace)
    assert [f.evidence for f in half.findings if f.code is Code.TRACKS_SHORTED] == ["joined"]
    assert "Also: tracks shorted" not in half.reason


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
    assert "the open end of track B" in found.evidence


def test_no_correlation_without_the_supply_or_with_two_supplies() -> None:
    trace, analysis = with_b(supply_v=math.nan)
    j = given(analysis, OPPOSED, trace=replace(trace, supply=None))
    assert check(j, "correlation").value is None
    assert "supply was not measured" in check(j, "correlation").would_decide
    apart = replace(OPPOSED, sensor=replace(OPPOSED.sensor, supplies=2))
    trace, analysis = with_b(two_tracks=two(error=9.0))
    j = given(analysis, apart, trace=trace)
    assert j.verdict is UNDECIDED
    assert "one track at a time" in check(j, "correlation").would_decide


def test_a_missing_second_track_is_undecided() -> None:
    j = given(seen(0.45, 4.5, supply=5.0), OPPOSED)
    assert j.verdict is UNDECIDED
    assert j.reason.startswith("Track B was not captured")


def test_channel_not_in_the_profile_is_left_out() -> None:
    disagree = Finding(Code.TRACKS_DISAGREE, Cause.TRACK, 1, None, "noise", "none")
    trace, analysis = with_b(findings=(disagree,), two_tracks=two(error=30.0))
    j = given(analysis, ADJUSTABLE, trace=trace)
    assert j.verdict is UNDECIDED  # never a pass of one track out of two
    assert j.reason.startswith("Track B carries a signal and was not judged")
    assert "closed_b_v" not in j.quantities
    assert any("B was not judged" in text for text in j.not_shown)


def test_both_channels_enter_slope_and_agreement() -> None:
    line = Line(0.0, 1e-3, 0.0, (2e-3 * 1e-3) ** 2, 0.0)  # 1 mV each code, gain known to 0.2 %
    calibration = make_calibration(
        channels=tuple(ChannelCalibration(c, line, u_linearity_lsb=3.0) for c in range(3))
    )
    trace, analysis = with_b(two_tracks=two(error=1.5))
    j = given(analysis, OPPOSED, trace=trace, calibration=calibration)
    own, bend = (
        math.sqrt(2e-3**2 - 0.0005**2 / 3),
        3e-3 * math.sqrt(2) / 4.05,
    )  # each: less the meter's gain; two ends
    # four rectangular terms of like size: their 95 % lie 0.12 % below those of a normal distribution
    assert check(j, "slope_b").u95 == pytest.approx(1.9576 * math.sqrt(2) * math.hypot(own, bend), rel=2e-4)
    # 3 codes of 1 mV on 5 V are 0.06 %, in both channels: two rectangular terms alike make a triangle
    held = (1 - math.sqrt(0.05)) * math.sqrt(6)
    assert check(j, "correlation").u95 == pytest.approx(held * 0.06 * math.sqrt(2), rel=1e-3)


def test_a_half_scale_track_b_is_sure_of_its_stop_by_its_own_way() -> None:
    """6 mV between two visits are much of the 1.9 V that B moves by, and little of the 4.05 V of A."""
    half = load_profile("two-tracks-half-scale")
    wanted = Range(2.3, 2.5, "V", "a test")
    profile = replace(half, limits=replace(half.limits, open_b=wanted))
    high_b = replace(end(2.15, supply=5.0), n_rests=2, n_agreeing=2, spread_v=6e-3)
    trace, analysis = with_b(
        low_b=end(0.25, supply=5.0), high_b=high_b, two_tracks=two(slope=0.5, offset=0.0)
    )
    assert check(given(analysis, profile, trace=trace), "open_b").verdict is UNDECIDED
    sure = replace(analysis, high_b=replace(high_b, spread_v=1e-3))
    assert check(given(sure, profile, trace=trace), "open_b").verdict is FAIL


def test_opposed_ends_that_lie_inwards_name_ohms_between_the_signals() -> None:
    """They keep their mirror image, so the volts alone do not tell them from a lever that is short of both stops."""
    trace, analysis = with_b(low_b=end(2.14, supply=5.0), high_b=end(2.86, supply=5.0))
    inwards = replace(analysis, low=end(2.14, supply=5.0), high=end(2.86, supply=5.0))
    found = [f for f in given(inwards, OPPOSED, trace=trace).findings if f.where_percent is not None]
    assert {f.code for f in found} == {Code.CLOSED_OUT_OF_RANGE, Code.OPEN_OUT_OF_RANGE}
    assert all(
        "between the two signals" in f.evidence and "between its two signals" in f.next_step for f in found
    )
    one = given(seen(2.14, 2.86, supply=5.0))
    assert all("two signals" not in f.evidence for f in one.findings)
