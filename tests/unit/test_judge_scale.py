"""The scale that limits hold on: ratio, supply, sensor ground, and what they are uncertain by."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from support.judge_cases import (
    ADJUSTABLE,
    FAIL,
    FIXED,
    PASS,
    RECTANGULAR,
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
from support.outcomes import CLOSED_V, OPEN_V, SUPPLY_V, make_calibration, make_setup, make_trace
from sweeprig.analysis.model import Cause, Code
from sweeprig.calibration.drift import GROUND_LEAD
from sweeprig.calibration.model import ChannelCalibration, Line, Meter
from sweeprig.calibration.nominal import nominal_calibration
from sweeprig.calibration.uncertainty import calibration_lines
from sweeprig.capture.model import Channel
from sweeprig.frontend import front_end
from sweeprig.judge.budget import SHARED, merged
from sweeprig.judge.model import BudgetLine, Quantity, Verdict
from sweeprig.judge.profile import load_profile
from sweeprig.words import Hookup

LINE = Line(-0.02, 3.3 / 0.6 / 4096, 9e-6, 0.0, 0.0)  # 3 mV standard uncertainty
NO_ZERO = Meter(
    percent_of_reading=0.05, counts=0.5, count_v=1e-4
)  # its zero is exact: offsets are the channels' own
LOOSE = make_calibration(channels=tuple(ChannelCalibration(c, LINE) for c in range(3)), meter=NO_ZERO)


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
def test_ratiometric_limits_hold_for_ratio_times_nominal(supply: float) -> None:
    """0.09 and 0.9 of the supply are 0.45 and 4.5 V at 5 V, whatever the supply is."""
    j = given(seen(0.09 * supply, 0.9 * supply, supply=supply))
    assert j.verdict is PASS
    closed = margin(j, "closed")
    assert closed.level_v == pytest.approx(0.45)
    assert closed.measured_v == pytest.approx(0.09 * supply)
    assert check(j, "closed").value == pytest.approx(0.45)
    assert check(j, "span").value == pytest.approx(4.05, rel=1e-6)


def test_on_a_sagging_supply_the_span_is_that_of_its_ends() -> None:
    """Closed at 5.0 V and open at 4.6 V of supply: each end has its own, and so has their difference."""
    j = given(seen(end(0.45, supply=5.0), end(4.14, supply=4.6), supply=5.0))
    assert check(j, "closed").value == pytest.approx(0.45)
    assert check(j, "open").value == pytest.approx(4.5)
    assert check(j, "span").value == pytest.approx(4.05)


def test_limits_of_another_sensor_hold_for_measured_volts() -> None:
    fixed_reference = replace(ADJUSTABLE, supply=replace(ADJUSTABLE.supply, ratiometric=False))
    j = given(seen(0.414, 4.14, supply=4.6), fixed_reference)
    assert margin(j, "closed").level_v == pytest.approx(0.414)
    assert margin(j, "open").limit_v == pytest.approx(4.4, abs=1e-3)  # measured supply less the margin
    assert j.verdict is PASS


def test_sensor_ground_is_the_lower_rail() -> None:
    """0.25 V on the meter with sensor ground at 0.12 V is 0.13 V above its rail."""
    trace = replace(TRACE, ground_v=np.full(TRACE.t_s.size, 0.12))
    j = given(seen(0.25, 4.5, supply=5.0), FIXED, trace=trace)
    assert margin(j, "closed").level_v == pytest.approx(5 * 0.13 / 4.88)
    assert margin(j, "closed").verdict is FAIL
    assert given(seen(0.25, 4.5, supply=5.0), FIXED).margins[0].verdict is PASS


def test_without_supply_no_ratio_and_its_range_counts() -> None:
    trace = make_trace(n=600, supply=False)
    blind = seen(0.45, 4.3, supply=math.nan)
    j = given(blind, trace=trace, setup=make_setup(hookup=Hookup.TAPPED))
    assert j.quantities["closed_ratio"].value is None
    assert "not measured" in j.quantities["closed_ratio"].reason
    assert not [c for c in j.checks if c.name == "supply"]
    assert any("4.75 to 5.25 V is assumed" in text for text in j.not_shown)
    # 5 % of 4.3 V, rectangular: 4.3 x 0.25/5/sqrt(3) = 0.124 V standard uncertainty
    assert margin(j, "open").u95 == pytest.approx(RECTANGULAR * 4.3 * 0.05 / math.sqrt(3), rel=0.01)
    assert (j.quantities["open_v"].u95 or 1.0) < 0.01  # the measured volts themselves are as good as ever
    near = replace(blind, high=end(4.5, supply=math.nan))
    j = given(near, trace=trace, setup=make_setup(hookup=Hookup.TAPPED))
    assert j.verdict is UNDECIDED
    assert "Measure the supply" in j.reason


def test_data_that_did_not_come_from_a_rig_says_so() -> None:
    trace = replace(TRACE, source="csv")
    j = given(seen(), trace=trace, calibration=None, front_end=None)
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


def test_rigs_load_is_named_where_the_track_is_unknown() -> None:
    unmeasured = make_setup(track_ohm=None)
    assert any("--track-ohm" in t for t in given(seen(), setup=unmeasured).not_shown)
    assert not any("--track-ohm" in t for t in given(seen()).not_shown)
    hall = given(seen(), load_profile("hall"), setup=make_setup(track_ohm=None, sensor_kind="hall"))
    assert not any("--track-ohm" in t for t in hall.not_shown)


def own_u(q: Quantity) -> float:
    """Standard uncertainty without what all channels share."""
    return math.sqrt(sum(b.contribution**2 for b in q.budget if b.name not in SHARED))


def test_the_uncertainty_of_a_ratio_holds_signal_and_supply() -> None:
    """JCGM 100, 5.1.2: u(V/S)^2 = (u(V)/S)^2 + (V u(S)/S^2)^2, of what the channels do not share."""
    q = given(seen(0.45, 4.5, supply=5.0), calibration=LOOSE).quantities
    v, s, ratio = q["open_v"], q["supply_v"], q["open_ratio"]
    assert ratio.u == pytest.approx(math.hypot(own_u(v) / 5.0, 0.9 * own_u(s) / 5.0), rel=1e-3)
    assert own_u(s) > 0.9 * own_u(v) > 1e-3


def test_an_error_that_all_channels_share_cancels_in_the_ratio() -> None:
    """JCGM 100, 5.2.2: fully correlated contributions add with their signs."""
    q = given(seen(0.45, 4.5, supply=5.0), calibration=LOOSE).quantities
    shared = {b.name: b.contribution for b in q["open_v"].budget if b.name in SHARED}
    # 0.05 % meter, rectangular, on 4.5 V; and a reference that may have moved since the calibration
    assert shared["gain shared by all channels"] == pytest.approx(4.5 * 0.0005 / math.sqrt(3))
    assert shared["reference since the calibration"] > 1e-4
    left = {b.name: b.contribution for b in q["open_ratio"].budget if b.name in SHARED}
    assert len(left) == len(shared) >= 3
    # a raised ground is no gain: V + d over S + d leaves d (1 - V/S) / S
    assert left.pop(GROUND_LEAD) == pytest.approx(shared[GROUND_LEAD] * (1 - 0.9) / 5.0)
    assert max(left.values()) < 1e-9 + 0.002 * max(shared.values())


def test_taking_the_shared_gain_apart_changes_no_total() -> None:
    own = given(seen(), calibration=LOOSE).quantities["open_v"]
    whole = calibration_lines(OPEN_V, calibration=LOOSE, channel=0, front_end=front_end("full"))
    assert own.u == pytest.approx(math.hypot(0.2e-3, math.sqrt(sum(b.contribution**2 for b in whole))))


def test_a_rig_never_calibrated_shares_its_converter() -> None:
    """Nominal reference 1 % and gain are one error in all channels: the ratio is far better than the volts."""
    rig = {"build": "full", "chip": "rp2040", "uid": "x"}
    q = given(seen(0.45, 4.5, supply=5.0), calibration=nominal_calibration(rig)).quantities
    assert (q["open_v"].u95 or 0.0) > 0.03
    assert (q["open_ratio"].u95 or 1.0) < 0.3 * (q["open_v"].u95 or 0.0) / 5.0


def test_each_end_is_put_against_the_supply_of_its_own_rests() -> None:
    sagged = seen(end(0.45, supply=5.0), end(4.14, supply=4.6), supply=4.9)
    j = given(sagged)
    assert margin(j, "closed").level_v == pytest.approx(0.45)
    assert margin(j, "open").level_v == pytest.approx(4.5)
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
    q = given(seen(supply=5.0), own, calibration=LOOSE)
    v, s = q.quantities["open_v"], q.quantities["supply_v"]
    shared = sum(b.u**2 * (OPEN_V - 5.0) ** 2 for b in v.budget if b.name in SHARED)
    assert margin(q, "open").u95 == pytest.approx(
        1.96 * math.sqrt(own_u(v) ** 2 + own_u(s) ** 2 + shared), rel=0.02
    )
    assert margin(q, "closed").u95 == pytest.approx(q.quantities["closed_v"].u95)
    blind = given(seen(supply=math.nan), own, trace=replace(TRACE, supply=None))
    assert margin(blind, "open").u95 == pytest.approx(RECTANGULAR * 0.25 / math.sqrt(3), rel=0.01)


def test_shared_lines_are_added_with_their_signs_and_others_kept() -> None:
    """JCGM 100, 5.2.2, equation 16: one error of 0.1 % in 4.5 V and in -5 V is 0.5 mV, not 9.5 or 6.7."""
    lines = [
        BudgetLine(SHARED[0], "B", "rectangular", 1e-3, "V/V", 4.5, math.inf),
        BudgetLine("scatter", "A", "t", 2e-3, "V", 1.0, 9.0),
        BudgetLine(SHARED[0], "B", "rectangular", 1e-3, "V/V", -5.0, math.inf),
        BudgetLine("scatter", "A", "t", 2e-3, "V", -1.0, 9.0),
    ]
    found = merged(lines)
    assert [b.contribution for b in found if b.name == SHARED[0]] == [pytest.approx(0.5e-3)]
    assert [b.contribution for b in found if b.name == "scatter"] == [2e-3, 2e-3]
    halved = [replace(lines[0], u=0.5e-3), lines[2]]  # the same error told with another u
    assert merged(halved)[0].contribution == pytest.approx(abs(0.5e-3 * 4.5 - 1e-3 * 5.0))


def test_span_keeps_gain_bends_and_reference_not_offset() -> None:
    line = replace(LINE, var_gain=(1e-3 * LINE.gain_v) ** 2)
    calibration = make_calibration(
        channels=tuple(ChannelCalibration(c, line, u_linearity_lsb=2.0) for c in range(3))
    )
    budget = given(seen(0.45, 4.5, supply=5.0), calibration=calibration).quantities["span_v"].budget
    parts = {b.name: b.contribution for b in budget}
    assert math.hypot(parts["gain of the calibration"], parts[SHARED[0]]) == pytest.approx(4.05e-3)
    for side in ("low", "high"):
        assert parts[f"linearity of the converter, {side} end"] == pytest.approx(2 * LINE.gain_v)
        assert parts[f"level of the rests, {side} end"] == pytest.approx(0.2e-3)
    assert parts["reference since the calibration"] > 4.05 * 1e-4
    assert not [name for name in parts if "fit" in name]
    never = given(seen(0.45, 4.5, supply=5.0), calibration=replace(calibration, kind="nominal")).quantities[
        "span_v"
    ]
    assert "reference since the calibration" not in {b.name for b in never.budget}


@pytest.mark.parametrize(("supply_v", "verdict"), [(4.65, PASS), (5.27, PASS), (4.1, FAIL), (5.4, FAIL)])
def test_foreign_data_may_have_either_supply_range(supply_v: float, verdict: Verdict) -> None:
    trace = replace(TRACE, source="csv", supply=Channel(*(np.full(TRACE.t_s.size, supply_v),) * 3))
    assert given(seen(0.09 * supply_v, 0.9 * supply_v, supply=supply_v), trace=trace).verdict is verdict
