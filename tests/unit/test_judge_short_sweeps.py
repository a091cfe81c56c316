"""A sweep too short, or with too few strokes, names what it leaves open and keeps the rest."""

from __future__ import annotations

import pytest

from support.judge_cases import ADJUSTABLE
from support.lever import Legs, lever, sensed
from support.outcomes import make_setup
from sweeprig.analysis.analyse import analyse
from sweeprig.analysis.model import Code
from sweeprig.capture.model import Sense, Starts
from sweeprig.judge.judge import judge
from sweeprig.judge.model import Judgement, Verdict

REST = (0.0, 0.5)
ONE: Legs = [REST, (1.0, 0.8), (1.0, 0.5)]
TWO: Legs = [*ONE, (0.0, 0.8), REST]


def judged(legs: Legs) -> Judgement:
    trace = sensed(lever(legs), low=0.45, high=4.5)
    found = analyse(trace, starts=Starts.CLOSED, given_sense=Sense.UNKNOWN)
    return judge(analysis=found, trace=trace, setup=make_setup(), profile=ADJUSTABLE)


def said(j: Judgement, *words: str) -> bool:
    return any(all(w in text for w in words) for text in j.not_shown)


def test_one_stroke_names_each_judgement_it_lacks() -> None:
    j = judged(ONE)
    assert j.verdict is Verdict.UNDECIDED
    assert said(j, "Worn spot or stray dropout", "1 stroke seen", "at least 3")
    assert said(j, "Flat spot", "3 are needed")
    assert said(j, "Repeatability of the closed end", "slipping mount")
    assert said(j, "Repeatability of the open end")


def test_an_end_met_twice_lacks_no_repeat() -> None:
    j = judged(TWO)
    assert not said(j, "Repeatability of the closed end")
    assert said(j, "Repeatability of the open end")


def test_one_stroke_keeps_margins_span_and_supply() -> None:
    j = judged(ONE)
    assert {m.verdict for m in j.margins} == {Verdict.PASS}
    assert "Not decided either: open throttle, full strokes." in j.reason
    kept = "margin of the closed end, margin of the open end, span, supply."
    assert j.reason.endswith(f"Within limits: {kept}")


def test_half_a_stroke_keeps_the_closed_end_to_its_rails() -> None:
    j = judged([REST, (0.5, 0.6)])
    assert j.findings == ()
    assert "margin of the closed end" in j.reason.split("Within limits: ")[1]
    assert "span" in j.reason.split("Within limits: ")[0]


@pytest.mark.parametrize("seconds", [0.03, 0.3, 1.5, 10.0])
def test_a_lever_at_rest_is_no_fault_of_the_coupling(seconds: float) -> None:
    j = judged([(0.0, seconds)])
    assert j.verdict is Verdict.UNDECIDED
    assert [(f.code, f.severity) for f in j.findings] == [(Code.NO_MOVEMENT, "doubt")]
    assert "the lever did not move, or it no longer moves the sensor" in j.reason
    assert said(j, "no lever movement seen")
