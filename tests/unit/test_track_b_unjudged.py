"""A second signal that a profile of one track does not judge: never passed, and said wherever the result is."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest

from support.outcomes import outcome
from sweeprig.bench.guide import Then, said_of, then_of
from sweeprig.bench.review.card import card_of
from sweeprig.bench.review.review import Choices, review_capture
from sweeprig.judge.model import Verdict
from sweeprig.judge.outcome import Outcome
from sweeprig.report.customer import customer_text
from sweeprig.twin.capture import capture_of

BOTH = {
    "two-tracks-correlation": "two-tracks-half-scale",
    "two-tracks-parallel": "two-tracks-parallel",
    "two-tracks-opposed": "two-tracks-opposed",
    "two-tracks-worn-b": "two-tracks-half-scale",
}


@cache
def reviewed(sensor: str, profile: str) -> Outcome:
    return review_capture(capture_of(sensor, seconds=8.0, seed=1), Choices(profile))


@pytest.mark.parametrize("sensor", BOTH)
@pytest.mark.parametrize("profile", ["any-three-wire", "fixed-potentiometer"])
def test_a_live_second_signal_is_never_passed(sensor: str, profile: str) -> None:
    found = reviewed(sensor, profile)
    assert found.judgement.verdict is not Verdict.PASS
    assert found.judgement.reason.startswith("Track B carries a signal")


@pytest.mark.parametrize("sensor", BOTH)
def test_reason_and_next_step_name_the_profile_that_judges_it(sensor: str) -> None:
    found = reviewed(sensor, "any-three-wire")
    assert found.judgement.verdict is Verdict.UNDECIDED
    assert found.judgement.reason.startswith("Track B carries a signal and was not judged")
    card = card_of(found, capture="12")
    assert f"sweeprig review 12 --profile {BOTH[sensor]}" in card.next_step
    assert card.not_judged.startswith(
        "NOT checked: (1) track B; (2) whether closed and open throttle are at the right volts"
    )
    assert BOTH[sensor] in card.not_judged


def test_the_profile_with_two_tracks_decides_the_same_capture() -> None:
    assert reviewed("two-tracks-parallel", "two-tracks-parallel").judgement.verdict is Verdict.PASS
    assert reviewed("two-tracks-correlation", "two-tracks-half-scale").judgement.verdict is Verdict.FAIL


def test_a_fault_of_track_a_still_names_track_b() -> None:
    bad = reviewed("two-tracks-parallel", "any-three-wire")
    failed = replace(bad, judgement=replace(bad.judgement, verdict=Verdict.FAIL))
    assert "track B" in card_of(failed).not_judged


def test_a_sensor_of_one_signal_is_told_nothing_of_track_b() -> None:
    found = reviewed("good", "any-three-wire")
    assert found.judgement.verdict is Verdict.PASS
    assert "rack B" not in card_of(found).not_judged + found.judgement.reason
    assert card_of(outcome()).not_judged == ""


def test_a_few_spikes_on_a_loose_lead_are_no_signal() -> None:
    capture = capture_of("good", seconds=8.0, seed=1)
    maxs = capture.records.maxs.copy()
    maxs[100::997, 1] = 1200
    spiked = replace(capture, records=replace(capture.records, maxs=maxs))
    assert review_capture(spiked, Choices("any-three-wire")).judgement.verdict is Verdict.PASS


def test_the_customer_is_not_told_that_the_sensor_is_good() -> None:
    text = customer_text(reviewed("two-tracks-correlation", "any-three-wire"))
    assert (
        text == "The sensor has two signals and only one of them is tested: the other must be judged as well."
    )


def test_the_guide_goes_on_with_the_second_track() -> None:
    found = reviewed("two-tracks-correlation", "any-three-wire")
    assert then_of(found) is Then.BOTH_TRACKS
    assert "two-tracks-half-scale" in said_of(found)
