"""What the strokes that were taken can tell of a worn spot, and how many more would tell it from a loose contact."""

from __future__ import annotations

from dataclasses import replace
from math import comb

import numpy as np
import pytest

from support.lever import changed, lever, sensed, strokes
from support.outcomes import make_setup
from sweeprig.analysis.analyse import analyse
from sweeprig.analysis.detection_power import (
    FEWEST_AT_ONE_PLACE,
    MOST_EVENTS,
    N_FINE,
    SURE_P,
    detection_power,
    more_strokes,
)
from sweeprig.analysis.model import Analysis, Code, Finding
from sweeprig.analysis.statistics import again_p
from sweeprig.bench.sweep.more import strokes_that_would_tell
from sweeprig.capture.model import Trace
from sweeprig.judge.profile import load_profile
from sweeprig.words import Sense, Starts


def look(trace: Trace) -> Analysis:
    return analyse(trace, starts=Starts.CLOSED, given_sense=Sense.UNKNOWN)


def lifting(n_strokes: int, at: dict[int, float], *, depth_v: float = 0.5) -> Trace:
    """Strokes of which some lift for 3 windows where they pass a place: number of the stroke to share of travel."""
    x = lever(strokes([0.8] * n_strokes))
    trace = sensed(x)
    by, stroke = np.zeros(x.size), np.cumsum(np.diff(x != np.round(x), prepend=0) == 1) - 1
    for number, place in at.items():
        own = np.flatnonzero(stroke == number)
        first = own[np.argmin(np.abs(x[own] - place))]
        by[first : first + 3] = -depth_v
    return replace(trace, signal_a=changed(trace.signal_a, by))


def only(found: Analysis, code: Code) -> Finding:
    return next(f for f in found.findings if f.code is code)


def test_chance_brings_two_strokes_to_one_place_but_not_three() -> None:
    """The least number of strokes is what the test itself asks for: one event each, at one place, time spent evenly."""

    def chance(k: int) -> float:
        return again_p([np.array([100])] * k, [np.ones(N_FINE)] * k)

    assert chance(FEWEST_AT_ONE_PLACE - 1) > SURE_P >= chance(FEWEST_AT_ONE_PLACE)


@pytest.mark.parametrize(("n", "by_hand"), [(3, 1 / 8), (5, 16 / 32), (6, 42 / 64)])
def test_power_is_a_tail_of_the_binomial(n: int, by_hand: float) -> None:
    assert detection_power(n, 0.5) == pytest.approx(by_hand)
    assert detection_power(n, 1.0) == pytest.approx(1.0)
    assert detection_power(2, 1.0) == 0.0
    assert detection_power(12, 0.5) == pytest.approx(sum(comb(12, k) for k in range(3, 13)) / 2**12)


def test_two_lifts_at_one_place_of_three_strokes_ask_for_more() -> None:
    stray = only(look(lifting(3, {0: 0.3, 2: 0.3})), Code.STRAY_DROPOUT)
    assert stray.severity == "doubt"
    more = int(stray.numbers["more_strokes"])
    assert 1 <= more <= 2
    assert f"sweep again with {3 + more} slow strokes" in stray.next_step
    assert (
        "3 strokes may not show a worn spot: one that acts in every second stroke is missed in 88 of 100 sweeps"
        in stray.evidence
    )


def test_strokes_asked_for_name_the_place_once_taken() -> None:
    more = int(only(look(lifting(3, {0: 0.3, 2: 0.3})), Code.STRAY_DROPOUT).numbers["more_strokes"])
    found = look(lifting(3 + more, {0: 0.3, 2: 0.3, 3: 0.3, 4: 0.3}))
    assert only(found, Code.WORN_SPOT).where_percent == pytest.approx((30, 30), abs=1)


@pytest.mark.parametrize("n", [10, 12])
def test_three_lifts_at_one_place_of_many_strokes_are_worn(n: int) -> None:
    """It was a loose connection at no one place, with a clustering p-value of 0.002."""
    found = look(lifting(n, {1: 0.3, 4: 0.3, 8: 0.3}))
    assert only(found, Code.WORN_SPOT).where_percent == pytest.approx((30, 30), abs=1)
    assert only(look(lifting(n, {1: 0.3, 4: 0.3, 8: 0.3, 2: 0.7})), Code.WORN_SPOT)


def test_three_at_one_place_among_as_many_elsewhere_are_loose() -> None:
    at = {1: 0.3, 4: 0.3, 8: 0.3, 2: 0.7, 5: 0.9, 10: 0.55}
    assert only(look(lifting(12, at)), Code.LOOSE_CONNECTION)


def test_one_event_in_many_strokes_asks_for_none() -> None:
    assert "more_strokes" not in only(look(lifting(8, {0: 0.3})), Code.STRAY_DROPOUT).numbers


def test_a_loose_contact_without_a_place_asks_for_none() -> None:
    loose = only(look(lifting(6, {0: 0.2, 1: 0.7, 3: 0.45, 4: 0.85, 5: 0.1})), Code.LOOSE_CONNECTION)
    assert "more_strokes" not in loose.numbers


def test_a_loose_contact_beside_a_likely_place_asks_for_more() -> None:
    loose = only(look(lifting(4, {0: 0.3, 1: 0.7, 2: 0.3})), Code.LOOSE_CONNECTION)
    assert loose.numbers["more_strokes"] > 0


def test_a_sweep_asks_for_what_the_analysis_says() -> None:
    profile = load_profile("adjustable-potentiometer")
    two = lifting(3, {0: 0.3, 2: 0.3})
    wanted = only(look(two), Code.STRAY_DROPOUT).numbers["more_strokes"]
    assert strokes_that_would_tell(two, make_setup(), profile) == wanted
    assert strokes_that_would_tell(lifting(3, {}), make_setup(), profile) == 0
    assert strokes_that_would_tell(lifting(4, dict.fromkeys(range(4), 0.3)), make_setup(), profile) == 0
    cut = lifting(3, {}).signal_a.only(slice(0, 10))
    short = replace(two, signal_a=cut, supply=None, t_s=two.t_s[:10], gap_before=two.gap_before[:10])
    assert strokes_that_would_tell(short, make_setup(), profile) == 0


def test_a_contact_that_opens_all_the_time_is_no_question_of_strokes() -> None:
    found = look(lifting(4, dict.fromkeys(range(2), 0.3)))
    there = [e for e in found.events if e.channel == 0]
    place = np.clip(100 * (lever(strokes([0.8] * 4))), 0, 100)
    assert more_strokes(tuple(there), place, found.strokes) is not None
    assert more_strokes(tuple(there * (MOST_EVENTS // len(there) + 1)), place, found.strokes) is None
