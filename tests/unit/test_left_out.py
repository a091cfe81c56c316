"""What a profile without ranges leaves unjudged: said with the result, with the profiles that would judge it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from support.outcomes import outcome
from sweeprig.bench.review.card import card_of
from sweeprig.bench.shop.config import Config
from sweeprig.capture.model import SweepSetup
from sweeprig.judge.brief import not_judged
from sweeprig.judge.left_out import ends_are_judged, left_out, profiles_with_ends
from sweeprig.judge.outcome import Outcome
from sweeprig.judge.profile import load_profile, shipped_names
from sweeprig.judge.rails import FIXED, TURN, UNKNOWN
from sweeprig.report.sheet import sheet_html
from sweeprig.report.text_sheet import text_sheet

ANY = load_profile("any-three-wire")


def test_a_sweep_that_names_no_profile_takes_any_three_wire() -> None:
    assert Config().profile == SweepSetup().profile == ANY.name
    assert not ends_are_judged(ANY)
    assert not ANY.sensor.slotted


def test_the_profiles_that_would_judge_the_ends_are_named() -> None:
    assert profiles_with_ends(1) == ("adjustable-potentiometer", "fixed-potentiometer", "hall")
    assert all(load_profile(name).sensor.tracks == 2 for name in profiles_with_ends(2))
    said = left_out(ANY, tracks=1)
    assert said.startswith("The right volts of both ends: the profile any-three-wire has no limits for them.")
    assert said.endswith("adjustable-potentiometer, fixed-potentiometer or hall.")


@pytest.mark.parametrize("name", [n for n in shipped_names() if n != "any-three-wire"])
def test_a_profile_with_ranges_leaves_nothing_out(name: str) -> None:
    assert left_out(load_profile(name), tracks=1) == ""


def test_the_card_claims_no_range_that_it_has_not() -> None:
    card = card_of(replace(outcome(), profile=ANY))
    assert card.sentence.startswith("Both ends keep clear of ground and supply")
    assert "--profile adjustable-potentiometer (or fixed-potentiometer, hall)" in card.not_judged
    assert card_of(outcome()).not_judged == ""


@pytest.mark.parametrize(
    ("profile", "said"),
    [("adjustable-potentiometer", TURN), ("fixed-potentiometer", FIXED), (ANY.name, UNKNOWN)],
)
def test_turning_is_advised_only_where_the_mount_is_slotted(profile: str, said: str) -> None:
    from support.judge_cases import given, seen

    found = given(seen(0.1), load_profile(profile)).findings
    assert next(f.next_step for f in found if f.code == "margin-closed").startswith(said)


def test_page_and_text_say_what_the_profile_left_unjudged() -> None:
    """The card says it; whoever reads only the first page or the plain text must read it too."""
    made = replace(outcome(), profile=ANY)
    page = sheet_html(made).partition('<section class="page details">')[0]
    for said in (page, text_sheet(made)):
        assert "Not checked: whether closed and open throttle are at" in said
    for said in (sheet_html(made).partition('<section class="page details">')[2], text_sheet(made)):
        assert "adjustable-potentiometer or fixed-potentiometer or hall" in said  # behind the owner's page
    assert "Not checked:" not in text_sheet(outcome())


def test_a_pass_without_ranges_claims_no_limits_as_reason() -> None:
    from support.judge_cases import given, seen

    assert given(seen(), ANY).reason.startswith("Both ends keep clear of ground and supply")
    assert given(seen(), load_profile("adjustable-potentiometer")).reason.startswith(
        "Both ends within limits"
    )


def test_every_point_not_shown_stands_on_the_first_page() -> None:
    points = tuple(f"Thing {k}: it needs something else. Do {k}." for k in range(9))
    for made in (outcome(), outcome(worn=True)):
        shown = replace(made, judgement=replace(made.judgement, not_shown=points[:5]))
        page = sheet_html(shown).partition('<section class="page details">')[0].lower()
        assert all(f"thing {k}" in page for k in range(5))
        assert all(f"thing {k}" in text_sheet(shown) for k in range(5))
    many = replace(made, judgement=replace(made.judgement, not_shown=points))
    assert "; 3 more. In full on the next page." in sheet_html(many)


@pytest.mark.parametrize("made", [outcome(), replace(outcome(), profile=ANY), outcome(worn=True)])
def test_card_and_text_ask_for_the_same_next_step(made: Outcome) -> None:
    assert f"\nNext: {card_of(made).next_step}\n" in text_sheet(made)


@pytest.mark.parametrize("made", [replace(outcome(), profile=ANY)])
def test_without_a_measured_end_no_other_profile_is_offered(made: Outcome) -> None:
    """A signal that never moved, or no analogue one, has no end that another profile could judge."""
    assert "Not checked" in not_judged(made)
    none = {k: replace(q, value=None, u95=None) for k, q in made.judgement.quantities.items()}
    assert not_judged(replace(made, judgement=replace(made.judgement, quantities=none))) == ""
