"""Turning a sensor: both ends shift together, and the promise about the open end comes first."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from support import outcomes
from support.day_traces import flat_trace
from sweeprig.bench.aim.aim import (
    Ends,
    Mount,
    check_mount,
    check_steepness,
    check_target,
    plan,
    window_for,
)
from sweeprig.bench.aim.text import (
    LEVER_OPEN,
    AimGuide,
    ends_of,
    not_mended,
    parse_angle,
    per_degree,
    plan_json,
    plan_lines,
    steer,
)
from sweeprig.bench.readings.watch import Watcher
from sweeprig.errors import InputError, SafetyError
from sweeprig.judge.profile import load_profile
from sweeprig.wording.live import facts
from sweeprig.words import Sense

# Targets 0.4 to 0.5 V at closed and 4.0 to 4.7 V at open: common practice, no source.
PROFILE = load_profile("adjustable-potentiometer")


def test_rising_sensor_mounted_low_is_moved_up() -> None:
    p = plan(Ends(0.12, 3.97, 5.0, 0.01), PROFILE)
    assert p.possible
    assert p.move_v == pytest.approx(0.33)
    assert p.predicted_closed_v == pytest.approx(0.45)
    assert p.predicted_open_v == pytest.approx(4.30)
    assert p.predicted_lower_margin_v == pytest.approx(0.45)
    assert p.predicted_upper_margin_v == pytest.approx(0.70)


def test_ratiometric_sensor_scales_with_measured_supply() -> None:
    p = plan(Ends(0.12 * 0.9, 3.97 * 0.9, 4.5), PROFILE)
    assert p.move_v == pytest.approx(0.33 * 0.9)
    assert p.window.target_v == pytest.approx(0.405)
    assert p.upper_limit_v == pytest.approx(0.18)


def test_falling_sensor_is_the_mirror_image() -> None:
    rising = plan(Ends(0.12, 3.97, 5.0), PROFILE)
    falling = plan(Ends(5.0 - 0.12, 5.0 - 3.97, 5.0), PROFILE)
    assert falling.move_v == pytest.approx(-rising.move_v)
    assert falling.predicted_upper_margin_v == pytest.approx(rising.predicted_lower_margin_v)
    assert window_for(PROFILE, sense=Sense.FALLING, supply_v=5.0).target_v == pytest.approx(4.55)


def test_no_position_will_do_when_the_ends_are_too_far_apart() -> None:
    p = plan(Ends(0.05, 4.90, 5.0), PROFILE)
    assert not p.possible
    assert "4.850 V apart" in p.reason
    assert "only 4.600 V fit" in p.reason


def test_no_position_when_the_open_end_leaves_its_range() -> None:
    p = plan(Ends(0.80, 5.0, 5.5), replace(PROFILE, supply=replace(PROFILE.supply, ratiometric=False)))
    assert p.possible  # 4.65 V at open is inside 4.0 to 4.7 V
    short = plan(Ends(0.80, 3.90, 5.0), PROFILE)
    assert not short.possible
    assert "open end would be at 3.550 V" in short.reason


def test_no_turn_is_asked_where_both_ends_fit() -> None:
    inside = plan_lines(Ends(0.452, 4.30, 5.0), plan(Ends(0.452, 4.30, 5.0), PROFILE))
    assert "No turn is needed: both ends fit where they are." in inside
    outside = plan_lines(Ends(0.60, 4.40, 5.0), plan(Ends(0.60, 4.40, 5.0), PROFILE))
    assert not any("No turn" in line for line in outside)


def test_uncertainty_of_the_ends_can_close_the_last_gap() -> None:
    ends = Ends(0.45, 4.69, 5.0)
    assert plan(ends, PROFILE).possible
    assert not plan(replace(ends, closed_u95_v=0.2, open_u95_v=0.2), PROFILE).possible


def test_uncertainty_counts_at_both_rails() -> None:
    wide = replace(PROFILE, limits=replace(PROFILE.limits, open=None))
    for ends in (Ends(0.45, 4.79, 5.0), Ends(4.55, 0.21, 5.0)):
        assert plan(ends, wide).possible
        assert not plan(replace(ends, closed_u95_v=0.05, open_u95_v=0.05), wide).possible


def test_place_beside_a_target_that_breaks_a_limit_is_taken() -> None:
    p = plan(Ends(0.45, 4.71, 5.0), PROFILE)  # at the target the open end is 10 mV beyond 4.7 V
    assert p.possible
    assert p.predicted_open_v == pytest.approx(4.70)
    assert any("Not the middle" in r for r in p.remarks)


def test_an_end_at_its_rail_is_said_to_hide_travel() -> None:
    p = plan(Ends(0.02, 4.0, 5.0), PROFILE)
    assert any("hidden" in r for r in p.remarks)


def test_typed_target_replaces_the_profiles_aim() -> None:
    bare = replace(PROFILE, aim=None)
    check_mount("slotted", bare, target_v=0.6)
    p = plan(Ends(0.45, 4.2, 5.0), bare, target_v=0.6)
    assert p.predicted_closed_v == pytest.approx(0.6)
    with pytest.raises(InputError, match="no target"):
        check_mount("slotted", bare)


@pytest.mark.parametrize("mount", [m for m in Mount if m is not Mount.SLOTTED])
def test_every_other_mount_is_refused_with_its_reason(mount: Mount) -> None:
    with pytest.raises(SafetyError, match="cannot be adjusted"):
        check_mount(mount, PROFILE)


def test_mount_that_nobody_named_is_asked_for() -> None:
    with pytest.raises(InputError, match="mount is not known"):
        check_mount("", PROFILE)


def test_degrees_come_from_typed_or_measured_volts_per_degree() -> None:
    assert per_degree((0.0, 0.31), (5.0, 0.56)) == pytest.approx(0.05)
    assert per_degree(parse_angle("0=0.31"), parse_angle("-5=0.56")) == pytest.approx(-0.05)
    assert plan(Ends(0.12, 3.97, 5.0), PROFILE, volts_per_degree=0.05).degrees == pytest.approx(6.6)
    with pytest.raises(InputError, match="too close"):
        per_degree((0.0, 0.31), (0.5, 0.33))
    with pytest.raises(InputError, match="not an angle"):
        parse_angle("five=0.3")


def test_direction_is_up_when_the_reading_is_below_the_target() -> None:
    window = window_for(PROFILE, sense=Sense.RISING, supply_v=5.0)
    low = steer(0.12, window, volts_per_degree=0.05)
    assert not low.inside
    assert low.text.startswith("UP")
    assert "0.330 V, 6.6 degrees" in low.text
    assert steer(0.60, window).text.startswith("DOWN")
    assert steer(0.455, window).inside


def test_guide_is_reached_only_after_a_steady_second_inside() -> None:
    window = window_for(PROFILE, sense=Sense.RISING, supply_v=5.0)
    guide, watcher = AimGuide(window, window.target_v), Watcher(PROFILE)
    reached = []
    for k, volts in enumerate([0.45, 0.60, 0.45, 0.45, 0.45]):
        watcher.feed(flat_trace(volts, start_s=0.5 * k, seconds=0.5))
        reached.append(guide.reached(guide.adorn(watcher.state())))
    assert reached == [False, False, False, False, True]
    assert guide.adorn(watcher.state()).target == (window.low_v, 0.45, window.high_v)
    shown = " ".join(texts[0] for texts in facts(guide.adorn(watcher.state())))
    assert "supply" in shown
    for noise in ("single conversions", "sense", "lever"):
        assert noise not in shown
        assert noise in " ".join(texts[0] for texts in facts(watcher.state()))


@pytest.mark.parametrize(("closed_v", "open_v"), [(0.12, 3.97), (4.88, 1.03)])
def test_lever_left_open_is_closed_before_the_sensor_is_turned(closed_v: float, open_v: float) -> None:
    ends = Ends(closed_v, open_v, 5.0)
    window = window_for(PROFILE, sense=ends.sense, supply_v=5.0)

    def asked(volts: float) -> tuple[str, bool]:
        guide, watcher = AimGuide(window, window.target_v, ends=ends), Watcher(PROFILE)
        watcher.feed(flat_trace(volts, start_s=0.0, seconds=2.0))
        state = guide.adorn(watcher.state())
        return state.message, guide.inside

    assert asked(open_v) == (LEVER_OPEN, False)
    assert asked(closed_v)[0].startswith("UP" if ends.sense is Sense.RISING else "DOWN")
    assert asked(window.target_v)[1]


def test_plan_is_told_as_text_and_json() -> None:
    ends = Ends(0.12, 3.97, 5.0, 0.007, 0.05)
    text = "\n".join(plan_lines(ends, plan(ends, PROFILE, volts_per_degree=0.05)))
    assert "Raise the closed reading by 0.330 V (+6.60 degrees)." in text
    assert "open 4.300 V" in text
    assert "closed 0.120 ± 0.007 V, open 3.970 ± 0.050 V" in text
    data = plan_json(ends, plan(ends, PROFILE))
    assert (data["closed_v"]["u95"], data["open_v"]["u95"]) == (0.007, 0.05)
    assert data["possible"] is True
    assert data["move_deg"] is None


def test_the_plan_says_that_each_end_fits_and_what_its_limit_is() -> None:
    ends = Ends(0.12 * 1.005, 3.97 * 1.005, 5.025, 0.007, 0.05)
    text = "\n".join(plan_lines(ends, plan(ends, PROFILE)))
    assert "closed 0.452 V, fits (allowed 0.432 to 0.472 V);" in text
    assert "open 4.321 V, fits (allowed 4.02 to 4.72 V);" in text
    assert "limit 0.201 V at this supply, 0.200 V at 5 V" in text
    at_nominal = Ends(0.12, 3.97, 5.0, 0.007, 0.05)
    assert "limit 0.200 V)" in "\n".join(plan_lines(at_nominal, plan(at_nominal, PROFILE)))


def test_each_end_counts_with_its_own_uncertainty() -> None:
    ends = Ends(0.45, 4.69, 5.0)
    assert plan(replace(ends, closed_u95_v=0.2), PROFILE).possible
    assert not plan(replace(ends, open_u95_v=0.2), PROFILE).possible
    falling = Ends(4.55, 0.31, 5.0)
    assert plan(replace(falling, closed_u95_v=0.2), PROFILE).possible
    assert not plan(replace(falling, open_u95_v=0.2), PROFILE).possible


def test_ends_of_a_sweep_keep_the_judgements_own_uncertainties() -> None:
    made = outcomes.outcome()
    found = dict(made.judgement.quantities)
    found["closed_v"] = replace(found["closed_v"], u95=0.007)
    found["open_v"] = replace(found["open_v"], u95=0.087)
    ends = ends_of(replace(made, judgement=replace(made.judgement, quantities=found)))
    assert (ends.closed_u95_v, ends.open_u95_v) == (0.007, 0.087)


@pytest.mark.parametrize("volts", [math.nan, math.inf, 9.0, -1.0, 0.0, 4.9])
def test_target_that_no_closed_end_can_have_is_refused(volts: float) -> None:
    with pytest.raises(InputError, match="target for the closed end is out of range") as caught:
        check_target(volts, PROFILE)
    assert f"--target {volts:g}" in caught.value.seen
    assert "0.2 to 4.8 V" in caught.value.limit
    assert caught.value.next_step
    check_target(0.6, PROFILE)


@pytest.mark.parametrize("slope", [0.0, math.nan, -0.05, math.inf, 40.0, 1e-9])
def test_steepness_of_no_sensor_is_refused(slope: float) -> None:
    with pytest.raises(InputError, match="volts per degree are out of range") as caught:
        check_steepness(slope)
    assert f"{slope:g}" in caught.value.seen
    check_steepness(0.045)


@pytest.mark.parametrize("text", ["nan=0.3", "3=nan", "inf=0.3", "3=", "3"])
def test_angle_without_a_number_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="not an angle"):
        parse_angle(text)


def test_plan_that_is_not_possible_gives_its_reason_once() -> None:
    ends = Ends(0.05, 4.90, 5.0)
    p = plan(ends, PROFILE)
    assert not any("No position" in line for line in plan_lines(ends, p)), "the caller shows p.reason"
    assert p.reason.startswith("No position is within limits")


def test_a_fault_that_turning_does_not_mend_is_said() -> None:
    assert not_mended(outcomes.outcome()) == ""
    words = not_mended(outcomes.outcome(worn=True))
    assert words.startswith("Turning does not repair this fault: worn spot. ")
    assert "replace the sensor" in words
