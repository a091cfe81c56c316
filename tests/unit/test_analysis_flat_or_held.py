"""A level that stays: the track's own flat spot takes one width at every speed, a hand takes the time it likes."""

from __future__ import annotations

import numpy as np
import pytest

from support.lever import lever, sensed, strokes
from sweeprig.analysis.analyse import analyse
from sweeprig.analysis.model import Code, Finding
from sweeprig.capture.model import FloatArray, Sense, Starts

TIMES = [0.9, 0.5, 1.3, 0.7, 1.0, 0.6]  # s a stroke


def found(x: FloatArray) -> list[Finding]:
    return list(analyse(sensed(x), starts=Starts.CLOSED, given_sense=Sense.UNKNOWN).findings)


def with_flat(x: FloatArray, at: float, width: float) -> FloatArray:
    """The track gives one level over `width` of travel and makes up for it beyond."""
    bent = np.where(x < at, x, np.maximum(x - width, at))
    return bent / (1 - width)


def held(at: float, for_s: list[float]) -> FloatArray:
    """Strokes that stop at one place for the times given, as at a detent."""
    legs = [(0.0, 0.5)]
    for k, (seconds, stay) in enumerate(zip(TIMES, for_s, strict=True)):
        to = float(k % 2 == 0)
        first = at if to else 1 - at
        legs += [(at, first * seconds), (at, stay), (to, (1 - first) * seconds), (to, 0.5)]
    return lever(legs)


@pytest.mark.parametrize("width", [0.008, 0.012, 0.02, 0.05, 0.08])
def test_a_flat_spot_is_found_at_every_speed(width: float) -> None:
    (finding,) = found(with_flat(lever(strokes(TIMES)), 0.4, width))
    assert finding.code is Code.FLAT_SPOT
    assert finding.where_percent is not None
    assert sum(finding.where_percent) / 2 == pytest.approx(40 / (1 - width), abs=1.0)


def test_a_flat_spot_under_its_stated_width_is_not_claimed() -> None:
    assert found(with_flat(lever(strokes(TIMES)), 0.4, 0.003)) == []


@pytest.mark.parametrize("seed", range(6))
def test_a_detent_at_one_place_both_ways_is_no_flat_spot(seed: int) -> None:
    rng = np.random.default_rng(seed)
    stays = np.exp(rng.uniform(np.log(0.06), np.log(0.35), len(TIMES))).tolist()
    assert found(held(0.3, stays)) == []


def waits(seed: int, *, notch: bool) -> list[Finding]:
    """Three to six slow strokes with a wait of any length at one place; `notch`: drawn into it and out of it."""
    rng = np.random.default_rng(seed)
    at, legs = rng.uniform(0.2, 0.8), [(0.0, 0.5)]
    for k in range(int(rng.integers(3, 7))):
        to = float(k % 2 == 0)
        way = 2 * to - 1
        if notch:
            legs += [(at - 0.012 * way, 3 * rng.uniform(0.3, 0.8)), (at, rng.uniform(0.012, 0.03))]
            legs += [(at, rng.uniform(0.05, 0.3)), (at + 0.03 * way, rng.uniform(0.015, 0.04))]
            legs += [(to, 3 * rng.uniform(0.3, 0.8)), (to, rng.uniform(0.4, 0.9))]
            continue
        seconds, first = 3 * rng.uniform(0.4, 1.3), at if to else 1 - at
        legs += [(at, first * seconds), (at, rng.uniform(0.05, 0.3)), (to, (1 - first) * seconds), (to, 0.4)]
    return [f for f in found(lever(legs)) if f.code is Code.FLAT_SPOT]


@pytest.mark.parametrize("seed", [14, 20, 56])
def test_a_lever_that_snaps_into_a_notch_and_out_is_no_flat(seed: int) -> None:
    assert waits(seed, notch=True) == []


