"""Pins told from ohmmeter readings. Expected values come from the circuit laws (Ohm, Kirchhoff), worked by hand."""

from __future__ import annotations

import math
from itertools import combinations

import pytest

from sweeprig.bench.connection.pins import identify_pins
from sweeprig.errors import InputError

OL = math.inf


def potentiometer(
    ground: int,
    supply: int,
    wiper: int,
    *,
    track: float = 5000.0,
    at: tuple[float, float] = (0.1, 0.85),
    series: float = 0.0,
) -> dict[tuple[int, int], tuple[float, float]]:
    """Return the three pairs of readings of an ideal track."""
    key = lambda a, b: (min(a, b), max(a, b))  # noqa: E731
    return {
        key(ground, supply): (track, track),
        key(ground, wiper): (track * at[0] + series, track * at[1] + series),
        key(supply, wiper): (track * (1 - at[0]) + series, track * (1 - at[1]) + series),
    }


def whole(readings: dict, pins: range) -> dict:
    """Fill the pairs that are not joined with open circuit."""
    return {pair: readings.get(pair, (OL, OL)) for pair in combinations(pins, 2)}


@pytest.mark.parametrize("order", [(1, 2, 3), (3, 2, 1), (2, 3, 1), (1, 3, 2)])
def test_a_three_pin_track_is_told_in_any_order(order):
    ground, supply, wiper = order
    result = identify_pins(potentiometer(ground, supply, wiper))
    (track,) = result.tracks
    assert (track.ground, track.supply, track.wiper) == order
    assert track.track_ohm == pytest.approx(5000)
    assert track.travel_percent == pytest.approx(75)
    assert result.safe


def test_a_resistor_in_the_wiper_lead_is_taken_out():
    (track,) = identify_pins(potentiometer(1, 2, 3, series=1000.0)).tracks
    assert track.wiper_ohm == pytest.approx(1000)
    assert track.track_ohm == pytest.approx(5000)


def test_idle_contacts_are_set_apart_first():
    readings = whole({**potentiometer(1, 2, 3), (4, 5): (0.4, OL)}, range(1, 6))
    result = identify_pins(readings)
    assert [s.pins for s in result.switches] == [(4, 5)]
    assert result.switches[0].closed_at == "closed"
    assert len(result.tracks) == 1
    assert result.safe


def test_an_idle_contact_to_sensor_ground_is_set_apart():
    track = potentiometer(1, 2, 3)
    to_ground = {(1, 4): (0.3, OL), (2, 4): (5000.3, OL), (3, 4): (500.3, OL)}
    result = identify_pins({**track, **to_ground})
    assert [s.pins for s in result.switches] == [(1, 4)]
    assert result.tracks[0].wiper == 3
    assert result.safe


def test_two_separate_tracks_on_six_pins():
    readings = whole({**potentiometer(1, 2, 3), **potentiometer(6, 5, 4, track=2000.0)}, range(1, 7))
    result = identify_pins(readings)
    assert {(t.ground, t.supply, t.wiper) for t in result.tracks} == {(1, 2, 3), (6, 5, 4)}


def test_nothing_moves_is_not_a_track():
    readings = {(1, 2): (5000.0, 5000.0), (1, 3): (1000.0, 1000.0), (2, 3): (4000.0, 4000.0)}
    result = identify_pins(readings)
    assert not result.safe
    assert "did not move" in result.reasons[0]


def test_contradicting_readings_are_not_guessed():
    readings = {(1, 2): (5000.0, 3000.0), (1, 3): (900.0, 4000.0), (2, 3): (4100.0, 5200.0)}
    result = identify_pins(readings)
    assert not result.tracks
    assert result.unexplained == (1, 2, 3)
    assert "not the readings of a potentiometer" in result.reasons[0]


def test_an_open_pin_stops_it():
    result = identify_pins(whole(potentiometer(1, 2, 3), range(1, 5)))
    assert result.unexplained == (4,)
    assert not result.safe


@pytest.mark.parametrize(
    "readings",
    [
        {(1, 2): (1.0, 1.0)},
        {(1, 2): (5000.0, 5000.0), (1, 3): (1.0, 2.0)},
        {(1, 2): (-1.0, 1.0), (1, 3): (1.0, 1.0), (2, 3): (1.0, 1.0)},
        {(1, 2): (math.nan, 1.0), (1, 3): (1.0, 1.0), (2, 3): (1.0, 1.0)},
    ],
)
def test_readings_that_cannot_be_used_are_named(readings):
    with pytest.raises(InputError):
        identify_pins(readings)
