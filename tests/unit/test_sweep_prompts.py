"""A sweep's plan, what the operator is asked for, and the screen that says so."""

from __future__ import annotations

import re

import numpy as np
import pytest

from support.courses import course, traces
from sweeprig.bench.sweep.pace import Pace, SweepPlan, fastest_stroke_s, plan_sweep
from sweeprig.bench.sweep.prompts import HOLDS, Step, SweepPrompts, SweepState
from sweeprig.bench.sweep.trigger import Phase
from sweeprig.cli.views.sweep import LEAST_COLUMNS, LEAST_ROWS, fits, plain_line, screen_lines
from sweeprig.cli.views.sweep_face import StepFace, hint_of
from sweeprig.frontend import front_end
from sweeprig.judge.profile import load_profile, shipped_names
from sweeprig.wording.sweep import AT_RAIL, NEVER_RESTS, pace_words
from sweeprig.words import Starts

PROFILE = load_profile("adjustable-potentiometer")
PLAN = plan_sweep(PROFILE, shortest_dropout_s=1e-4)
C, W = 0.45, 4.4  # closed, wide open [V]
THREE = ((1.0, C), (1.5, W), (0.7, W), (1.5, C), (0.7, C), (1.5, W), (1.2, W))
SIZES = ((60, 20), (80, 24), (100, 30), (120, 40))


def states(
    *legs: tuple[float, float], plan: SweepPlan = PLAN, starts: Starts = Starts.CLOSED
) -> list[SweepState]:
    guide = SweepPrompts(PROFILE, plan, starts)
    return [guide.feed(trace) for trace in traces(course(*legs), chunk=20)]


def steps(found: list[SweepState]) -> list[Step]:
    """The steps in their order, each once while it lasts."""
    return [s.step for k, s in enumerate(found) if k == 0 or s.step is not found[k - 1].step]


@pytest.mark.parametrize("name", shipped_names())
@pytest.mark.parametrize("seconds", [None, 2.0, 3.0, 5.0, 8.0, 30.0, 600.0])
@pytest.mark.parametrize("build", ["plain", "full"])
def test_what_is_asked_for_fits_the_time_given(name: str, seconds: float | None, build: str) -> None:
    profile = load_profile(name)
    shortest = front_end(build).shortest_dropout_s("powered")
    plan = plan_sweep(profile, shortest_dropout_s=shortest, seconds=seconds)
    assert plan.asked_s <= plan.longest_s + 1e-9
    assert plan.strokes >= 1
    if seconds is None or seconds >= 5.0:
        assert plan.enough, "five seconds are enough for the strokes that a profile wants"
        assert plan.pace(plan.stroke_s) is Pace.GOOD


def test_too_short_a_time_asks_for_fewer_strokes() -> None:
    plan = plan_sweep(PROFILE, shortest_dropout_s=1e-4, seconds=2.0)
    assert (plan.strokes, plan.wanted, plan.enough) == (1, 3, False)


def test_a_slow_build_asks_for_slow_strokes() -> None:
    """A spot of 0.1 % of travel must last the shortest dropout: 2 ms want 2 s a stroke."""
    assert fastest_stroke_s(2e-3) == pytest.approx(2.0)
    assert fastest_stroke_s(1e-5) == pytest.approx(0.4)
    assert plan_sweep(PROFILE, shortest_dropout_s=2e-3).stroke_s >= 2.0


def test_whoever_follows_the_words_is_done() -> None:
    found = states(*THREE)
    asked = steps(found)
    there, back = [Step.OPEN_SLOWLY, Step.HOLD_OPEN], [Step.AND_BACK, Step.HOLD_CLOSED]
    assert asked == [Step.HOLD_CLOSED, *there, *back, *there, Step.DONE]
    assert found[-1].strokes == 3
    assert found[-1].pace is Pace.GOOD


