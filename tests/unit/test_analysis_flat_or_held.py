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
