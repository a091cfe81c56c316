"""The labelled population: wide, seeded, and labelled as it is."""

from __future__ import annotations

import numpy as np
import pytest

from support.population import CLEAN, DURATION_S, FAULTY, case, clean, faulty
from sweepboard import wire
from sweeprig.errors import InputError
from sweeprig.twin.converter import WIDE_CODES


@pytest.mark.parametrize("kind", [CLEAN, *FAULTY])
def test_every_kind_plays_again_the_same(kind: str) -> None:
    one, again = case(kind, 3), case(kind, 3)
    assert one == again
    short = one.__class__(**{**one.__dict__, "seconds": 0.3})
    assert np.array_equal(short.play().capture.records.sums, short.play().capture.records.sums)


def test_an_unknown_kind_is_named() -> None:
    with pytest.raises(InputError, match="gremlin"):
        case("gremlin", 0)


def test_clean_cases_have_no_fault_and_clear_ends() -> None:
    for drawn in clean(200, 50):
        assert drawn.spec.faults == ()
        ends = (drawn.spec.closed_v, drawn.spec.open_v)
        assert min(ends) > 0.25
        assert max(ends) <= 4.75


def test_clean_cases_show_all_that_a_sound_hand_does() -> None:
    hands = [c.spec.hand for c in clean(300)]
    for what in ("snap", "bounce", "tremor", "hesitate", "partial"):
        assert sum(getattr(h, what) > 0 for h in hands) > 20
    assert {h.starts for h in hands} == {"closed", "open"}
    cases = list(clean(300))
    assert {c.spec.truth.sense for c in cases} == {"rising", "falling"}
    assert {c.hookup for c in cases} == {"powered", "tapped"}
    assert max(c.rig["hum_v"] for c in cases) > 3e-3


def test_clean_cases_cross_every_wide_code() -> None:
    crossed = set()
    for drawn in clean(60):
        tall = max(drawn.spec.closed_v, drawn.spec.open_v) == 4.75
        if drawn.rig["chip"] == "rp2040" and (tall or drawn.seed < 6):
            r = drawn.play().capture.records
            crossed |= {w for w in WIDE_CODES if r.mins[:, 0].min() < w < r.maxs[:, 0].max()}
    assert crossed == set(WIDE_CODES)


def test_faulty_durations_and_places_cover_their_ranges() -> None:
    lengths = np.array([c.spec.faults[0].duration_s for c in faulty("loose", 300)])
    assert lengths.min() >= DURATION_S[0]
    assert lengths.max() <= DURATION_S[1]
    assert lengths.min() < 15e-6
    assert lengths.max() > 40e-3
    places = np.array([c.places[0] for c in faulty("worn", 300)])
    assert places.min() < 0.1
    assert places.max() > 0.9


@pytest.mark.parametrize("kind", ["worn", "loose", "single", "supply-dropout", "loose-ground"])
def test_most_dropouts_happen_and_tell_what_they_reached(kind: str) -> None:
    n = sum(bool(drawn.play().reached()) for drawn in faulty(kind, 6))
    assert n >= 4


def test_causes_are_words_of_the_trade() -> None:
    assert case("worn-and-loose", 1).causes == ("connection", "track")
    assert case("supply-dropout", 1).causes == ("supply",)
    assert case("loose-ground", 1).causes == ("ground",)
    assert case(CLEAN, 1).causes == ()


def test_dead_band_signal_stands_at_a_rail() -> None:
    for drawn in faulty("dead-band", 4):
        played = drawn.play()
        volts = played.capture.records.sums[:, 0] / wire.WINDOW * played.world.front_end.lsb_v
        supply = played.truth.supply_v
        assert min(played.truth.closed_v, supply - played.truth.open_v) < 0.15 or (
            min(played.truth.open_v, supply - played.truth.closed_v) < 0.15
        )
        assert volts.min() < 0.2 or volts.max() > supply - 0.2