def test_a_timed_sweep_asks_for_the_first_hold_once() -> None:
    """The signal comes up as the supply does: that is no movement of the lever."""
    timed = plan_sweep(PROFILE, shortest_dropout_s=1e-4, seconds=10.0)
    asked = steps(states((0.02, 0.02), (0.02, C), *THREE, plan=timed))
    assert asked[:4] == [Step.HOLD_CLOSED, Step.OPEN_SLOWLY, Step.HOLD_OPEN, Step.AND_BACK]


def test_a_dropout_at_the_closed_stop_asks_nobody_back() -> None:
    lost = ((0.3, C), (0.05, 0.18), (0.1, 0.18), (0.01, C), (0.6, C))
    asked = steps(states((1.0, C), (1.5, W), (0.7, W), (1.5, C), *lost, (1.5, W), (1.2, W)))
    closed = asked.index(Step.HOLD_CLOSED, 1)
    assert Step.AND_BACK not in asked[closed : asked.index(Step.HOLD_OPEN, closed)]


@pytest.mark.parametrize("seconds", [5.0, 6.0, 8.0])
def test_the_time_asked_for_is_no_edge_of_what_counts(seconds: float) -> None:
    plan = plan_sweep(PROFILE, shortest_dropout_s=1e-4, seconds=seconds)
    assert plan.fastest_s < plan.stroke_s < plan.slowest_s


def test_a_sweep_begun_open_asks_the_other_way() -> None:
    mirrored = tuple((seconds, C + W - v) for seconds, v in THREE)
    asked = steps(states(*mirrored, starts=Starts.OPEN))
    assert asked[:4] == [Step.HOLD_OPEN, Step.CLOSE_SLOWLY, Step.HOLD_CLOSED, Step.AND_BACK]


def test_a_pause_on_the_way_changes_nothing_asked() -> None:
    asked = steps(states((1.0, C), (0.8, 2.0), (0.6, 2.0), (0.8, W), (0.8, W)))
    assert asked == [Step.HOLD_CLOSED, Step.OPEN_SLOWLY, Step.HOLD_OPEN, Step.AND_BACK]


def test_a_short_travel_is_believed_after_a_long_rest() -> None:
    asked = steps(states((1.0, C), (0.8, 2.0), (2.0, 2.0)))
    assert asked == [Step.HOLD_CLOSED, Step.OPEN_SLOWLY, Step.AND_BACK]


@pytest.mark.parametrize(("seconds", "pace"), [(0.25, Pace.TOO_FAST), (1.5, Pace.GOOD), (7.0, Pace.SLOW)])
def test_the_pace_of_a_stroke_is_told(seconds: float, pace: Pace) -> None:
    assert states((1.0, C), (seconds, W), (1.0, W))[-1].pace is pace


@pytest.mark.parametrize(("seconds", "said"), [(0.37, "too fast, 0.3"), (0.46, "good, 0.4")])
def test_a_pace_near_its_limit_has_two_places(seconds: float, said: str) -> None:
    """`too fast, 0.4 s` and `good, 0.4 s` stood one after the other."""
    state = states((1.0, C), (seconds, W), (1.0, W))[-1]
    assert re.fullmatch(rf"pace: {said}\d s", pace_words(state))


def test_the_pace_is_told_while_the_stroke_runs() -> None:
    found = states((1.0, C), (1.5, W), (0.7, W), (0.3, C + 0.2))
    assert found[-1].pace is Pace.TOO_FAST


def test_a_timed_sweep_starts_at_once_and_ends_by_time() -> None:
    plan = plan_sweep(PROFILE, shortest_dropout_s=1e-4, seconds=5.0)
    found = states((6.0, C), plan=plan)
    assert found[0].phase is Phase.RUNNING
    over = next(s for s in found if s.phase is Phase.OVER)
    assert over.seconds == pytest.approx(5.0, abs=0.05)


def test_a_rest_counts_down_and_never_to_nothing() -> None:
    """`0.0 s more` stood on the screen."""
    held = [plain_line(s) for s in states(*THREE) if s.step in HOLDS and not s.waiting]
    left = [float(line.split()[2]) for line in held if "s more" in line]
    assert min(left) == 0.1
    assert max(left) < PLAN.hold_s


