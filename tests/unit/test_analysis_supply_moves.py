"""A ratiometric sensor on a supply that moves: what follows the supply is no movement and no fault of the sensor."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from support.lever import WINDOW_S, lever, sensed, strokes
from support.outcomes import CLOSED_V, OPEN_V
from sweeprig.analysis.analyse import analyse
from sweeprig.analysis.model import Analysis, Code
from sweeprig.analysis.supply import SAG_PERCENT, look
from sweeprig.capture.model import Channel, FloatArray, Sense, Starts

SUPPLY_V = 5.012
PLACES = lever(strokes([0.7] * 6))
TIME_S = np.arange(PLACES.size) * WINDOW_S


def on_supply(supply_v: FloatArray, *, follows: bool = True) -> Analysis:
    """A sound sensor whose signal follows the supply (n,) [V] window by window, or has a level of its own."""
    t = sensed(PLACES)
    rng = np.random.default_rng(3)
    seen = supply_v + rng.normal(0, 4e-4, supply_v.size)
    share = supply_v / SUPPLY_V if follows else np.ones_like(supply_v)
    signal = Channel(*(v * share for v in (t.signal_a.mean_v, t.signal_a.min_v, t.signal_a.max_v)))
    trace = replace(t, signal_a=signal, supply=Channel(seen, seen - 2e-3, seen + 2e-3))
    return analyse(trace, starts=Starts.CLOSED, given_sense=Sense.UNKNOWN)


@pytest.mark.parametrize("beyond", [-0.005, 0.0, 0.01])
def test_an_end_before_a_sag_is_at_no_rail_of_after_it(beyond: float) -> None:
    """The supply falls below what the open end had while the supply was whole, and stays there."""
    depth = 1 - OPEN_V / SUPPLY_V + beyond
    found = on_supply(SUPPLY_V * (1 - depth * np.interp(TIME_S, [2.0, 2.3], [0.0, 1.0])))
    assert Code.DEAD_BAND_OPEN not in [f.code for f in found.findings]
    assert Code.SUPPLY_SAG in [f.code for f in found.findings]


@pytest.mark.parametrize("hz", [7.0, 50.0, 100.0, 301.0])
@pytest.mark.parametrize("peak_v", [0.01, 0.04, 0.06])
def test_ripple_on_the_supply_leaves_the_rests(hz: float, peak_v: float) -> None:
    found = on_supply(SUPPLY_V + peak_v / 2 * np.sin(2 * np.pi * hz * TIME_S))
    assert found.findings == ()
    assert [r.place for r in found.rests] == ["low", "high"] * 3 + ["low"]
    assert found.low is not None
    assert found.low.ratio == pytest.approx(CLOSED_V / SUPPLY_V, abs=1e-4)


def test_a_supply_that_drifts_is_no_sag() -> None:
    assert on_supply(SUPPLY_V * (1 - 0.03 * TIME_S / TIME_S[-1])).findings == ()


@pytest.mark.parametrize("follows", [True, False])
@pytest.mark.parametrize("drop", [0.01, 0.02, -0.03])
def test_visits_agree_while_the_supply_drifts(drop: float, follows: bool) -> None:
    supply_v = SUPPLY_V * (1 - drop * TIME_S / TIME_S[-1])
    found = on_supply(supply_v, follows=follows)
    assert found.findings == ()
    for end in (found.low, found.high):
        assert end is not None
        assert end.n_agreeing == end.n_rests == (4 if end is found.low else 3)


@pytest.mark.parametrize("depth", [0.03, 0.12])
def test_a_supply_that_gives_way_within_a_second_is_a_sag(depth: float) -> None:
    knots = ([2.0, 2.1, 3.0, 3.1], [0.0, 1.0, 1.0, 0.0])
    found = on_supply(SUPPLY_V * (1 - depth * np.interp(TIME_S, *knots)))
    assert [f.code for f in found.findings] == [Code.SUPPLY_SAG]
    assert found.low is not None
    assert found.low.ratio == pytest.approx(CLOSED_V / SUPPLY_V, abs=1e-4)


@pytest.mark.parametrize("phase", [0.0, 1.0, 2.0, 4.0])
@pytest.mark.parametrize("hz", [50.0, 60.0, 100.0, 120.0, 300.0])
def test_ripple_at_the_borders_of_a_capture_is_no_sag(hz: float, phase: float) -> None:
    found = on_supply(SUPPLY_V + 0.11 * np.sin(2 * np.pi * hz * TIME_S + phase))
    assert Code.SUPPLY_SAG not in [f.code for f in found.findings]


@pytest.mark.parametrize("step_v", [0.05, 0.1])
def test_a_supply_written_in_coarse_steps_has_no_dropouts(step_v: float) -> None:
    t = sensed(PLACES)
    noise = np.random.default_rng(3).normal(0, 0.004, PLACES.size)
    seen = np.round((4.95 + 0.4 * step_v * np.sin(3 * TIME_S) + noise) / step_v) * step_v
    signal = t.signal_a.mean_v
    table = replace(
        t, signal_a=Channel(signal, signal, signal), supply=Channel(seen, seen, seen), n_per_window=1
    )
    found = analyse(table, starts=Starts.CLOSED, given_sense=Sense.UNKNOWN).findings
    assert [f.code for f in found] == []


def test_a_coarse_supply_that_goes_is_a_dropout() -> None:
    t = sensed(PLACES)
    seen = np.full(PLACES.size, 5.0)
    seen[2000:2020] = 0.1
    signal = t.signal_a.mean_v.copy()
    signal[2000:2020] *= 0.02
    table = replace(
        t, signal_a=Channel(signal, signal, signal), supply=Channel(seen, seen, seen), n_per_window=1
    )
    found = analyse(table, starts=Starts.CLOSED, given_sense=Sense.UNKNOWN).findings
    assert Code.SUPPLY_DROPOUT in [f.code for f in found]


def within(level: FloatArray, around: Channel) -> Channel:
    """A channel that follows a level (n,) whose steps fall into the middle of windows, as they do in a rig's."""
    before, after = level, np.append(level[1:], level[-1])
    low, high = np.minimum(before, after), np.maximum(before, after)
    return Channel(around.mean_v * (before + after) / 2, around.min_v * low, around.max_v * high)


