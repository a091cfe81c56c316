"""Strokes that are too fast for small worn spots: the result says so, and still judges what was seen."""

from __future__ import annotations

from dataclasses import replace

import pytest

from support.judge_cases import TRACE, given, seen
from support.outcomes import outcome
from sweeprig.analysis.model import Stroke
from sweeprig.bench.readings.limits import limit
from sweeprig.bench.review.card import card_of
from sweeprig.judge.judge import Judgement
from sweeprig.judge.unseen import FAST_S, FAST_STROKES

SAID = "The strokes were too fast to show small worn spots."


def judged(stroke_s: float, source: str = "rig") -> Judgement:
    n = round(stroke_s / TRACE.window_s)
    strokes = tuple(
        Stroke(k * n, (k + 1) * n, *((0.45, 4.5) if k % 2 == 0 else (4.5, 0.45)), 1 - 2 * (k % 2), full=True)
        for k in range(4)
    )
    return given(seen(strokes=strokes), trace=replace(TRACE, source=source))


def names(judgement: Judgement) -> list[str]:
    return [text.partition(":")[0] for text in judgement.not_shown]


def test_fast_strokes_are_said_to_miss_small_spots() -> None:
    assert FAST_STROKES in names(judged(0.3))
    assert any("0.30 s" in text for text in judged(0.3).not_shown)
    assert FAST_STROKES not in names(judged(0.5))


def test_the_limit_is_the_one_that_the_screen_shows() -> None:
    assert limit("sweep.fastest_s") == FAST_S


def test_the_strokes_of_a_logger_are_its_own_matter() -> None:
    assert FAST_STROKES not in names(judged(0.3, source="csv"))


def test_an_end_without_a_rest_asks_for_rests_in_a_sentence() -> None:
    judgement = given(seen(0.45, None))
    step = card_of(replace(outcome(), judgement=judgement)).next_step
    assert step == "Sweep again: hold the lever still at both stops, half a second each time."


@pytest.mark.parametrize("stroke_s", [0.3, 1.5])
def test_a_pass_by_fast_strokes_says_so_on_the_card(stroke_s: float) -> None:
    made = outcome()
    fast = replace(made, judgement=replace(made.judgement, not_shown=judged(stroke_s).not_shown))
    assert (SAID in card_of(fast).sentence) == (stroke_s < FAST_S)
