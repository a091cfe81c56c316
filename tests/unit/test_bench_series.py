"""A series: the trigger, the lever, the order of sensors."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from support.courses import WINDOW_S, course, traces
from sweeprig.bench.batch.series import Batch, Entry, last_of_each
from sweeprig.bench.readings.lever import Lever, Move, StrokeCount
from sweeprig.bench.sweep.pace import plan_sweep
from sweeprig.bench.sweep.trigger import LEAD_S, Phase, Trigger
from sweeprig.capture.model import FloatArray
from sweeprig.errors import InputError
from sweeprig.judge.profile import load_profile

PROFILE = load_profile(
    "adjustable-potentiometer"
)  # 3 strokes, 2 % of supply starts, 0.5 s rest, 30 s at the longest

PLAN = plan_sweep(PROFILE, shortest_dropout_s=1e-4)

C, W = 0.45, 4.4  # closed, wide open [V]
THREE = ((1.0, C), (0.6, W), (0.3, W), (0.6, C), (0.3, C), (0.6, W), (0.3, W))


def run(trigger: Trigger, v: FloatArray, **how: float) -> float:
    """Feed until it is over; return the time at which that was."""
    for trace in traces(v, **how):  # type: ignore[arg-type]
        if trigger.feed(trace) is Phase.OVER:
            return float(trace.t_s[-1])
    return float("nan")


def test_sweep_starts_on_movement_ends_after_strokes_and_rest() -> None:
    trigger = Trigger(PROFILE, PLAN)
    over = run(trigger, course(*THREE, (2.0, W)))
    assert trigger.ended == "strokes"
    assert trigger.strokes.n == 3
    assert trigger.start_s == pytest.approx(1.09, abs=0.05)  # 2 % of 5 V is passed 0.08 s into the movement
    assert trigger.keep_from_s == pytest.approx(trigger.start_s - LEAD_S)
    assert over == pytest.approx(3.4 + 0.5, abs=0.16)  # last stroke ends at 3.4 s; a chunk is 0.137 s


def test_nothing_starts_while_the_lever_rests_or_drifts() -> None:
    trigger = Trigger(PROFILE, PLAN)
    drift = course((20.0, C)) + 0.002 * np.arange(20000) * WINDOW_S
    assert np.isnan(run(trigger, drift, noise_v=5e-3))
    assert trigger.phase is Phase.ARMED


def test_it_is_not_armed_before_the_lever_rests() -> None:
    trigger = Trigger(PROFILE, PLAN)
    moving = course((0.2, C), (0.4, W), (0.4, C), (0.4, W), (0.4, C))
    run(trigger, moving)
    assert trigger.phase is Phase.SETTLING
    assert trigger.strokes.n == 0


def test_a_dropout_at_rest_starts_nothing() -> None:
    trigger = Trigger(PROFILE, PLAN)
    v = course((3.0, C))
    v[1500:1506] = 0.0
    run(trigger, v)
    assert trigger.phase is Phase.ARMED


def test_hesitation_and_half_strokes_do_not_count() -> None:
    trigger = Trigger(PROFILE, PLAN)
    legs = (
        (1.0, C),
        (0.6, W),
        (0.3, W),
        (0.5, 2.0),
        (0.4, 2.0),
        (0.5, W),
        (0.3, W),
        (0.3, 2.5),
        (0.05, 2.5),
        (0.3, C),
    )
    assert np.isnan(run(trigger, course(*legs, (1.5, C))))
    assert trigger.strokes.n == 2  # up, and down with a pause too short to be a rest
    assert trigger.phase is Phase.RUNNING


def test_longest_time_ends_a_sweep_without_its_strokes() -> None:
    profile = replace(
        PROFILE, series=replace(PROFILE.series, longest=replace(PROFILE.series.longest, value=4.0))
    )
    trigger = Trigger(profile, plan_sweep(profile, shortest_dropout_s=1e-4))
    over = run(trigger, course((1.0, C), (0.5, W), (8.0, W)))
    assert trigger.ended == "longest"
    assert over == pytest.approx(5.1, abs=0.2)


def test_a_falling_sensor_and_a_tremor() -> None:
    trigger = Trigger(PROFILE, PLAN)
    v = 5 - course(*THREE, (2.0, W))
    v[1600:] += 0.03 * np.sin(2 * np.pi * 10 * np.arange(v.size - 1600) * WINDOW_S)
    run(trigger, v)
    assert (trigger.ended, trigger.strokes.n) == ("strokes", 3)


def test_moves_have_their_size_and_length() -> None:
    lever = Lever(0.1)
    moves = [
        m
        for t in traces(course((0.5, 1.0), (2.0, 3.0), (0.5, 3.0), (0.5, 2.0), (0.5, 2.0)))
        for m in lever.feed(t)
    ]
    assert [round(m.size_v, 2) for m in moves] == [2.0, -1.0]
    assert moves[0].seconds == pytest.approx(2.0, abs=0.25)
    assert lever.rest_s == pytest.approx(0.5, abs=0.1)
    assert sum(StrokeCount(3.0).take(m) for m in moves) == 1  # 1 V is less than half of the least span


@pytest.mark.parametrize(("first_v", "counted"), [(3.6, 2), (3.85, 2), (4.3, 4)])
def test_a_stroke_that_was_turned_back_early_counts_no_more(first_v: float, counted: int) -> None:
    """Whoever turns back at 80 % of the travel and then goes on to the stop has two full strokes, not four."""
    count = StrokeCount(3.0)
    levels = (0.45, first_v, 0.45, 4.4, 0.45)
    for k, (a, b) in enumerate(pairwise(levels)):
        count.take(Move(a, b, float(k), 0.8))
        if k == 1:
            assert count.n == 2, "no further end was seen yet"
    assert count.n == counted


def entry(serial: str, attempt: int = 1, verdict: str = "pass", closed: float | None = 0.45) -> Entry:
    return Entry(serial, attempt, verdict, "", closed, 2e-3, 4.4, 2e-3, closed_limits=(0.4, 0.5))


def test_keys_of_a_scanner_of_enter_and_of_the_space_bar() -> None:
    batch = Batch("B7")
    assert not batch.key("SN 4")
    assert batch.typed == "SN 4"
    assert batch.key("2\r")
    assert (batch.serial, batch.typed) == ("SN 42", "")
    batch.add(entry("SN 42"))
    assert batch.key(" ")
    assert (batch.serial, batch.attempt) == ("SN 42", 2)
    assert batch.key("\n")
    assert (batch.serial, batch.attempt) == ("B7-001", 1)
    assert not batch.key("ab\x7f")
    assert batch.typed == "a"
    assert not batch.key("\x1b")


def test_a_scan_that_came_while_we_looked_away_is_kept() -> None:
    batch = Batch("B")
    assert batch.key("one\ntwo")
    assert (batch.serial, batch.typed) == ("one", "two")
    assert batch.key("\n")
    assert batch.serial == "two"


def test_the_first_sweep_by_button_is_the_first_sensor() -> None:
    batch = Batch("B")
    batch.again()
    assert batch.serial == "B-001"
    with pytest.raises(InputError):
        Batch("B").add(entry(""))


def test_counting_leaves_out_numbers_that_were_scanned() -> None:
    batch = Batch("B")
    batch.next_sensor("B-001")
    batch.add(entry("B-001"))
    batch.next_sensor()
    assert batch.serial == "B-002"


def test_a_repeat_takes_the_place_of_the_sweep_before() -> None:
    entries = [entry("a"), entry("b", verdict="fail"), entry("b", 2), entry("c")]
    assert [(e.serial, e.attempt) for e in last_of_each(entries)] == [("a", 1), ("b", 2), ("c", 1)]