def test_dropouts_are_counted_as_they_come_with_their_place() -> None:
    v = course(*THREE)
    at = int(1000 * (1.0 + 0.75))  # half way through the first stroke: half the travel
    v[at : at + 3] = 0.02
    guide = SweepPrompts(PROFILE, PLAN)
    found = [guide.feed(trace) for trace in traces(v, chunk=20)]
    assert [s.dropouts for s in found if s.seconds < 0.7] == [0] * sum(s.seconds < 0.7 for s in found)
    assert found[-1].dropouts == 1
    assert found[-1].dropout_percent == pytest.approx(50, abs=3)
    assert "DROPOUTS 1, the last near" in "\n".join(screen_lines(found[-1], 80, 24))


@pytest.mark.parametrize("lost_s", [0.005, 0.03, 0.08])
def test_a_contact_that_is_lost_for_a_moment_is_no_stroke(lost_s: float) -> None:
    v = course(*THREE)
    for at_s in (0.4, 1.75, 2.8, 3.0, 4.0, 5.7):  # at the stops and on the way
        v[int(1000 * at_s) : int(1000 * (at_s + lost_s))] = 0.02
    guide = SweepPrompts(PROFILE, PLAN)
    assert [guide.feed(trace) for trace in traces(v, chunk=20)][-1].strokes == 3


def test_a_stroke_with_pauses_counts_once() -> None:
    there = ((1.0, C), (1.5, W), (0.7, W))
    found = states(*there, (0.8, 3.0), (0.6, 3.0), (0.5, 2.0), (0.4, 2.0), (0.8, C), (0.8, C))
    assert found[-1].strokes == 2
    assert found[-1].stroke_s == pytest.approx(2.1, abs=0.2), "the time that the lever moved"


@pytest.mark.parametrize("stroke_s", [0.3, 1.0, 3.0])
def test_a_sound_sensor_shows_no_dropout_at_any_pace(stroke_s: float) -> None:
    found = states((1.0, C), (stroke_s, W), (0.7, W), (stroke_s, C), (0.7, C), (stroke_s, W), (1.2, W))
    assert found[-1].dropouts == 0
    assert "no dropout so far" in "\n".join(screen_lines(found[-1], 60, 20))


