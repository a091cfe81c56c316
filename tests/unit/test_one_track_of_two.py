"""A profile of two tracks and one signal: the profile may not fit, so its ranges of the ends condemn nothing."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest

from support.outcomes import WORN, outcome
from sweeprig.bench.guide import Then, said_of, then_of
from sweeprig.bench.review.card import card_of
from sweeprig.bench.review.review import Choices, review_capture
from sweeprig.judge.model import Verdict
from sweeprig.judge.outcome import Outcome
from sweeprig.judge.profile import load_profile
from sweeprig.twin.capture import capture_of

TWO_TRACKS = ("two-tracks-half-scale", "two-tracks-parallel", "two-tracks-opposed")


@cache
def reviewed(sensor: str, profile: str) -> Outcome:
    return review_capture(capture_of(sensor, seconds=8.0, seed=1), Choices(profile))


@pytest.mark.parametrize("profile", TWO_TRACKS)
def test_a_good_sensor_of_one_track_is_not_condemned(profile: str) -> None:
    found = reviewed("good", profile)
    assert found.judgement.verdict is Verdict.UNDECIDED
    card = card_of(found, capture="7")
    assert card.sentence.startswith(
        "Track B was not captured: no second signal was seen, so the profile may not fit."
    )
    assert "sweeprig review 7 --profile any-three-wire" in card.next_step
    assert "connect the second signal" in card.next_step


def test_one_track_near_a_rail_fails_by_any_profile() -> None:
    found = reviewed("badly-mounted", "two-tracks-half-scale")
    assert found.judgement.verdict is Verdict.FAIL
    assert card_of(found).sentence.startswith("Closed throttle too near ground")


def test_two_tracks_are_held_to_their_ranges() -> None:
    found = reviewed("two-tracks-parallel", "two-tracks-half-scale")
    assert found.judgement.verdict is Verdict.FAIL


def test_the_guide_asks_again_what_kind_of_sensor_it_is() -> None:
    assert then_of(reviewed("good", "two-tracks-half-scale")) is Then.KIND
    assert "step 5" in said_of(reviewed("good", "two-tracks-half-scale"))
    assert then_of(reviewed("good", "any-three-wire")) is Then.HAND_OVER


def test_a_fault_that_one_track_shows_comes_first() -> None:
    worn = replace(outcome(worn=True, findings=(WORN,)), profile=load_profile("two-tracks-half-scale"))
    assert then_of(worn) is Then.REPLACE
