"""Flat spots of a second track: the first says that the lever moves on."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from support.lever import lever, sensed, strokes
from sweeprig.analysis.analyse import analyse
from sweeprig.analysis.model import Finding
from sweeprig.capture.model import Channel, FloatArray, Starts
from sweeprig.words import Sense

SUPPLY_V = 5.012


def named(x: FloatArray, of_b: FloatArray, *, opposed: bool) -> list[Finding]:
    """Faults and doubts of a pair whose second wiper is at `of_b`, shares of travel."""
    t = sensed(x)
    noise = np.random.default_rng(8).normal(0, 6e-4, x.size)
    rising = 0.6 + 3.6 * of_b + noise
    mean = SUPPLY_V - rising if opposed else rising
    both = replace(t, signal_b=Channel(mean, mean - 2.6e-3, mean + 2.6e-3))
    found = analyse(both, starts=Starts.CLOSED, given_sense=Sense.UNKNOWN).findings
    return [f for f in found if f.severity != "note"]


def stuck(x: FloatArray, low: float, high: float) -> FloatArray:
    return np.where((x > low) & (x < high), low, x)


@pytest.mark.parametrize("opposed", [False, True])
@pytest.mark.parametrize(("low", "high"), [(0.3375, 0.3625), (0.586, 0.618)])
def test_a_flat_spot_of_the_second_track_is_named(low: float, high: float, opposed: bool) -> None:
    x = lever(strokes([1.1, 1.3, 1.2, 1.0, 1.25, 1.15, 1.05, 1.2]))
    found = named(x, stuck(x, low, high), opposed=opposed)
    flat = [f for f in found if f.code == "flat-spot"]
    assert [(f.channel, f.severity) for f in flat] == [(1, "fault")]
    assert "signal A moves on" in flat[0].evidence
    where = flat[0].where_percent
    assert where is not None
    assert 100 * low - 1.5 < where[0] < where[1] < 100 * high + 1.5, (
        "by the lever's travel, for opposed tracks too"
    )


@pytest.mark.parametrize("opposed", [False, True])
def test_a_sound_pair_and_a_hand_that_waits_have_none(opposed: bool) -> None:
    x = lever(strokes([1.1, 1.3, 1.2, 1.0, 1.25, 1.15, 1.05, 1.2]))
    assert not [f for f in named(x, x, opposed=opposed) if f.code == "flat-spot"]
    legs = [(0.0, 0.5)]
    for k in range(8):
        there = [(0.45, 0.5), (0.45, 0.25)]
        legs += [*there, (1.0, 0.6), (1.0, 0.5)] if k % 2 == 0 else [*there, (0.0, 0.5), (0.0, 0.5)]
    x = lever(legs)
    assert not [f for f in named(x, x, opposed=opposed) if f.code == "flat-spot" and f.channel == 1]