def never_at_rest(seconds: float) -> list[SweepState]:
    """Between two levels every 40 ms: a signal that is not analogue."""
    guide, n = SweepPrompts(PROFILE, PLAN), round(seconds / 0.001)
    v = np.where(np.arange(n) // 40 % 2, 0.2, 1.1)
    return [guide.feed(trace) for trace in traces(v, chunk=20)]


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_a_signal_that_never_rests_is_named_after_seconds(width: int, height: int) -> None:
    found = never_at_rest(8.0)
    early, late = found[: int(4.9 / 0.02)], found[int(5.1 / 0.02) :]
    assert not any(state.unrest_s for state in early)
    assert all(state.waiting and state.unrest_s for state in late)
    text = " ".join(" ".join(screen_lines(late[-1], width, height)).split())
    assert NEVER_RESTS in text
    assert NEVER_RESTS in plain_line(late[-1])


def test_plain_lines_say_once_that_nothing_rests(capsys: pytest.CaptureFixture[str]) -> None:
    face = StepFace(lambda: False, keys=lambda: "")
    for state in never_at_rest(8.0):
        face.show(state)
    lines = capsys.readouterr().err + capsys.readouterr().out
    assert " ".join(lines.split()).count("never rests") == 1


@pytest.mark.parametrize(
    ("level_v", "name"), [(0.0, "sensor ground"), (0.08, "sensor ground"), (5.0, "the supply")]
)
@pytest.mark.parametrize(("width", "height"), SIZES)
def test_a_signal_that_lies_at_a_rail_is_named_after_seconds(
    level_v: float, name: str, width: int, height: int
) -> None:
    found = states((6.0, level_v))
    early, late = found[: int(2.9 / 0.02)], found[int(3.1 / 0.02) :]
    assert not any(state.at_rail for state in early)
    assert {state.at_rail for state in late} == {name}
    text = " ".join(" ".join(screen_lines(late[-1], width, height)).split())
    assert AT_RAIL.format(name) in text
    assert AT_RAIL.format(name) in plain_line(late[-1])


@pytest.mark.parametrize(
    ("found", "left"), [(states((7.0, 1.0)), 113), (states((7.0, 0.0)), 13), (never_at_rest(8.0), 22)]
)
def test_a_sweep_that_waits_says_for_how_long(found: list[SweepState], left: int) -> None:
    """Two minutes for a lever to move, 20 s at a rail, 30 s for a signal to rest."""
    assert found[-1].waiting
    for width, height in SIZES:
        assert f"waiting, ends in {left} s" in screen_lines(found[-1], width, height, title="shelf 3")[0]
    assert "ends in" not in screen_lines(states(*THREE)[-1], 80, 24)[0]


def test_nothing_is_said_of_a_rail_once_the_lever_moves() -> None:
    found = states((6.0, 0.0), (1.5, W), (6.0, W), (1.5, 0.0), (6.0, 0.0))
    assert not any(state.at_rail for state in found if not state.waiting)
    assert not any(state.at_rail for state in states((60.0, 0.15)))


def test_plain_lines_say_once_that_the_signal_lies_at_a_rail(capsys: pytest.CaptureFixture[str]) -> None:
    face = StepFace(lambda: False, keys=lambda: "")
    for state in states((10.0, 0.0)):
        face.show(state)
    lines = capsys.readouterr().err
    assert " ".join(lines.split()).count("at sensor ground") == 1


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_the_screen_fits_and_says_what_to_do(width: int, height: int) -> None:
    assert fits(width, height)
    for state in states(*THREE)[::7]:
        lines = screen_lines(state, width, height, title="adjustable-potentiometer, powered", hint="q ends")
        assert len(lines) <= height
        assert max(len(line) for line in lines) <= width
        text = "\n".join(lines)
        assert f"strokes {state.strokes} of 3" in text
        assert "…" not in text, "no words are cut"


@pytest.mark.parametrize(("width", "height"), SIZES)
@pytest.mark.parametrize(
    "named", ["shelf 3", "adjustable-potentiometer", "a sensor that has a very long name"]
)
def test_the_head_keeps_simulated_and_the_label(named: str, width: int, height: int) -> None:
    for state in states(*THREE)[::40]:
        head = screen_lines(state, width, height, title=f"SIMULATED, {named}, powered")[0]
        assert len(head) <= width
        assert f"SIMULATED, {named}" in head
        assert ("waiting" if state.waiting else f"{state.seconds:.1f}") in head


def test_a_longer_name_than_fits_is_cut_between_words() -> None:
    state = states(*THREE)[0]
    assert screen_lines(state, 60, 20, title=f"SIMULATED, {'box ' * 20}, powered")[0].startswith(
        "  SIMULATED, box box"
    )


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_before_the_first_reading_no_figure_is_left_blank(width: int, height: int) -> None:
    state = SweepPrompts(PROFILE, PLAN).state()
    text = "\n".join(screen_lines(state, width, height))
    assert "FIRST READING" in text
    assert "NO READING" not in text
    assert "not observed" not in text
    assert "seen  " not in text


def test_the_words_do_not_depend_on_colour() -> None:

    state = states(*THREE)[60]
    plain = screen_lines(state, 80, 24)
    painted = screen_lines(state, 80, 24, colour=True)
    assert [re.sub(r"\x1b\[[0-9;]*m", "", line) for line in painted] == plain


def test_a_small_terminal_gets_plain_lines_of_whole_words() -> None:
    assert not fits(LEAST_COLUMNS - 1, LEAST_ROWS)
    state = states(*THREE)[20]
    assert (
        plain_line(state)
        == "OPEN SLOWLY: Move the lever to begin: about 1.5 s to the other stop. (strokes 0 of 3)"
    )


def asking(*answers: int) -> tuple[SweepPrompts, list[int]]:
    """A guide of a sweep whose strokes leave something open so many times, and what was asked."""
    left, asked = list(answers), []

    def more() -> int:
        asked.append(left.pop(0) if left else 0)
        return asked[-1]

    return SweepPrompts(PROFILE, PLAN, Starts.CLOSED, more), asked


def fed(guide: SweepPrompts, *legs: tuple[float, float]) -> list[SweepState]:
    return [guide.feed(trace) for trace in traces(course(*legs), chunk=20)]


TWO_MORE = ((1.5, C), (0.7, C), (1.5, W), (1.2, W))


def test_strokes_that_would_decide_are_taken_in_the_same_run() -> None:
    guide, asked = asking(2)
    found = fed(guide, *THREE, *TWO_MORE)
    over = next(k for k, s in enumerate(found) if s.phase is Phase.OVER)
    assert (found[over].strokes, found[over].plan.strokes, found[over].added_strokes) == (5, 5, 2)
    assert asked == [2, 0], "asked again once they were taken"
    longer = next(s for s in found if s.added_strokes)
    assert longer.plan.longest_s > PLAN.longest_s
    assert longer.step is Step.AND_BACK
    assert "strokes 3 of 5, 2 more to decide" in plain_line(longer)
    said = {s.strokes: plain_line(s) for s in found if s.added_strokes and s.phase is not Phase.OVER}
    assert "strokes 4 of 5, 1 more to decide" in said[4], "it counts down"
    assert "to decide" not in said[5]
    assert any("2 more strokes" in text for text in guide.seen)


def test_strokes_asked_for_that_nobody_makes_are_left_out() -> None:
    found = fed(asking(2)[0], *THREE, (12.0, W))
    over = next(s for s in found if s.phase is Phase.OVER)
    assert (over.strokes, over.plan.strokes) == (3, 5)
    assert over.seconds == pytest.approx(1.5 + 0.7 + 1.5 + 0.7 + 1.5 + 8.0, abs=0.3)


def test_nothing_open_ends_a_sweep_as_ever() -> None:
    guide, asked = asking(0)
    assert steps(fed(guide, *THREE)) == steps(states(*THREE))
    assert asked == [0]


def test_a_timed_sweep_asks_for_no_more() -> None:
    guide, asked = asking(2)
    timed = SweepPrompts(PROFILE, plan_sweep(PROFILE, shortest_dropout_s=1e-4, seconds=8.0), more=guide.more)
    fed(timed, *THREE, (4.0, W))
    assert asked == []


def test_a_sweep_is_made_longer_twice_at_most() -> None:
    guide, asked = asking(1, 1, 1)
    fed(guide, *THREE, (1.5, C), (1.2, C), (1.5, W), (1.2, W), (1.5, C), (1.2, C))
    assert asked == [1, 1]


def test_no_stroke_is_asked_for_once_there_are_enough() -> None:
    """A hand that goes on all the same is told to hold still, and its strokes are counted as they are."""
    found = states(*THREE[:-1], (0.2, W), (1.5, C), (0.2, C), (1.5, W), (0.2, W))
    after = [s for s in found if s.strokes >= 3 and s.phase is not Phase.OVER]
    assert {s.step for s in after} <= {Step.HOLD_STILL, Step.HOLD_OPEN, Step.HOLD_CLOSED}
    assert "strokes 4, 3 are enough" in plain_line(next(s for s in found if s.strokes == 4))


def test_the_screen_names_the_range_of_a_good_pace() -> None:
    opening = next(s for s in states(*THREE) if s.step is Step.OPEN_SLOWLY and s.phase is Phase.RUNNING)
    assert f"{PLAN.fastest_s:.1f} to {PLAN.slowest_s:.1f} s is accepted" in plain_line(opening)


def test_enter_is_named_only_while_it_starts_something() -> None:
    found = states(*THREE)
    assert "Enter" in hint_of(found[0])
    assert all("Enter" not in hint_of(s) for s in found if not s.waiting)