@pytest.mark.parametrize(("seed", "notch"), [(23, False), (45, False), (56, False), (17, True)])
def test_waits_that_agree_by_chance_condemn_nothing(seed: int, notch: bool) -> None:
    (finding,) = waits(seed, notch=notch)
    assert finding.severity == "doubt"
    assert "a hand that stops by chance would do the same" in finding.evidence


@pytest.mark.parametrize("width", [0.02, 0.05])
def test_a_flat_spot_that_holds_long_is_sure_by_its_one_width(width: float) -> None:
    (finding,) = found(with_flat(lever(strokes([4 * t for t in TIMES])), 0.4, width))
    assert (finding.code, finding.severity) == (Code.FLAT_SPOT, "fault")
    assert finding.numbers["dwell_s"] > 0.05


def test_a_stick_slip_lever_is_no_flat_spot() -> None:
    for seed in range(4):
        rng = np.random.default_rng(seed)
        legs = [(0.0, 0.5)]
        for k in range(5):
            to = float(k % 2 == 0)
            places = np.sort(rng.uniform(0, 1, 14))
            for p in places if to else places[::-1]:
                legs += [
                    (float(p), float(rng.uniform(0.01, 0.03))),
                    (float(p), float(rng.uniform(0.01, 0.08))),
                ]
            legs += [(to, 0.03), (to, 0.5)]
        assert [f.code for f in found(lever(legs)) if f.code is Code.FLAT_SPOT] == []


@pytest.mark.parametrize("seed", range(8))
def test_a_lever_that_sticks_all_along_has_no_flat_spot(seed: int) -> None:
    """Dry friction: the lever holds until the hand is ahead, and slips after it, dozens of times a stroke."""
    rng = np.random.default_rng(seed)
    legs = [(0.0, 0.5)]
    for k in range(4):
        at, way, pace = float(k % 2), 1 - 2 * (k % 2), rng.uniform(1.0, 4.0)  # s a stroke
        while 0.0 <= at <= 1.0:
            ahead, slip_s = abs(rng.normal(0.006, 0.003)) + 0.001, rng.uniform(0.016, 0.04)
            legs.append((at, ahead * pace))
            at += way * (ahead + slip_s / pace)
            legs.append((min(max(at, 0.0), 1.0), slip_s))
        legs.append((min(max(at, 0.0), 1.0), 0.5))
    assert [f.code for f in found(lever(legs)) if f.code is Code.FLAT_SPOT] == []


@pytest.mark.parametrize("times", [TIMES, [3 * t for t in TIMES], [1.5] * 6])
@pytest.mark.parametrize("at", [0.2, 0.4, 0.6])
@pytest.mark.parametrize("width", [0.09, 0.1, 0.12, 0.15, 0.2, 0.3])
def test_a_wide_flat_spot_is_doubted_at_least(width: float, at: float, times: list[float]) -> None:
    (finding,) = found(with_flat(lever(strokes(times)), at, width))
    assert finding.code is Code.FLAT_SPOT
    assert finding.where_percent is not None
    assert sum(finding.where_percent) / 2 == pytest.approx(100 * at / (1 - width), abs=1.0)
    assert "as a lever that stops there" in finding.evidence or width < 0.11


def test_a_stop_of_one_length_at_one_place_condemns_nothing() -> None:
    """A motor, or a careful hand: half a second half way in each stroke, all strokes alike."""
    legs = [(0.0, 0.5)]
    for k in range(6):
        legs += [(0.5, 0.75), (0.5, 0.5), (float(k % 2 == 0), 0.75), (float(k % 2 == 0), 0.5)]
    assert not [f for f in found(lever(legs)) if f.severity == "fault"]


@pytest.mark.parametrize("width", [0.12, 0.2])
def test_a_jump_behind_a_doubtful_flat_stays_a_fault(width: float) -> None:
    """The track is bare over much of its length and the signal jumps behind it, in every stroke: no lever does that."""
    x = lever(strokes(TIMES))
    jumped = np.where((x > 0.4) & (x < 0.4 + width), 0.4, x)
    assert "fault" in [f.severity for f in found(jumped)]
