"""Causes in their order: the place before the sign, a jump to a rail before a dead band, depth before texture."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from support.lever import WINDOW_S, changed, lever, sensed, strokes
from sweeprig.analysis.analyse import analyse
from sweeprig.analysis.model import Cause, Code, Finding
from sweeprig.capture.model import Channel, FloatArray, Sense, Starts, Trace

PLACES = lever(strokes([0.9] * 6))
SUPPLY_V = 5.012


def found(trace: Trace) -> list[Finding]:
    return list(analyse(trace, starts=Starts.CLOSED, given_sense=Sense.UNKNOWN).findings)


def first_cause(trace: Trace) -> tuple[Code, Cause]:
    got = [f for f in found(trace) if f.severity == "fault"]
    assert got
    return got[0].code, got[0].cause


def with_noise(trace: Trace, where: FloatArray, sd_v: float, seed: int = 2) -> Trace:
    """Noise of single conversions where `where` is true: the mean of a window has a part of it, its range all."""
    rng = np.random.default_rng(seed)
    a = trace.signal_a
    mean = a.mean_v + where * rng.normal(0, sd_v / 4, a.mean_v.size)
    reach = where * sd_v * (2.6 + 0.3 * rng.normal(size=(2, a.mean_v.size)))
    return replace(
        trace,
        signal_a=Channel(mean, np.minimum(a.min_v, mean) - reach[0], np.maximum(a.max_v, mean) + reach[1]),
    )


@pytest.mark.parametrize("sd_v", [0.02, 0.05, 0.08])
@pytest.mark.parametrize("at", [0.05, 0.4, 0.7])
def test_a_rough_region_is_the_track_and_no_interference(sd_v: float, at: float) -> None:
    rough = (at < PLACES) & (at + 0.06 > PLACES)
    code, cause = first_cause(with_noise(sensed(PLACES), rough, sd_v))
    assert cause is Cause.TRACK
    assert code is Code.ROUGH_TRACK or sd_v < 0.05  # less of it stands out upwards than downwards


@pytest.mark.parametrize(
    ("low", "high", "sd_v"), [(0.2, 0.32, 0.03), (0.2, 0.32, 0.08), (0.55, 0.7, 0.03), (0.4, 0.62, 0.08)]
)
def test_a_wide_rough_region_is_one_finding_from_edge_to_edge(low: float, high: float, sd_v: float) -> None:
    """Its events begin at the lower edge rising and at the upper one falling, so where they begin is not one place."""
    rough = (low < PLACES) & (high > PLACES)
    (finding,) = found(with_noise(sensed(PLACES), rough, sd_v))
    assert (finding.code, finding.cause) == (Code.ROUGH_TRACK, Cause.TRACK)
    assert finding.where_percent == pytest.approx((100 * low, 100 * high), abs=1.5)


def test_a_wire_that_opens_for_long_in_movement_is_no_region() -> None:
    for seed in range(12):
        rng = np.random.default_rng([seed, 3])
        where = np.zeros(PLACES.size, bool)
        for k in rng.choice(np.flatnonzero((PLACES > 0.02) & (PLACES < 0.98)), 8):
            where[k : k + 60] = True
        got = found(pulled(sensed(PLACES), where, 0.02))
        assert Cause.CONNECTION in {f.cause for f in got}


def test_two_worn_places_are_named_and_no_loose_contact() -> None:
    where = np.zeros(PLACES.size, bool)
    for at in (0.12, 0.6):
        for k in np.flatnonzero(np.diff(np.sign(PLACES - at))):
            where[k : k + 4] = True
    got = found(pulled(sensed(PLACES), where, 0.02))
    assert [f.code for f in got] == [Code.WORN_SPOT] * 2
    for f, at in zip(got, (12, 60), strict=True):
        assert f.where_percent is not None
        assert sum(f.where_percent) / 2 == pytest.approx(at, abs=1.5)


@pytest.mark.parametrize("seed", range(4))
def test_bursts_at_any_time_are_interference(seed: int) -> None:
    rng = np.random.default_rng(seed)
    burst = np.zeros(PLACES.size, bool)
    burst[rng.integers(0, PLACES.size, 14)] = True
    assert first_cause(with_noise(sensed(PLACES), burst, 0.08))[1] is Cause.INTERFERENCE


def pulled(trace: Trace, where: FloatArray, to_v: float) -> Trace:
    return replace(
        trace,
        signal_a=Channel(
            *(
                np.where(where, to_v, v)
                for v in (trace.signal_a.mean_v, trace.signal_a.min_v, trace.signal_a.max_v)
            )
        ),
    )


@pytest.mark.parametrize("to_v", [0.003, SUPPLY_V - 0.003])
@pytest.mark.parametrize(("start_s", "for_s"), [(2.2, 99.0), (4.6, 99.0), (2.5, 2.0), (3.0, 0.8)])
def test_a_plug_that_comes_off_is_wiring_and_moves_no_end(to_v: float, start_s: float, for_s: float) -> None:
    t = np.arange(PLACES.size) * WINDOW_S
    whole = analyse(sensed(PLACES), starts=Starts.CLOSED, given_sense=Sense.UNKNOWN)
    off = analyse(
        pulled(sensed(PLACES), (t > start_s) & (t < start_s + for_s), to_v),
        starts=Starts.CLOSED,
        given_sense=Sense.UNKNOWN,
    )
    assert [(f.code, f.cause) for f in off.findings] == [(Code.OPEN_SIGNAL, Cause.WIRING)]
    assert off.findings[0].numbers["off_s"] == pytest.approx(min(for_s, t[-1] - start_s), abs=0.03)
    assert off.low is not None
    assert whole.low is not None
    assert off.low.value_v == pytest.approx(whole.low.value_v, abs=1e-3)


def test_a_dead_band_is_reached_by_movement_and_stays_one() -> None:
    short = np.maximum(PLACES - 0.08, 0.0)
    trace = sensed(short, low=0.004)
    assert first_cause(trace) == (Code.DEAD_BAND_CLOSED, Cause.MOUNTING)
    quick = lever([(0.0, 0.5), *[(float(k % 2 == 0), s) for k in range(6) for s in (0.04, 0.5)]])
    assert first_cause(sensed(np.maximum(quick - 0.08, 0.0), low=0.004))[0] is Code.DEAD_BAND_CLOSED


def test_a_wire_that_opens_when_the_lever_moves_is_no_rough_track() -> None:
    rng = np.random.default_rng(3)
    moving = np.flatnonzero(np.abs(np.gradient(PLACES)) > 1e-4)
    where = np.zeros(PLACES.size, bool)
    for k in rng.choice(moving, 14):
        where[k : k + 2] = True
    assert first_cause(pulled(sensed(PLACES), where, 0.02)) == (Code.LOOSE_CONNECTION, Cause.CONNECTION)


def test_lifts_just_off_closed_are_worn_and_not_loose() -> None:
    for at in (0.01, 0.02, 0.04):
        where = np.zeros(PLACES.size, bool)
        for k in np.flatnonzero(np.diff(np.sign(PLACES - at))):
            where[k : k + 3] = True
        code, _ = first_cause(pulled(sensed(PLACES), where, 0.02))
        assert code is Code.WORN_SPOT, at


@pytest.mark.parametrize("at", [0.3, 0.5, 0.7])
def test_noise_over_a_place_in_one_stroke_is_no_rough_region(at: float) -> None:
    """So does a supply that dropped out once: the signal rings on for some windows."""
    trace = sensed(PLACES)
    (k, *_) = np.flatnonzero((at < PLACES) & (np.arange(PLACES.size) > 3000))
    wave = np.zeros(PLACES.size)
    wave[k : k + 40] = 0.06 * np.cos(np.arange(40) * 2.4) * np.exp(-np.arange(40) / 25)
    a = trace.signal_a
    rings = replace(trace, signal_a=Channel(a.mean_v + wave, a.min_v + wave, a.max_v + wave))
    assert Code.ROUGH_TRACK not in {f.code for f in found(rings)}


def lifted_at(ends: list[float], seed: int, n: int = 20) -> Trace:
    """The signal falls to ground for some windows while the lever rests at one of these ends, here and there."""
    rng = np.random.default_rng(seed)
    where = np.zeros(PLACES.size, bool)
    for k in rng.choice(np.flatnonzero(np.isin(PLACES, ends)), n):
        where[k : k + int(rng.integers(2, 6))] = True
    return pulled(sensed(PLACES), where, 0.02)


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("end", [0.0, 1.0])
def test_lifts_at_rest_at_one_end_only_are_not_scattered(end: float, seed: int) -> None:
    (finding,) = found(lifted_at([end], seed))
    assert (finding.code, finding.cause) == (Code.WORN_SPOT, Cause.TRACK)
    assert finding.where_percent == pytest.approx((100 * end, 100 * end), abs=0.5)
    assert "none in" in finding.evidence
    assert "at the other end" in finding.evidence
    assert "plug and harness" in finding.evidence
    assert "clean or replace the contact" in finding.next_step


@pytest.mark.parametrize("seed", range(3))
def test_lifts_at_rest_at_both_ends_are_a_contact(seed: int) -> None:
    assert first_cause(lifted_at([0.0, 1.0], seed)) == (Code.LOOSE_CONNECTION, Cause.CONNECTION)


def test_lifts_in_one_rest_only_are_a_contact() -> None:
    """A harness that was moved once."""
    where = np.zeros(PLACES.size, bool)
    first = int(np.flatnonzero(PLACES > 0)[0])
    where[[first - 60 * k for k in range(1, 8)]] = True
    assert first_cause(pulled(sensed(PLACES), where, 0.02))[0] is Code.LOOSE_CONNECTION


@pytest.mark.parametrize("tau_s", [0.3, 0.8])
@pytest.mark.parametrize("high", [False, True])
def test_a_wire_that_breaks_and_sinks_slowly_is_no_dead_band(tau_s: float, high: bool) -> None:
    """A filter holds the level for a while; the stops were met before, well away from the rail."""
    whole = sensed(lever(strokes([0.9] * 8)))
    at_s, rail = (5.8, SUPPLY_V) if high else (4.2, 0.0)
    t = np.arange(whole.signal_a.mean_v.size) * WINDOW_S
    gone, held = t >= at_s, whole.signal_a.mean_v[round(at_s / WINDOW_S)]
    level = np.where(gone, rail + (held - rail) * np.exp(-(t - at_s) / tau_s), 0.0)
    a = whole.signal_a
    sinks = Channel(*(np.where(gone, level, v) for v in (a.mean_v, a.min_v, a.max_v)))
    looked = analyse(replace(whole, signal_a=sinks), starts=Starts.CLOSED, given_sense=Sense.UNKNOWN)
    assert [(f.code, f.cause) for f in looked.findings] == [(Code.OPEN_SIGNAL, Cause.WIRING)]
    assert f"goes to {'the supply' if high else 'ground'} from" in looked.findings[0].evidence
    assert looked.findings[0].numbers["off_s"] == pytest.approx(t[-1] - at_s, abs=0.05)
    for end, usual in ((looked.low, 0.45), (looked.high, 4.5)):
        assert end is not None
        assert end.value_v == pytest.approx(usual, abs=0.1)


EIGHT = lever(strokes([0.9] * 8))


def rough_between(low: float, high: float, sd_v: float, seed: int) -> Trace:
    """Noise of whole windows over one region."""
    noise = np.random.default_rng(seed).normal(0, sd_v, EIGHT.size)
    trace = sensed(EIGHT)
    return replace(
        trace, signal_a=changed(trace.signal_a, np.where((low < EIGHT) & (high > EIGHT), noise, 0.0))
    )


@pytest.mark.parametrize("seed", range(8))
def test_events_inside_a_rough_region_belong_to_it(seed: int) -> None:
    (finding,) = found(rough_between(0.4, 0.6, 0.016, seed))
    assert (finding.code, finding.cause) == (Code.ROUGH_TRACK, Cause.TRACK)
    assert finding.where_percent == pytest.approx((40, 60), abs=1.5)


def test_a_loose_contact_beside_a_rough_region_is_named() -> None:
    where = np.zeros(EIGHT.size, bool)
    for k in np.random.default_rng(1).choice(np.flatnonzero((EIGHT > 0.7) | (EIGHT < 0.3)), 8):
        where[k : k + 3] = True
    codes = {f.code for f in found(pulled(rough_between(0.4, 0.6, 0.016, 0), where, 0.02))}
    assert codes == {Code.ROUGH_TRACK, Code.LOOSE_CONNECTION}


def test_a_wide_spot_met_from_both_sides_is_one_worn_spot() -> None:
    """The signal is 8 to 15 % of supply low for 50 ms from 47.5 % on when it rises, from 52.5 % on when it falls."""
    for seed, depth_v in ((1, 0.4), (2, 0.7)):
        rng = np.random.default_rng(seed)
        x = lever(strokes([float(rng.uniform(0.6, 1.4)) for _ in range(6)]))
        where = np.zeros(x.size, bool)
        inside = (x > 0.475) & (x < 0.525)
        for k in np.flatnonzero(np.diff(inside.astype(int)) == 1):
            where[k + 1 : k + 51] = True
        trace = sensed(x)
        low = -depth_v * where
        a = trace.signal_a
        got = found(replace(trace, signal_a=Channel(a.mean_v + low, a.min_v + low, a.max_v + low)))
        (worn,) = [f for f in got if f.severity == "fault"]
        assert (worn.code, worn.cause) == (Code.WORN_SPOT, Cause.TRACK)
        assert worn.where_percent == pytest.approx((47.5, 52.5), abs=1.5)
