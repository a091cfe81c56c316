"""Roughness finer than a window, which the means average away: the lowest and highest readings show it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from support.lever import lever, sensed, strokes
from sweeprig.analysis.analyse import analyse
from sweeprig.analysis.model import Code, Finding
from sweeprig.capture.model import BoolArray, Channel, FloatArray, Sense, Starts, Trace

SUPPLY_V = 5.012
PLACES = lever(strokes([0.9] * 6))
MOVING = np.abs(np.gradient(PLACES)) > 1e-6


def found(trace: Trace) -> list[Finding]:
    return list(analyse(trace, starts=Starts.CLOSED, given_sense=Sense.UNKNOWN).findings)


def spread(trace: Trace, where: BoolArray, by_v: float, seed: int = 3) -> Trace:
    """Single readings further apart where `where` is true, the means as they were but for what averaging leaves."""
    rng = np.random.default_rng(seed)
    a = trace.signal_a
    reach = where * by_v / 2 * rng.uniform(0.8, 1.2, (2, a.mean_v.size))
    mean = a.mean_v + where * rng.normal(0, by_v / 60, a.mean_v.size)
    return replace(trace, signal_a=Channel(mean, a.min_v - reach[0], a.max_v + reach[1]))


def moved_in_windows(x: FloatArray) -> Trace:
    """A sound sensor, with what the lever moves inside a window in its lowest and highest."""
    t = sensed(x)
    a, step = t.signal_a, np.abs(np.gradient(t.signal_a.mean_v)) / 2
    return replace(t, signal_a=Channel(a.mean_v, a.min_v - step, a.max_v + step))


def test_roughness_finer_than_a_window_all_over_is_a_fault() -> None:
    (finding,) = found(spread(sensed(PLACES), MOVING, 0.12))
    assert (finding.code, finding.severity) == (Code.ROUGH_TRACK, "fault")
    assert finding.where_percent == pytest.approx((4, 96), abs=2)
    assert "wherever it moves" in finding.evidence


@pytest.mark.parametrize(("low", "high"), [(0.25, 0.75), (0.32, 0.68), (0.1, 0.5)])
@pytest.mark.parametrize("by_v", [0.06, 0.11])
def test_a_wide_rough_part_is_named_from_edge_to_edge(low: float, high: float, by_v: float) -> None:
    rough = MOVING & (low < PLACES) & (high > PLACES)
    (finding,) = found(spread(sensed(PLACES), rough, by_v))
    assert (finding.code, finding.severity) == (Code.ROUGH_TRACK, "fault")
    assert finding.where_percent == pytest.approx((100 * low, 100 * high), abs=2.5)


def test_less_fine_roughness_is_a_doubt() -> None:
    (finding,) = found(spread(sensed(PLACES), MOVING, 0.027))
    assert (finding.code, finding.severity) == (Code.ROUGH_TRACK, "doubt")


def test_readings_as_far_apart_at_rest_are_no_roughness() -> None:
    got = found(spread(sensed(PLACES), np.ones(PLACES.size, bool), 0.05))
    assert Code.ROUGH_TRACK not in {f.code for f in got}


@pytest.mark.parametrize("seconds", [0.08, 0.15, 0.4, 3.0])
def test_movement_inside_a_window_is_no_roughness(seconds: float) -> None:
    got = found(moved_in_windows(lever(strokes([seconds] * 6))))
    assert Code.ROUGH_TRACK not in {f.code for f in got}


def test_wide_spread_in_one_stroke_alone_is_no_rough_track() -> None:
    once = MOVING & (np.arange(PLACES.size) < PLACES.size // 6)
    assert Code.ROUGH_TRACK not in {f.code for f in found(spread(sensed(PLACES), once, 0.06))}


def test_a_table_of_single_readings_shows_no_spread() -> None:
    t = sensed(PLACES)
    a = t.signal_a
    assert not found(replace(t, signal_a=Channel(a.mean_v, a.mean_v, a.mean_v)))


def test_ripple_that_grows_with_the_signal_is_no_roughness() -> None:
    """The lever turns back at open at once: only the closed end shows the range at rest, and ripple is least there."""
    legs = [(0.0, 0.5)]
    for _ in range(5):
        legs += [(1.0, 0.9), (0.0, 0.9), (0.0, 0.5)]
    t = sensed(lever(legs))
    a, supply = t.signal_a, t.supply
    assert supply is not None
    half = 0.04 * a.mean_v / SUPPLY_V
    rippled = replace(t, signal_a=Channel(a.mean_v, a.min_v - half, a.max_v + half))
    fed = Channel(supply.mean_v, supply.min_v - 0.04, supply.max_v + 0.04)
    assert not [f for f in found(replace(rippled, supply=fed)) if f.code is Code.ROUGH_TRACK]
    assert not [
        f for f in found(replace(rippled, supply=None)) if (f.code, f.severity) == (Code.ROUGH_TRACK, "fault")
    ]


@pytest.mark.parametrize(("closed", "where"), [(True, (0, 1)), (False, (99, 100))])
def test_noisy_rests_at_one_end_only_are_a_doubt_there(closed: bool, where: tuple[int, int]) -> None:
    there = (PLACES < 0.01) if closed else (PLACES > 0.99)
    (finding,) = found(spread(sensed(PLACES), there, 0.04))
    assert (finding.code, finding.severity, finding.where_percent) == (Code.WORN_SPOT, "doubt", where)


def test_ripple_that_is_least_at_closed_makes_no_noisy_end() -> None:
    t = sensed(PLACES)
    a, supply = t.signal_a, t.supply
    assert supply is not None
    half = 0.025 * a.mean_v / SUPPLY_V
    rippled = replace(t, signal_a=Channel(a.mean_v, a.min_v - half, a.max_v + half))
    fed = Channel(supply.mean_v, supply.min_v - 0.025, supply.max_v + 0.025)
    for fed_or_not in (fed, None):
        assert Code.WORN_SPOT not in {f.code for f in found(replace(rippled, supply=fed_or_not))}
