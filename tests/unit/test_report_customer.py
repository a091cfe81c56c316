"""The sentence for the customer, and a first page without commands, options or abbreviations."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from support import outcomes as oc
from support.report_cases import cases
from sweeprig.analysis.model import Cause, Code, Finding
from sweeprig.judge.fault_place import where_the_fault_is
from sweeprig.judge.model import Verdict
from sweeprig.judge.outcome import Outcome
from sweeprig.judge.profile import load_profile
from sweeprig.report.customer import CLEAR, NOT_TESTED, OPEN, customer_text, without_commands
from sweeprig.report.sheet import sheet_html
from sweeprig.words import Sense

CASES = cases()
NO_SENTENCE = {
    Code.RECORDS_LOST,
    Code.BAD_CONVERSIONS,
    Code.CONTRADICTORY_DATA,
}  # faults of the rig fail no sensor


def given(
    code: Code,
    *,
    verdict: Verdict = Verdict.FAIL,
    severity: str = "fault",
    where: tuple[float, float] | None = (8.0, 9.0),
) -> Outcome:
    base = oc.outcome(worn=True)
    found = Finding(code, Cause.TRACK, 0, where, "evidence", "next", severity)
    return replace(base, judgement=replace(base.judgement, verdict=verdict, findings=(found,)))


def test_a_worn_spot_is_said_with_its_place_and_what_follows() -> None:
    want = "The sensor has a worn spot near closed throttle; it should be replaced."
    assert customer_text(given(Code.WORN_SPOT)) == want


def test_ends_that_the_wiring_draws_are_not_adjusted_on_the_mount() -> None:
    base = given(Code.CLOSED_OUT_OF_RANGE)
    (found,) = base.judgement.findings
    wired = replace(base, judgement=replace(base.judgement, findings=(replace(found, cause=Cause.WIRING),)))
    assert customer_text(wired).endswith("; the wiring should be checked.")
    assert "mount" in customer_text(base)


@pytest.mark.parametrize("code", sorted(set(Code) - NO_SENTENCE))
def test_each_fault_has_a_short_sentence_in_plain_words(code: Code) -> None:
    verdict = Verdict.UNDECIDED if code in ("not-analogue", "rig-over-range") else Verdict.FAIL
    text = customer_text(given(code, verdict=verdict))
    assert "measured value" not in text
    assert len(text) <= 110
    assert text.count(".") == 1
    assert not re.search(r"\d|`|--|[{}]|\b[A-Z]{2,}\b", text)


def test_a_loose_contact_on_a_worn_sensor_says_both() -> None:
    loose = Finding(Code.LOOSE_CONNECTION, Cause.CONNECTION, 0, None, "7", "Move the plug.")
    both = oc.outcome(worn=True, findings=(loose, oc.WORN))
    assert customer_text(both) == (
        "The sensor's connection loses contact; it should be repaired, and the sensor itself is worn as well and should"
        " be replaced."
    )
    assert "worn" not in customer_text(oc.outcome(worn=True, findings=(loose,)))


def test_no_place_is_named_where_the_closed_end_is_not_known() -> None:
    worn = given(Code.WORN_SPOT)
    unknown = replace(worn, analysis=replace(worn.analysis, sense=Sense.UNKNOWN))
    assert customer_text(unknown) == "The sensor has a worn spot; it should be replaced."


def test_a_doubt_is_not_told_as_a_fault() -> None:
    text = customer_text(given(Code.STRAY_DROPOUT, verdict=Verdict.UNDECIDED, severity="doubt"))
    assert text == "The sensor's signal dropped out and it is not yet clear why; the test must be repeated."
    rough = customer_text(given(Code.ROUGH_TRACK, verdict=Verdict.UNDECIDED, severity="doubt"))
    assert rough.startswith("Possible fault: the sensor is worn")
    assert "replaced" not in text


def test_undecided_without_a_finding_asks_for_the_test_again() -> None:
    base = oc.outcome()
    bare = replace(base, judgement=replace(base.judgement, verdict=Verdict.UNDECIDED, findings=()))
    assert customer_text(bare) == OPEN
    assert customer_text(given(Code.NOT_ANALOGUE, verdict=Verdict.UNDECIDED)) == NOT_TESTED


def test_a_pass_claims_no_limits_that_were_not_judged() -> None:
    base = oc.outcome()
    assert "within limits" in customer_text(base)
    assert customer_text(replace(base, profile=load_profile("any-three-wire"))) == CLEAR


def test_commands_leave_a_text_with_their_parentheses() -> None:
    said = "Turn the sensor on its mount (`sweeprig aim`); the vehicle's own specification comes first."
    assert (
        without_commands(said) == "Turn the sensor on its mount; the vehicle's own specification comes first."
    )


@pytest.mark.parametrize("name", sorted(set(CASES) - {"hostile", "huge"}))
def test_no_page_of_a_sheet_has_commands(name: str) -> None:
    base = CASES[name]
    case = replace(
        base,
        setup=replace(base.setup, prepared=("The load shifts the reading; measure it (`--track-ohm`).",)),
        judgement=replace(
            base.judgement, not_shown=("Track: give it (`--track-ohm`).", *base.judgement.not_shown)
        ),
    )
    html = re.sub(r"<(style|svg).*?</\1>", "", sheet_html(case), flags=re.S)
    assert "Track: give it." in html
    assert not re.search(r"`|(?<!\S)--[a-z]|\bsweeprig [a-z]+\b", re.sub(r"<[^>]+>", " ", html))


@pytest.mark.parametrize("name", sorted(set(CASES) - {"hostile", "huge"}))
def test_the_first_page_has_no_commands_or_abbreviations(name: str) -> None:
    html = sheet_html(CASES[name])
    page = re.sub(
        r"<(style|svg).*?</\1>", "", html.partition('<section class="page details">')[0], flags=re.S
    )
    text = re.sub(r"<[^>]+>", " ", page)
    assert not re.search(r"`|(?<!\S)--[a-z]|\bsweeprig [a-z]+\b|\b(LSB|INL|DNL|JCGM|MDF|dof)\b", text)
    assert text.count("95 times out of 100") == 1


def test_a_worn_end_that_a_plug_may_be_has_the_plug_ruled_out() -> None:
    base = given(Code.WORN_SPOT, where=(0.0, 0.4))
    (found,) = base.judgement.findings
    either = replace(found, or_contact=True)
    text = customer_text(replace(base, judgement=replace(base.judgement, findings=(either,))))
    assert text.endswith("; its plug and harness must be ruled out before it is replaced.")
    assert where_the_fault_is((either,)) == "The fault is in the sensor's track or in a contact."
    assert where_the_fault_is((found,)) == "The fault is in the sensor."