def stepping(drop: float, *, signal_follows: bool = True) -> Analysis:
    """A relay on the same 5 V: steps too small for a dropout of the supply, large enough for one of the signal."""
    x = lever(strokes([2.5] * 6))
    at_s = np.arange(x.size) * WINDOW_S
    on = np.any([(at <= at_s) & (at + 0.15 > at_s) for at in np.arange(0.4, at_s[-1], 0.31)], axis=0)
    t, level = sensed(x), 1 - drop * on
    seen = SUPPLY_V + np.random.default_rng(3).normal(0, 4e-4, x.size)
    still = Channel(seen, seen - 2e-3, seen + 2e-3)
    supply = within(level, still) if signal_follows else still
    made = replace(t, signal_a=within(level, t.signal_a), supply=supply)
    return analyse(made, starts=Starts.CLOSED, given_sense=Sense.UNKNOWN)


@pytest.mark.parametrize("drop", [0.009, 0.01, 0.011])
def test_small_steps_of_the_supply_are_no_events_of_the_signal(drop: float) -> None:
    found = stepping(drop)
    assert [e for e in found.events if e.channel == 0]
    assert all(e.with_supply for e in found.events if e.channel == 0)
    assert not [f.code for f in found.findings if f.severity == "fault"]


def test_the_same_steps_while_the_supply_stays_are_events() -> None:
    found = stepping(0.011, signal_follows=False)
    assert [e for e in found.events if e.channel == 0 and not e.with_supply]


def test_a_signal_that_drops_while_its_supply_stays_is_still_seen() -> None:
    on = np.any([(at <= TIME_S) & (at + 0.005 > TIME_S) for at in np.arange(0.4, TIME_S[-1], 0.31)], axis=0)
    t = sensed(PLACES)
    a = t.signal_a
    signal = Channel(*(v * (1 - 0.2 * on) for v in (a.mean_v, a.min_v, a.max_v)))
    seen = SUPPLY_V + np.random.default_rng(3).normal(0, 4e-4, TIME_S.size)
    found = analyse(
        replace(t, signal_a=signal, supply=Channel(seen, seen - 2e-3, seen + 2e-3)),
        starts=Starts.CLOSED,
        given_sense=Sense.UNKNOWN,
    )
    assert [f.code for f in found.findings if f.severity == "fault"] == [Code.LOOSE_CONNECTION]


@pytest.mark.parametrize(("hz", "steps"), [(50.0, 1.5), (100.0, 2.8), (250.0, 2.6)])
def test_noise_of_a_coarse_supply_is_no_sag(hz: float, steps: float) -> None:
    """8 bits with noise of some steps: the lowest of many medians of few readings is far below the highest."""
    step_v = 5.5 / 256
    for seed in range(20):
        noise = np.random.default_rng(seed).normal(0, steps, round(12 * hz))
        seen = step_v * np.round(SUPPLY_V / step_v + noise)
        assert look(Channel(seen, seen, seen), nominal_v=5.0, window_s=1 / hz).sag_percent < SAG_PERCENT


@pytest.mark.parametrize("steps", [0.0, 0.5, 1.0])
def test_a_sag_beside_some_noise_of_a_coarse_supply_is_seen(steps: float) -> None:
    step_v, t = 5.5 / 256, np.arange(0.0, 12.0, 0.01)
    deep = SUPPLY_V * np.where((t > 5) & (t < 7), 0.95, 1.0)
    seen = step_v * np.round(deep / step_v + np.random.default_rng(1).normal(0, steps, t.size))
    sag = look(Channel(seen, seen, seen), nominal_v=5.0, window_s=0.01).sag_percent
    assert sag == pytest.approx(5.0, abs=1.7)
