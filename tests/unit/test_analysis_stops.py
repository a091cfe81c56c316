"""Ends come from rests at a stop, whatever the hand does on its way there and back."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from support.judge_cases import ADJUSTABLE
from support.lever import WINDOW_S, Legs, changed, lever, sensed, strokes
from support.outcomes import CLOSED_V, OPEN_V, make_setup
from sweeprig.analysis.analyse import analyse
from sweeprig.analysis.model import Analysis, Cause, Code
from sweeprig.analysis.visits import Visit, stop_of
from sweeprig.capture.model import FloatArray, Sense, Starts, Trace
from sweeprig.judge.judge import judge
from sweeprig.judge.model import Judgement, Verdict

SPAN_V = OPEN_V - CLOSED_V


def look(trace: Trace) -> Analysis:
    return analyse(trace, starts=Starts.CLOSED, given_sense=Sense.UNKNOWN)


def verdict_on(legs: Legs, *, start: float = 0.0, low: float = 0.45, high: float = 4.5) -> Judgement:
    trace = sensed(lever(legs, start=start), low=low, high=high)
    return judge(analysis=look(trace), trace=trace, setup=make_setup(), profile=ADJUSTABLE)


def paused(at: float, stay_s: float) -> Legs:
    """Three strokes each way that pause at one place short of an end, on the way there or back."""
    legs: Legs = [(0.0, 0.5)]
    for k in range(6):
        to = float(k % 2 == 0)
        legs += [(at, 0.7), (at, stay_s), (to, 0.2), (to, 0.5)]
    return legs


@pytest.mark.parametrize("at", [0.02, 0.03, 0.05, 0.08, 0.92, 0.96, 0.98])
@pytest.mark.parametrize("stay_s", [0.2, 1.0])
def test_a_pause_beside_a_stop_is_no_rest_at_the_end(at: float, stay_s: float) -> None:
    found = look(sensed(lever(paused(at, stay_s))))
    assert found.findings == ()
    assert found.low is not None
    assert found.high is not None
    assert found.low.value_v == pytest.approx(CLOSED_V, abs=5e-4)
    assert found.high.value_v == pytest.approx(OPEN_V, abs=5e-4)
    assert max(found.low.spread_v, found.high.spread_v) < 1e-3


def lifted(trace: Trace, *, at: float, depth: float, for_s: float) -> Trace:
    """The wiper lifts at one place in every pass, for a time, by a share of the way to ground."""
    mean = trace.signal_a.mean_v
    level = CLOSED_V + at * SPAN_V
    by = np.zeros(mean.size)
    n = max(1, round(for_s / WINDOW_S))
    for k in np.flatnonzero(np.diff(np.sign(mean - level))):
        by[k : k + n] = -depth * mean[k : k + n]
    return replace(trace, signal_a=changed(trace.signal_a, by))


@pytest.mark.parametrize("for_s", [0.002, 0.015, 0.06])
@pytest.mark.parametrize("at", [0.10, 0.25])
def test_long_lifts_near_closed_leave_the_ends_alone(at: float, for_s: float) -> None:
    found = look(lifted(sensed(lever(strokes([0.9] * 6))), at=at, depth=0.9, for_s=for_s))
    assert found.low is not None
    assert found.low.value_v == pytest.approx(CLOSED_V, abs=1.5e-3)
    worn = next(f for f in found.findings if f.code == "worn-spot")
    assert worn.where_percent is not None
    assert sum(worn.where_percent) / 2 == pytest.approx(100 * at, abs=1.5)


def test_a_bounce_off_the_stop_and_a_relaxing_hand_are_sound() -> None:
    legs: Legs = [(0.0, 0.5)]
    for k in range(6):
        to = float(k % 2 == 0)
        back = abs(to - 0.06)
        legs += [(to, 0.6), (back, 0.04), (to, 0.04), (to, 0.5)]
    found = look(sensed(lever(legs)))
    assert found.findings == ()
    assert found.low is not None
    assert found.low.value_v == pytest.approx(CLOSED_V, abs=5e-4)


def test_half_strokes_are_undecided_and_nobody_turns_the_sensor() -> None:
    legs: Legs = [(0.0, 0.5)]
    for turn in (0.62, 0.55, 0.7, 0.58):
        legs += [(turn, 0.6), (turn, 0.4), (0.0, 0.6), (0.0, 0.5)]
    judged = verdict_on(legs)
    assert judged.verdict is Verdict.UNDECIDED
    assert "stop to stop" in judged.reason
    assert "Turn the sensor" not in " ".join(f.next_step for f in judged.findings)


def test_turns_without_a_rest_near_one_rest_are_short_of_a_stop() -> None:
    """Half strokes: of four turns one had a rest; it was a stop that most visits met, and the sensor failed."""
    ends = ((2.3295, 0), (2.3735, 1), (2.3681, 0), (2.4038, 0))
    opened = tuple(Visit(False, v, tuple(range(n)), turn_v=v) for v, n in ends)
    closed = tuple(Visit(True, 0.452, (k + 1,), turn_v=0.452) for k in range(5))
    stop = stop_of((*closed, *opened), low=False)
    assert stop is not None
    assert (stop.agree, len(stop.visits), len(stop.short)) == (2, 1, 3)


def test_a_short_track_that_stops_at_one_level_still_fails() -> None:
    assert verdict_on(strokes([0.7] * 6), high=3.2).verdict is Verdict.FAIL


def test_partial_strokes_between_whole_ones_pass() -> None:
    legs = [*strokes([0.7] * 4), (0.5, 0.4), (0.5, 0.3), (0.0, 0.4), (0.0, 0.5), *strokes([0.7, 0.7])]
    assert verdict_on(legs).verdict is Verdict.PASS


def test_a_sweep_begun_open_is_undecided_and_says_so() -> None:
    legs: Legs = [(1.0, 0.5)]
    for k in range(6):
        to = float(k % 2)
        legs += [(to, 0.7), (to, 0.5)]
    judged = verdict_on(legs, start=1.0, high=4.4)
    assert judged.verdict is Verdict.UNDECIDED
    assert "began at the other end: then rising" in judged.reason
    assert "Turn the sensor" not in " ".join(f.next_step for f in judged.findings)


def test_a_sweep_begun_half_way_is_undecided() -> None:
    judged = verdict_on([(0.5, 0.5), (1.0, 0.5), (1.0, 0.5), *strokes([0.7] * 5)[1:]], start=0.5)
    assert judged.verdict is Verdict.UNDECIDED


def test_two_visits_that_differ_give_no_small_interval() -> None:
    """Unequal rests at the stop: the interval holds their scatter."""
    x = lever(strokes([0.7] * 6))
    trace = sensed(x)
    step = np.where(np.arange(x.size) > x.size // 2, 0.02, 0.0)
    moved = replace(trace, signal_a=changed(trace.signal_a, step))
    judged = judge(analysis=look(moved), trace=moved, setup=make_setup(), profile=ADJUSTABLE)
    low, end = judged.quantities["low_v"], look(moved).low
    assert end is not None
    assert low.u95 is not None
    assert low.u95 >= end.spread_v


def test_rests_of_one_visit_are_one() -> None:
    """A lever that closes, lifts by 3 % and closes again has been there once."""
    legs: Legs = [(0.0, 0.5)]
    for _ in range(3):
        legs += [(1.0, 0.7), (1.0, 0.5), (0.0, 0.7), (0.0, 0.3), (0.03, 0.1), (0.0, 0.1), (0.0, 0.3)]
    found = look(sensed(lever(legs)))
    assert found.low is not None
    assert found.low.n_rests == 4


@pytest.mark.parametrize("shift_v", [-0.06, -0.03, 0.02, 0.03, 0.06])
@pytest.mark.parametrize("at", [0.3, 0.55, 0.75])
def test_a_mount_that_slips_is_found(shift_v: float, at: float) -> None:
    x = lever(strokes([0.7] * 6))
    trace = sensed(x)
    after = np.where(np.arange(x.size) > at * x.size, shift_v, 0.0)
    moved = replace(trace, signal_a=changed(trace.signal_a, after))
    (finding,) = look(moved).findings
    assert (finding.code, finding.cause) == (Code.ENDS_NOT_REPEATED, Cause.MOUNTING)
    assert finding.severity == "fault"
    assert finding.numbers["shift_v"] == pytest.approx(shift_v, abs=2e-3)


@pytest.mark.parametrize("shift_v", [-0.03, 0.03, 0.06])
def test_a_slip_after_the_last_visit_of_one_end_is_a_doubt(shift_v: float) -> None:
    """On the last stroke: the other end is not met any more, so only one end shows it."""
    x = lever(strokes([0.7] * 6))
    last = np.flatnonzero(x == 1)[-1]
    trace = sensed(x)
    moved = replace(
        trace, signal_a=changed(trace.signal_a, np.where(np.arange(x.size) > last + 300, shift_v, 0.0))
    )
    (finding,) = look(moved).findings
    assert (finding.code, finding.severity) == (Code.ENDS_NOT_REPEATED, "doubt")


@pytest.mark.parametrize("shift_v", [-0.012, 0.009])
@pytest.mark.parametrize("at", [0.3, 0.55, 0.75])
def test_a_small_slip_that_both_ends_show_is_a_doubt(shift_v: float, at: float) -> None:
    """Below 0.3 % of supply, where a hand that presses in just that way cannot be ruled out."""
    x = lever(strokes([0.7] * 6))
    trace = sensed(x)
    after = np.where(np.arange(x.size) > at * x.size, shift_v, 0.0)
    (finding,) = look(replace(trace, signal_a=changed(trace.signal_a, after))).findings
    assert (finding.code, finding.severity) == (Code.ENDS_NOT_REPEATED, "doubt")
    assert finding.numbers["shift_v"] == pytest.approx(shift_v, abs=2e-3)


@pytest.mark.parametrize("n", [6, 12])
@pytest.mark.parametrize(
    ("end", "by_v"), [(0.0, 0.015), (0.0, 0.05), (0.0, 0.13), (1.0, -0.015), (1.0, -0.05)]
)
def test_one_visit_that_stands_off_the_others_is_a_doubt(n: int, end: float, by_v: float) -> None:
    """A mount that slips and comes back, a ground that moves for a time, or a lever short of its stop."""
    x = lever(strokes([0.7] * n))
    visits = np.cumsum(np.abs(np.diff((x == end).astype(int), prepend=0)) > 0)
    numbers = np.unique(visits[x == end])
    here = np.flatnonzero((x == end) & (visits == numbers[1]))
    soft = np.interp(
        np.arange(x.size), [here[0] - 200, here[0], here[-1], here[-1] + 200], [0, by_v, by_v, 0]
    )
    trace = sensed(x)
    (finding,) = look(replace(trace, signal_a=changed(trace.signal_a, soft))).findings
    assert (finding.code, finding.severity) == (Code.ENDS_NOT_REPEATED, "doubt")
    assert f"{'open' if end else 'closed'} end" in finding.evidence


def test_a_first_visit_that_stands_off_the_others_is_a_doubt() -> None:
    x = lever(strokes([0.7] * 6))
    begin = np.arange(x.size) < np.flatnonzero(x > 0.02)[0]
    trace = sensed(x)
    (finding,) = look(replace(trace, signal_a=changed(trace.signal_a, np.where(begin, 0.03, 0.0)))).findings
    assert (finding.code, finding.severity) == (Code.ENDS_NOT_REPEATED, "doubt")
    assert "the first time" in finding.evidence


def test_pressing_harder_and_softer_is_no_slip() -> None:
    rng = np.random.default_rng(8)
    x = lever(strokes([0.7] * 6))
    trace = sensed(x)
    ends = np.where((x <= 0) | (x >= 1), 1.0, 0.0)
    visits = np.cumsum(np.abs(np.diff(ends, prepend=1.0)) > 0)
    press = rng.uniform(-6e-3, 6e-3, int(visits.max()) + 1)[visits] * ends
    assert look(replace(trace, signal_a=changed(trace.signal_a, press))).findings == ()


@pytest.mark.parametrize(("end", "by_v"), [(0.0, -0.03), (1.0, 0.03)])
def test_one_visit_beyond_the_stop_leaves_a_doubt(end: float, by_v: float) -> None:
    x = lever(strokes([0.7] * 7))
    visits = np.cumsum(np.abs(np.diff((x == end).astype(int), prepend=0)) > 0)
    once = np.where((x == end) & (visits == visits[x == end][len(x[x == end]) // 2]), by_v, 0.0)
    trace = sensed(x)
    (finding,) = look(replace(trace, signal_a=changed(trace.signal_a, once))).findings
    assert (finding.code, finding.severity) == (Code.ENDS_NOT_REPEATED, "doubt")


@pytest.mark.parametrize("stay_s", [0.0, 0.015, 0.1])
def test_turns_further_out_than_the_rests_are_undecided(stay_s: float) -> None:
    """The lever rests 6 % before its stop and only touches it: where it rests is no end."""
    legs: Legs = [(0.06, 0.5)]
    for _ in range(3):
        legs += [(1.0, 0.7), (1.0, 0.5), (0.0, 0.7), *([(0.0, stay_s)] if stay_s else [])]
    judged = verdict_on([*legs, (0.06, 0.1), (0.06, 0.5)], start=0.06)
    assert judged.verdict is Verdict.UNDECIDED
    assert Code.ENDS_NOT_REPEATED in {f.code for f in judged.findings}
    assert "further out than it rests at the closed end" in " ".join(f.evidence for f in judged.findings)


def test_rests_short_of_a_stop_that_turns_met_are_no_end() -> None:
    """Begun at rest on the stop; later closings creep the last 3 % and stay at the stop for an instant only."""
    legs: Legs = [(0.0, 0.8)]
    for _ in range(3):
        legs += [(1.0, 0.8), (1.0, 0.5), (0.03, 0.5), (0.028, 0.5), (0.0, 0.03)]
    judged = verdict_on(legs)
    closed = judged.quantities["closed_v"]
    assert closed.value == pytest.approx(0.45, abs=2e-3)
    assert judged.verdict is Verdict.PASS


@pytest.mark.parametrize("rests_s", [(0.4, 0.3, 0.3, 0.6), (0.6, 0.3, 0.3, 1.0)])
def test_a_lever_that_creeps_into_its_stops_is_no_slip(rests_s: tuple[float, ...]) -> None:
    """Strokes of 20 s begin and end so slowly that the creep looks like rest; it is none, and shifts no level."""
    parts, at = [np.zeros(round(rests_s[0] * 1000))], 0.0
    for seconds, rest_s in zip((18.0, 22.0, 18.0), rests_s[1:], strict=True):
        u = np.linspace(0, 1, round(seconds * 1000))
        way = (1 - 2 * at) * (10 * u**3 - 15 * u**4 + 6 * u**5)
        parts += [at + way, np.full(round(rest_s * 1000), 1 - at)]
        at = 1 - at
    found = look(sensed(np.concatenate(parts))).findings
    assert found == ()


def crept(seconds: float, *, rest_s: float, strokes: int = 4) -> FloatArray:
    """A lever that is moved slowly by a hand that begins and ends gently: minimum jerk."""
    n, rest = round(seconds / WINDOW_S), np.zeros(round(rest_s / WINDOW_S))
    u = (np.arange(n) + 1) / n
    way = 10 * u**3 - 15 * u**4 + 6 * u**5
    parts = [rest]
    for k in range(strokes):
        parts += [way, rest + 1] if k % 2 == 0 else [1 - way, rest]
    return np.concatenate(parts)


@pytest.mark.parametrize(("seconds", "rest_s"), [(5.0, 0.3), (12.0, 0.3), (12.0, 1.0), (18.0, 0.5)])
def test_the_interval_of_a_crept_end_holds_the_stop(seconds: float, rest_s: float) -> None:
    """The lever needs a second for the last 2 %: what it creeps through is none of the end."""
    found = look(sensed(crept(seconds, rest_s=rest_s)))
    for end, level in ((found.low, CLOSED_V), (found.high, OPEN_V)):
        assert end is not None
        assert abs(end.value_v - level) < 2.0 * end.u_v
        assert end.u_v < 1e-3
    assert found.findings == ()


def test_a_lever_that_stands_still_keeps_all_of_its_rests() -> None:
    """What noise alone makes is no creep."""
    found = look(sensed(lever(strokes([0.8] * 8, rest_s=0.7))))
    at_ends = [r for r in found.rests if r.place != "middle"]
    assert len(at_ends) == 9
    assert all((r.stop - r.start) * WINDOW_S > 0.64 and r.creep_v == 0.0 for r in at_ends)


def test_a_rest_that_dips_for_a_moment_is_not_cut_to_its_dip() -> None:
    """5 mV for 0.15 s in each rest at closed: nothing that a lever creeps into."""
    x = lever(strokes([0.8] * 6, rest_s=0.7))
    by = np.zeros(x.size)
    for start in np.flatnonzero(np.diff((x <= 0).astype(int), prepend=0) > 0):
        by[start + 250 : start + 400] = -5e-3
    trace = sensed(x)
    found = look(replace(trace, signal_a=changed(trace.signal_a, by)))
    assert found.low is not None
    assert found.low.value_v == pytest.approx(CLOSED_V, abs=1.5e-3)


@pytest.mark.parametrize("give", [0.004, 0.01])
@pytest.mark.parametrize("first_s", [0.03, 0.06])
def test_the_end_of_a_hand_that_relaxes_holds_all_it_gave_way_by(give: float, first_s: float) -> None:
    """It gives way evenly: no level in it is the stop more than another, and each time it is the same."""
    legs: Legs = [(0.0, 0.5)]
    for _ in range(4):
        legs += [(1.0, 0.8), (1.0, first_s), (1 - give, 1.2), (0.0, 0.8), (0.0, 0.5)]
    found = look(sensed(lever(legs)))
    assert found.high is not None
    assert found.high.value_v == pytest.approx(OPEN_V - give / 2 * SPAN_V, abs=0.1 * give * SPAN_V)
    assert 2.0 * found.high.u_v > 0.45 * give * SPAN_V
    assert found.low is not None
    assert 2.0 * found.low.u_v < 1e-3
