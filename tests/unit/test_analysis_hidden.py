"""What the lever's own way hides on a track is listed with the result."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from support.lever import Legs, changed, lever, sensed, strokes
from support.outcomes import CLOSED_V, OPEN_V
from sweeprig.analysis.analyse import analyse
from sweeprig.analysis.model import Analysis
from sweeprig.capture.model import FloatArray, Sense, Starts


def look(x: FloatArray) -> Analysis:
    return analyse(sensed(x), starts=Starts.CLOSED, given_sense=Sense.UNKNOWN)


def told(a: Analysis, begin: str) -> list[str]:
    return [t for t in a.not_shown if t.startswith(begin)]


def sticking(places: int) -> Legs:
    """Strokes that stop at so many places, each time others, for 40 to 150 ms."""
    rng, legs = np.random.default_rng(4), [(0.0, 0.5)]
    for k in range(6):
        to = float(k % 2 == 0)
        for at in np.sort(rng.uniform(0.1, 0.9, places))[:: 1 if to else -1]:
            legs += [(float(at), 0.9 / (places + 1)), (float(at), float(rng.uniform(0.04, 0.15)))]
        legs += [(to, 0.9 / (places + 1)), (to, 0.5)]
    return legs


def test_a_lever_that_sticks_hides_a_flat_spot_and_that_is_said() -> None:
    assert told(look(lever(sticking(9))), "Flat spots: the lever stops at some ")
    assert not told(look(lever(sticking(1))), "Flat spots")
    assert not told(look(lever(strokes([0.9] * 6))), "Flat spots")


def test_places_beside_the_stops_are_named_where_no_dip_can_show() -> None:
    (text,) = told(look(lever(strokes([0.9] * 6))), "Shallow dips at 0 to ")
    assert "to 100 % of travel" in text


def test_a_dip_just_off_closed_is_not_found_and_is_listed() -> None:
    x = lever(strokes([0.9] * 6))
    trace = sensed(x)
    dip = -0.028 * np.exp(-0.5 * ((x - 0.02) / 0.002) ** 2)
    seen = analyse(
        replace(trace, signal_a=changed(trace.signal_a, dip)),
        starts=Starts.CLOSED,
        given_sense=Sense.UNKNOWN,
    )
    (text,) = told(seen, "Shallow dips")
    assert not seen.findings
    assert float(text.split(" to ")[1].split(",")[0]) >= 2


def shallow_one_way(way: int, *, falls: bool = False) -> Analysis:
    """Ten strokes of a hand over a bell of 40 mV that strokes of one direction only show."""
    parts = [np.zeros(400)]
    for k in range(10):
        u = np.linspace(0, 1, 1000 + 40 * k)
        x = 10 * u**3 - 15 * u**4 + 6 * u**5
        parts += [x, np.ones(400)] if k % 2 == 0 else [1 - x, np.zeros(400)]
    x = np.concatenate(parts)
    dip = -0.040 * np.exp(-0.5 * ((x - 0.3) / 0.004) ** 2) * (way * np.gradient(x) > 0)
    low, high = (OPEN_V, CLOSED_V) if falls else (CLOSED_V, OPEN_V)
    trace = sensed(x, low=low, high=high)
    sense = Sense.FALLING if falls else Sense.RISING
    return analyse(
        replace(trace, signal_a=changed(trace.signal_a, dip)), starts=Starts.CLOSED, given_sense=sense
    )


@pytest.mark.parametrize("falls", [False, True])
@pytest.mark.parametrize("way", [1, -1])
def test_a_shallow_dip_in_one_direction_is_listed(way: int, falls: bool) -> None:
    seen = shallow_one_way(way, falls=falls)
    (text,) = told(seen, "A dip in one direction: ")
    assert not [f for f in seen.findings if f.severity != "note"]
    assert f"in 5 of 5 {'rising' if (way > 0) != falls else 'falling'} strokes only" in text
    place = float(text.split("between ")[1].split(" and")[0])
    assert place == pytest.approx(30, abs=2)


def test_a_sound_track_lists_no_dip_in_one_direction() -> None:
    assert not told(shallow_one_way(0), "A dip in one direction")


def test_too_few_whole_strokes_list_no_dip_in_one_direction() -> None:
    """Something is missing in every falling one."""
    x = lever(strokes([0.9] * 8))
    trace, gaps = sensed(x), np.zeros(x.size, dtype=bool)
    gaps[np.flatnonzero(np.diff(np.sign(x - 0.5)) < 0)] = True
    seen = analyse(replace(trace, gap_before=gaps), starts=Starts.CLOSED, given_sense=Sense.UNKNOWN)
    assert not told(seen, "A dip in one direction")
