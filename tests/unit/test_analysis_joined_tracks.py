"""Two signals are one when they differ by a few codes at every place; sound tracks, however alike, are two."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from support.lever import lever, sensed, strokes
from sweeprig.analysis.analyse import analyse
from sweeprig.analysis.model import Cause, Code, Finding
from sweeprig.capture.model import Channel, FloatArray, Sense, Starts

PLACES = lever(strokes([0.7] * 4))


def codes(b_of_a: float, offset_v: float = 0.0, bow_v: float = 0.0) -> set[Code]:
    """Track B at a gain and an offset to A, with a bend of its own."""
    t = sensed(PLACES)
    noise = np.random.default_rng(4).normal(0, 6e-4, PLACES.size)
    mean: FloatArray = b_of_a * t.signal_a.mean_v + offset_v + bow_v * 4 * PLACES * (1 - PLACES) + noise
    both = replace(t, signal_b=Channel(mean, mean - 2.6e-3, mean + 2.6e-3))
    return {f.code for f in analyse(both, starts=Starts.CLOSED, given_sense=Sense.UNKNOWN).findings}


@pytest.mark.parametrize(
    ("gain", "offset_v", "bow_v"),
    [(0.97, 0.0, 0.0), (1.03, 0.0, 0.0), (1.0, 0.03, 0.0), (1.0, -0.03, 0.0), (1.0, 0.0, 0.03)],
)
def test_sound_parallel_tracks_are_not_joined(gain: float, offset_v: float, bow_v: float) -> None:
    assert codes(gain, offset_v, bow_v) == set()


@pytest.mark.parametrize("gain", [0.99, 0.998, 1.0, 1.006, 1.012])
def test_one_signal_on_two_channels_is_joined(gain: float) -> None:
    assert codes(gain) == {Code.TRACKS_SHORTED}
    assert codes(gain, 0.003) == {Code.TRACKS_SHORTED}


SUPPLY_V, TRACK_OHM = 5.0, 4000.0


def with_bridge(
    second: FloatArray, bridge_ohm: float, *, at: FloatArray | None = None, load_ohm: float = 1e6
) -> list[Finding]:
    """Tracks at PLACES and at `second`, share of each, with a bridge between their wipers where `at` (n,) says so."""
    first = 0.08 + 0.82 * PLACES
    g = [1 / (TRACK_OHM * np.clip(r * (1 - r), 1e-3, None) + 10.0) for r in (first, second)]
    on = np.ones(first.size, bool) if at is None else at
    c = np.where(on, 1 / bridge_ohm, 0.0)
    own_a, own_b = g[0] + c + 1 / load_ohm, g[1] + c + 1 / load_ohm
    drive_a, drive_b = g[0] * first * SUPPLY_V, g[1] * second * SUPPLY_V
    det = own_a * own_b - c * c
    rng = np.random.default_rng(6)
    volts = ((own_b * drive_a + c * drive_b) / det, (own_a * drive_b + c * drive_a) / det)
    a, b = (v + rng.normal(0, 4e-4, v.size) for v in volts)
    t = sensed(PLACES)
    both = replace(
        t, signal_a=Channel(a, a - 2.6e-3, a + 2.6e-3), signal_b=Channel(b, b - 2.6e-3, b + 2.6e-3)
    )
    return list(analyse(both, starts=Starts.CLOSED, given_sense=Sense.UNKNOWN).findings)


@pytest.mark.parametrize("bridge_ohm", [10.0, 20.0, 40.0, 80.0])
@pytest.mark.parametrize("offset", [-0.04, 0.03])
def test_parallel_tracks_with_some_ohms_between_are_joined(bridge_ohm: float, offset: float) -> None:
    (finding,) = with_bridge(0.08 + 0.82 * PLACES + offset, bridge_ohm)
    assert (finding.code, finding.cause) == (Code.TRACKS_SHORTED, Cause.WIRING)


@pytest.mark.parametrize("load_ohm", [1e6, 25e3])
def test_parallel_tracks_that_a_rig_loads_are_not_joined(load_ohm: float) -> None:
    assert with_bridge(0.04 + 0.82 * PLACES, 1e9, load_ohm=load_ohm) == []


@pytest.mark.parametrize("second", ["half", "offset", "ratio"])
def test_tracks_joined_for_a_part_of_the_sweep_are_shorted(second: str) -> None:
    first = 0.08 + 0.82 * PLACES
    b = {"half": first / 2, "offset": first + 0.04, "ratio": 0.85 * first}[second]
    share = np.arange(first.size) / first.size
    found = with_bridge(b, 0.5, at=(share > 0.45) & (share < 0.6))
    shorted = [f for f in found if f.code is Code.TRACKS_SHORTED]
    assert [f.cause for f in shorted] == [Cause.WIRING]
    assert "joined at times" in shorted[0].evidence
    assert Code.STRAY_DROPOUT not in {f.code for f in found}


@pytest.mark.parametrize("seconds", [0.04, 0.3])
def test_tracks_that_meet_on_their_way_are_not_joined(seconds: float) -> None:
    x = lever([(0.0, 0.5), *[(to, s) for to in (1.0, 0.5, 0.0, 1.0, 0.0) for s in (seconds, 0.5)]])
    t = sensed(x)
    noise = np.random.default_rng(4).normal(0, 6e-4, x.size)
    for b in (5.0 - t.signal_a.mean_v, t.signal_a.mean_v + 0.07, 0.98 * t.signal_a.mean_v - 0.02):
        mean = b + noise
        both = replace(t, signal_b=Channel(mean, mean - 2.6e-3, mean + 2.6e-3))
        found = analyse(both, starts=Starts.CLOSED, given_sense=Sense.UNKNOWN).findings
        assert Code.TRACKS_SHORTED not in {f.code for f in found}


@pytest.mark.parametrize(("level_v", "code"), [(0.002, Code.STUCK_LOW), (5.01, Code.STUCK_HIGH)])
def test_a_second_signal_that_lies_at_a_rail_is_wiring(level_v: float, code: Code) -> None:
    t = sensed(PLACES)
    level = np.full(PLACES.size, level_v)
    both = replace(t, signal_b=Channel(level, level - 1e-3, level + 1e-3))
    found = analyse(both, starts=Starts.CLOSED, given_sense=Sense.UNKNOWN).findings
    assert [(f.code, f.cause, f.channel) for f in found] == [(code, Cause.WIRING, 1)]
    assert "signal B stays" in found[0].evidence


@pytest.mark.parametrize("offset_v", [0.04, 0.055, 0.07])
def test_noisy_sound_tracks_close_together_are_not_joined_at_times(offset_v: float) -> None:
    """The gain that two channels may differ by brings them together at open, and noise of 13 mV to and fro there."""
    rng = np.random.default_rng(8)
    t = sensed(PLACES)
    a = t.signal_a.mean_v + rng.normal(0, 13e-3, PLACES.size)
    b = t.signal_a.mean_v + offset_v + rng.normal(0, 13e-3, PLACES.size)
    both = replace(t, signal_a=Channel(a, a, a), signal_b=Channel(b, b, b), n_per_window=1)
    found = analyse(both, starts=Starts.CLOSED, given_sense=Sense.UNKNOWN).findings
    assert Code.TRACKS_SHORTED not in {f.code for f in found}


@pytest.mark.parametrize("seconds", [0.12, 0.25, 0.4])
@pytest.mark.parametrize("step_s", [0.01, 0.02, 0.05])
@pytest.mark.parametrize(("gain", "offset_v"), [(0.96, 0.106), (1.04, -0.09), (0.988, 0.1045)])
def test_tracks_that_cross_in_few_readings_are_not_joined(
    gain: float, offset_v: float, step_s: float, seconds: float
) -> None:
    """A pedal that is stamped, read 20 to 100 times a second: the lever goes far from reading to reading."""
    x = lever(strokes([seconds] * 8), step_s=step_s)
    t = sensed(x)
    a = t.signal_a.mean_v
    b = gain * a + offset_v + np.random.default_rng(4).normal(0, 6e-4, a.size)
    read = {"signal_a": Channel(a, a, a), "signal_b": Channel(b, b, b), "n_per_window": 1, "source": "csv"}
    slow = replace(t, t_s=np.arange(a.size) * step_s, window_s=step_s, **read)
    found = analyse(slow, starts=Starts.CLOSED, given_sense=Sense.UNKNOWN).findings
    assert Code.TRACKS_SHORTED not in {f.code for f in found}


@pytest.mark.parametrize("offset_v", [0.02, 0.03, 0.045])
@pytest.mark.parametrize("lift_ms", [3, 12, 40])
def test_a_second_track_that_loses_contact_is_not_joined(lift_ms: int, offset_v: float) -> None:
    """Its neighbour is 20 to 45 mV away all along; what comes and goes is its own contact."""
    t = sensed(PLACES)
    b = t.signal_a.mean_v + offset_v + np.random.default_rng(4).normal(0, 6e-4, PLACES.size)
    moving = np.flatnonzero(np.diff((PLACES > 0.62).astype(np.int8), prepend=0))
    for at in moving.tolist():
        b[at : at + lift_ms] = 0.02
    both = replace(t, signal_b=Channel(b, b - 2.6e-3, b + 2.6e-3))
    found = analyse(both, starts=Starts.CLOSED, given_sense=Sense.UNKNOWN).findings
    assert Code.TRACKS_SHORTED not in {f.code for f in found}
    assert 1 in {
        f.channel for f in found if f.code in (Code.WORN_SPOT, Code.LOOSE_CONNECTION, Code.STRAY_DROPOUT)
    }
