"""What a profile without ranges leaves unjudged: said with the result, with the profiles that would judge it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from support.outcomes import outcome
from sweeprig.bench.review.card import card_of
from sweeprig.bench.shop.config import Config
from sweeprig.capture.model import SweepSetup
from sweeprig.judge.left_out import ends_are_judged, left_out, profiles_with_ends
from sweeprig.judge.profile import load_profile, shipped_names
from sweeprig.judge.rails import FIXED, TURN, UNKNOWN

ANY = load_profile("any-three-wire")


def test_a_sweep_that_names_no_profile_takes_any_three_wire() -> None:
    assert Config().profile == SweepSetup().profile == ANY.name
    assert not ends_are_judged(ANY)
    assert not ANY.sensor.slotted


def test_the_profiles_that_would_judge_the_ends_are_named() -> None:
    assert profiles_with_ends(1) == ("adjustable-potentiometer", "fixed-potentiometer", "hall")
    assert all(load_profile(name).sensor.tracks == 2 for name in profiles_with_ends(2))
    said = left_out(ANY, tracks=1)
    assert said.startswith("Where the ends should be: the profile any-three-wire has no range for it.")
    assert said.endswith("adjustable-potentiometer, fixed-potentiometer or hall.")


@pytest.mark.parametrize("name", [n for n in shipped_names() if n != "any-three-wire"])
def test_a_profile_with_ranges_leaves_nothing_out(name: str) -> None:
    assert left_out(load_profile(name), tracks=1) == ""


def test_the_card_claims_no_range_that_it_has_not() -> None:
    card = card_of(replace(outcome(), profile=ANY))
    assert card.sentence.startswith("Both ends keep clear of both rails")
    assert "--profile adjustable-potentiometer or fixed-potentiometer or hall" in card.not_judged
    assert card_of(outcome()).not_judged == ""


@pytest.mark.parametrize(
    ("profile", "said"),
    [("adjustable-potentiometer", TURN), ("fixed-potentiometer", FIXED), (ANY.name, UNKNOWN)],
)
def test_turning_is_advised_only_where_the_mount_is_slotted(profile: str, said: str) -> None:
    from support.judge_cases import given, seen

    found = given(seen(0.1), load_profile(profile)).findings
    assert next(f.next_step for f in found if f.code == "margin-closed").startswith(said)
