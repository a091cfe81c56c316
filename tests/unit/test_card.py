"""The card that ends a sweep: what it says, and that it fits. The outcomes are made by hand."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from support.outcomes import WORN, outcome
from sweeprig.analysis.model import Cause, Code, Finding
from sweeprig.bench.review.card import HAND_OVER, EndLine, NamedFault, card_of
from sweeprig.cli.sweeping import show_card
from sweeprig.cli.views.card import MOST_LINES, NARROW_LINES, card_lines, end_line
from sweeprig.cli.views.words import large
from sweeprig.judge.model import OpenPoint, Verdict
from sweeprig.judge.outcome import Outcome
from sweeprig.judge.profile import load_profile
from sweeprig.words import SIMULATED

SHEET = Path("/home/shop/sheets/shelf-3-box-7-20310304-101500.html")
LOOSE = Finding(
    Code.LOOSE_CONNECTION, Cause.CONNECTION, 0, None, "7 dropouts keep to no place",
    "Hold the lever still and move plug and harness by hand; clean or replace the contact where the dropouts come.",
)  # fmt: skip

ENDS = ("closed", "open")


def many(n: int) -> Outcome:
    return outcome(worn=True, findings=tuple(WORN if k % 2 == 0 else LOOSE for k in range(n)))


CASES = {
    "pass": outcome(),
    "worn": outcome(worn=True),
    "two faults": many(2),
    "seven faults": many(7),
    "no supply": outcome(supply=False),
    "undecided": outcome(
        verdict=Verdict.UNDECIDED, reason="Only 2 full strokes, 3 wanted: sweep again. More open."
    ),
}


def test_a_capture_that_ended_early_says_so_on_the_card() -> None:
    base = CASES["pass"]
    assert base.capture is not None
    for ended in ("unplugged", "stopped", "silent"):
        cut = card_of(replace(base, capture=replace(base.capture, ended=ended)))
        assert cut.sentence.endswith(f"The capture ended early ({ended}).")
    assert "ended early" not in card_of(base).sentence


def of_cause(code: Code, cause: Cause) -> Outcome:
    return outcome(worn=True, findings=(Finding(code, cause, 0, None, "seen", "Do this."),))


@pytest.mark.parametrize(
    ("code", "cause", "said"),
    [
        (Code.INTERFERENCE, Cause.INTERFERENCE, "The fault is outside the sensor (interference)"),
        (Code.SUPPLY_SAG, Cause.SUPPLY, "The fault is in the supply or its wiring, not in the sensor"),
        (Code.GROUND_SHIFT, Cause.GROUND, "The fault is in the ground wire or at one of its pins"),
        (Code.LOOSE_CONNECTION, Cause.CONNECTION, "The fault is in a contact"),
        (Code.OPEN_SIGNAL, Cause.WIRING, "The fault is in the wiring"),
        (Code.WORN_SPOT, Cause.TRACK, "The fault is in the sensor."),
        (Code.MARGIN_CLOSED, Cause.MOUNTING, "The fault is in the mounting"),
    ],
)
def test_the_card_says_what_the_fail_condemns(code: Code, cause: Cause, said: str) -> None:
    assert said in card_of(of_cause(code, cause)).sentence


def test_a_kind_of_sensor_is_no_fault_of_the_wiring() -> None:
    found = Finding(Code.NOT_ANALOGUE, Cause.WIRING, 0, None, "two levels", "Ask for the type.", "doubt")
    card = card_of(outcome(verdict=Verdict.UNDECIDED, reason="Not analogue: two levels.", findings=(found,)))
    assert "cause" not in " ".join(card_lines(card, 80))


def test_a_kind_of_sensor_is_told_once_and_without_ends() -> None:
    """The card of a PWM output named it twice, and said of a lever that moved that no movement was seen."""
    found = Finding(Code.NOT_ANALOGUE, Cause.WIRING, 0, None, "two levels", "Ask for the type.", "doubt")
    card = card_of(outcome(verdict=Verdict.UNDECIDED, reason="Not analogue: two levels.", findings=(found,)))
    assert (card.faults, card.ends) == ((), ())


def test_a_loose_contact_before_a_worn_track_gives_two_steps() -> None:
    both = card_of(outcome(worn=True, findings=(LOOSE, WORN)))
    assert both.next_step == f"1. {LOOSE.next_step} 2. The sensor is worn as well. {WORN.next_step}"
    assert "The fault is in a contact; the sensor is worn as well." in both.sentence
    assert card_of(outcome(worn=True, findings=(LOOSE,))).next_step == LOOSE.next_step
    assert card_of(outcome(worn=True, findings=(WORN, LOOSE))).next_step == WORN.next_step


def test_a_track_that_more_strokes_must_clear_is_not_cleared() -> None:
    asking = replace(LOOSE, numbers={"more_strokes": 1.0})
    said = card_of(outcome(worn=True, findings=(asking,))).sentence
    assert said.endswith("The fault is in a contact; a worn spot is not ruled out yet.")
    assert card_of(outcome(worn=True, findings=(LOOSE,))).sentence.endswith("track shows no fault.")


UNJUDGED = (
    "Not checked: the volts of the ends. To check them, without a new sweep: sweeprig review 12 --profile"
    " adjustable-potentiometer (or fixed-potentiometer, hall)."
)


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("width", [60, 80, 100])
def test_every_line_fits_and_no_word_is_cut(name: str, width: int) -> None:
    lines = card_lines(card_of(CASES[name]), width, record=12, sheet=SHEET)
    assert all(len(line) <= width for line in lines if str(SHEET) not in line)  # a path is copied whole
    if width >= 80:
        assert len(lines) <= MOST_LINES
    card = card_of(CASES[name])
    words = set(re.findall(r"\S+", " ".join(lines)))
    assert set(card.next_step.split()) <= words
    assert set(card.sentence.split()) <= words


def test_a_narrow_card_keeps_what_is_in_brackets_together() -> None:
    end = EndLine("open", 4.25, 0.077, margin_v=0.732, rail="supply", nominal_v=4.268)
    assert end_line(end, 60) == [
        "  open     4.250 V ± 0.077   0.732 V from supply",
        "           (4.268 V at 5 V supply)",
    ]
    assert len(end_line(end, 80)) == 1


def test_a_pass_says_both_ends_margins_and_hands_over() -> None:
    text = "\n".join(card_lines(card_of(CASES["pass"]), 80, record=12, sheet=SHEET))
    assert "Both ends are within limits, uncertainty included. No fault seen." in text
    assert "closed   0.452 V ± 0.002   0.452 V from ground" in text
    assert "open     4.482 V ± 0.002   0.530 V from supply" in text  # 5.012 V less 4.482 V
    assert HAND_OVER in text
    assert "Record 12" in text
    assert str(SHEET) in text


def test_a_fault_is_named_with_its_place_and_one_next_step() -> None:
    card = card_of(CASES["worn"])
    assert card.sentence == "Worn spot at 28 to 33 % of travel. The fault is in the sensor."
    assert card.next_step == WORN.next_step


def test_more_faults_than_fit_are_counted() -> None:
    text = "\n".join(card_lines(card_of(CASES["seven faults"]), 80))
    assert "and 6 more faults." in text
    assert "- 4 more: --full" in text


def test_a_simulated_rig_is_never_taken_for_a_real_one() -> None:
    made = outcome()
    assert made.capture is not None
    simulated = replace(made, capture=replace(made.capture, rig={**made.capture.rig, "simulated": True}))
    assert not card_of(made).simulated
    assert f"  {SIMULATED}" in card_lines(card_of(simulated), 80)


def test_volts_at_nominal_supply_stand_apart_from_those_measured() -> None:
    made = outcome()
    margins = tuple(
        replace(m, measured_v=m.level_v, level_v=None if m.level_v is None else m.level_v * 5 / 5.012)
        for m in made.judgement.margins
    )
    scaled = replace(made, judgement=replace(made.judgement, margins=margins))
    closed, opened = (
        next(t for t in card_lines(card_of(scaled), 80) if t.startswith(f"  {e}")) for e in ENDS
    )
    assert closed == "  closed   0.452 V ± 0.002   0.452 V from ground   (0.451 V at 5 V supply)"
    # as measured: 5.012 V less 4.482 V; what is judged stands in the bracket alone
    assert opened == "  open     4.482 V ± 0.002   0.530 V from supply   (4.471 V at 5 V supply)"


def test_a_sensor_that_keeps_no_ratio_has_one_voltage_only() -> None:
    made = outcome()
    margins = tuple(replace(m, measured_v=m.level_v) for m in made.judgement.margins)  # as judged: not scaled
    lines = card_lines(card_of(replace(made, judgement=replace(made.judgement, margins=margins))), 80)
    assert not any("at 5 V supply" in line for line in lines)
    assert any(line.endswith("0.530 V from supply") for line in lines)


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("width", [60, 80, 120])
def test_the_verdict_is_large_on_every_card(name: str, width: int) -> None:
    card = replace(card_of(CASES[name]), simulated=True, not_judged=UNJUDGED)
    lines = card_lines(card, width, record=12, sheet=SHEET)
    assert lines[1:4] == [f"  {row}".rstrip() for row in large(card.verdict, width)]
    assert len(lines[1].split()) > 1


@pytest.mark.parametrize("name", CASES)
def test_a_narrow_card_leaves_room_for_the_prompt(name: str) -> None:
    card = replace(card_of(CASES[name]), simulated=True, not_judged=UNJUDGED)
    assert len(card_lines(card, 60, record=12, sheet=SHEET)) <= NARROW_LINES


def test_a_path_that_does_not_fit_has_its_own_line() -> None:
    lines = card_lines(card_of(CASES["pass"]), 60, record=12, sheet=SHEET)
    assert lines[-3:] == ["  Record 12", "  Sheet:", f"    {SHEET}"]


def test_the_verdict_is_a_plain_word_where_it_has_no_room() -> None:
    assert card_lines(card_of(CASES["undecided"]), 40)[0] == "  UNDECIDED"


@pytest.mark.parametrize("width", [40, 50, 60, 80])
@pytest.mark.parametrize("name", CASES)
def test_a_crowded_card_has_its_verdict_in_capitals(name: str, width: int) -> None:
    long = replace(card_of(CASES[name]), next_step="Do this, then that, then this again. " * 24)
    lines = card_lines(long, width, record=12, sheet=SHEET)
    assert lines[0] == f"  {long.verdict.upper()}"
    assert "" not in lines


def test_a_folded_bullet_hangs_under_its_text() -> None:
    fault = NamedFault("closed throttle too near ground or supply", "", "mounting", "fault")
    card = replace(card_of(CASES["two faults"]), faults=(fault, fault))
    lines = card_lines(card, 60)
    at = lines.index("  - closed throttle too near ground or supply, cause:")
    assert lines[at + 1] == "    mounting"


def test_a_crowded_card_keeps_what_was_not_judged_by_name() -> None:
    card = replace(card_of(CASES["seven faults"]), simulated=True, not_judged=UNJUDGED)
    lines = card_lines(card, 80, record=12, sheet=SHEET)
    assert len(lines) <= MOST_LINES
    assert "Not checked: the volts of the ends." in " ".join(lines)


def test_ends_that_do_not_repeat_are_one_line_of_the_card() -> None:
    doubt = Finding(Code.ENDS_NOT_REPEATED, Cause.MOUNTING, 0, None, "the high end", "Move firmly.", "doubt")
    both = (doubt, replace(doubt, evidence="the low end"))
    card = card_of(outcome(verdict=Verdict.UNDECIDED, reason="Ends do not repeat: so.", findings=both))
    assert len(card.faults) == 1


def test_an_open_result_is_not_told_twice_on_the_card() -> None:
    few = OpenPoint(
        "full strokes", "only 1 full stroke was seen, 3 are needed", "Sweep again from stop to stop."
    )
    base = outcome(verdict=Verdict.UNDECIDED)
    points = (few, OpenPoint("supply", "the supply was not measured", "Measure it."))
    card = card_of(replace(base, judgement=replace(base.judgement, open_points=points)))
    assert card.sentence == "Only 1 full stroke was seen, 3 are needed. Not decided either: supply."
    assert card.next_step == "Sweep again from stop to stop."


def test_the_card_counts_the_strokes_that_the_screen_counted() -> None:
    """A stroke that ends short of a stop, or at a shifted ground, counts on the screen and is not full."""
    made = outcome()
    short = (replace(made.analysis.strokes[0], full=False), *made.analysis.strokes[1:])
    assert "4 full strokes," in card_of(made).facts
    facts = card_of(replace(made, analysis=replace(made.analysis, strokes=short))).facts
    assert "4 strokes, 3 of them full, profile" in facts


@pytest.mark.parametrize(("capture", "named"), [("", "FILE"), ("a b.sweep", "'a b.sweep'")])
def test_a_card_names_the_capture_to_review(
    capture: str, named: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """With a full disk there is none: no command has an empty name in it."""
    show_card(replace(outcome(), profile=load_profile("any-three-wire")), capture=capture)
    assert f"sweeprig review {named} --profile" in " ".join(capsys.readouterr().out.split())


def test_a_card_without_a_capture_names_no_file_to_review() -> None:
    card = card_of(replace(outcome(), profile=load_profile("any-three-wire")))
    for lost, there in (((), True), (("sheet",), True), (("capture", "record"), False)):
        text = " ".join(card_lines(card, 80, not_saved=lost))
        assert ("sweeprig review" in text) is there
        assert "Not checked:" in text


def test_one_full_stroke_is_no_plural() -> None:
    from support.judge_cases import given, seen

    one = seen()
    short = replace(one, strokes=one.strokes[:1])
    assert given(short).reason.startswith("Only 1 full stroke was seen, 3 are needed")
