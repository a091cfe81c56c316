"""The ends of a second track: they repeat as those of the first must."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from support.lever import changed, lever, sensed, strokes
from sweeprig.analysis.analyse import analyse
from sweeprig.analysis.model import Analysis, Cause, Code, Finding, FloatArray
from sweeprig.capture.model import Channel, Sense, Starts


def found_on(x: FloatArray, *, by_a: FloatArray, by_b: FloatArray, opposed: bool = False) -> list[Finding]:
    """The ends that do not repeat, of a sound sensor with something added to each of its tracks [V]."""
    trace = sensed(x)
    own = sensed(x, low=4.7, high=0.9, seed=6) if opposed else sensed(x, low=0.3, high=3.9, seed=6)
    two = replace(
        trace, signal_a=changed(trace.signal_a, by_a), signal_b=changed(own.signal_a, by_b), load_ohm=None
    )
    found = analyse(two, starts=Starts.CLOSED, given_sense=Sense.UNKNOWN).findings
    return [f for f in found if f.code is Code.ENDS_NOT_REPEATED]


def looked_at(x: FloatArray, by_b: FloatArray, *, opposed: bool = False) -> Analysis:
    """A sound sensor with something added to its track B [V]."""
    trace = sensed(x)
    own = sensed(x, low=4.3, high=0.9, seed=6) if opposed else sensed(x, low=0.8, high=3.9, seed=6)
    two = replace(trace, signal_b=changed(own.signal_a, by_b), load_ohm=None)
    return analyse(two, starts=Starts.CLOSED, given_sense=Sense.UNKNOWN)


@pytest.mark.parametrize("opposed", [False, True])
@pytest.mark.parametrize("drift_v", [0.33, -0.33, 0.12])
def test_an_end_of_a_drifting_second_track_holds_all_its_visits(drift_v: float, opposed: bool) -> None:
    """A says that the lever was at its stops: B's levels there differ, and its interval says by how much."""
    x = lever(strokes([0.7] * 8))
    found = looked_at(x, np.linspace(0, drift_v, x.size), opposed=opposed)
    assert found.low is not None
    assert found.high is not None
    at = (found.high, found.low) if opposed else (found.low, found.high)
    first = (0.9, 4.3) if opposed else (0.8, 3.9)
    for own, end, level in zip(at, (found.low_b, found.high_b), first, strict=True):
        assert end is not None
        assert (end.n_rests, end.n_turned_short) == (own.n_rests, 0)
        assert end.value_v == pytest.approx(level + drift_v / 2, abs=0.1 * abs(drift_v))
        assert end.spread_v == pytest.approx(0.3 * abs(drift_v), rel=0.3)
        assert 2.2 * end.u_v > end.spread_v


def still(x: FloatArray) -> FloatArray:
    return np.zeros(x.size)


@pytest.mark.parametrize("opposed", [False, True])
@pytest.mark.parametrize("drift_v", [0.2, -0.2])
def test_a_second_track_that_drifts_is_a_doubt(drift_v: float, opposed: bool) -> None:
    x = lever(strokes([0.7] * 8))
    found = found_on(x, by_a=still(x), by_b=np.linspace(0, drift_v, x.size), opposed=opposed)
    assert found
    assert {(f.channel, f.severity, f.cause) for f in found} == {(1, "doubt", Cause.TRACK)}
    assert all(f.evidence.startswith("track B: the ") and "track A" in f.next_step for f in found)


def test_a_second_track_that_steps_at_both_ends_is_a_fault() -> None:
    x = lever(strokes([0.7] * 8))
    step = np.where(np.arange(x.size) > 0.55 * x.size, 0.06, 0.0)
    (found,) = found_on(x, by_a=still(x), by_b=step)
    assert (found.channel, found.severity) == (1, "fault")
    assert "mount" not in found.evidence + found.next_step


def test_an_odd_visit_of_an_opposed_track_names_its_own_end() -> None:
    """Its low end is where the lever is open."""
    x = lever(strokes([0.7] * 8))
    visits = np.cumsum(np.abs(np.diff((x == 1).astype(int), prepend=0)) > 0)
    here = np.flatnonzero((x == 1) & (visits == np.unique(visits[x == 1])[1]))
    edges = [here[0] - 200, here[0], here[-1], here[-1] + 200]
    (found,) = found_on(
        x, by_a=still(x), by_b=np.interp(np.arange(x.size), edges, [0, 0.05, 0.05, 0]), opposed=True
    )
    assert (found.channel, found.severity) == (1, "doubt")
    assert found.evidence.startswith("track B: the open end")


def test_a_mount_that_slips_is_told_once_with_two_tracks() -> None:
    x = lever(strokes([0.7] * 8))
    step = np.where(np.arange(x.size) > 0.55 * x.size, 0.06, 0.0)
    (found,) = found_on(x, by_a=step, by_b=step)
    assert (found.channel, found.severity, found.cause) == (0, "fault", Cause.MOUNTING)


def test_a_hand_that_presses_unevenly_is_no_drift_of_a_steeper_track() -> None:
    """B moves twice as far as A: its ends differ twice as much."""
    rng = np.random.default_rng(8)
    x = lever(strokes([0.7] * 8))
    ends = np.where((x <= 0) | (x >= 1), 1.0, 0.0)
    visits = np.cumsum(np.abs(np.diff(ends, prepend=1.0)) > 0)
    press = rng.uniform(-4e-3, 4e-3, int(visits.max()) + 1)[visits] * ends
    trace = sensed(x + press, low=0.3, high=2.3)
    own = sensed(x + press, low=0.4, high=4.4, seed=6)
    two = replace(trace, signal_b=Channel(own.signal_a.mean_v, own.signal_a.min_v, own.signal_a.max_v))
    found = analyse(two, starts=Starts.CLOSED, given_sense=Sense.UNKNOWN).findings
    assert Code.ENDS_NOT_REPEATED not in {f.code for f in found}
