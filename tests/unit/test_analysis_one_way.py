"""A worn place that the wiper meets in strokes of one direction only, beside another one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from support.lever import lever, sensed, strokes
from sweeprig.analysis.analyse import analyse
from sweeprig.analysis.model import Analysis, Code
from sweeprig.capture.model import BoolArray, Channel, FloatArray, Starts
from sweeprig.words import Sense


def moved(n: int) -> FloatArray:
    return lever(strokes([1.1] * n, rest_s=0.4))


def look(x: FloatArray, gone: BoolArray, *, share: float) -> Analysis:
    """A sound sensor whose signal goes down to a share of itself where it is gone, (n,)."""
    t = sensed(x)
    a = t.signal_a
    signal = Channel(*(np.where(gone, share * v, v) for v in (a.mean_v, a.min_v, a.max_v)))
    return analyse(replace(t, signal_a=signal), starts=Starts.CLOSED, given_sense=Sense.UNKNOWN)


def passing(x: FloatArray, place: float, *, way: int = 0) -> BoolArray:
    """Windows within 0.3 % of travel of a place, in strokes up (1), down (-1) or both (0)."""
    there = np.abs(x - place) < 0.003
    return there if way == 0 else there & (np.sign(np.gradient(x)) == way)


def faults(a: Analysis) -> list[tuple[Code, int | None]]:
    return [
        (f.code, None if f.where_percent is None else round(float(np.mean(f.where_percent))))
        for f in a.findings
        if f.severity == "fault"
    ]


@pytest.mark.parametrize("n_strokes", [6, 8, 9])
@pytest.mark.parametrize(("first", "second"), [(15, 23), (70, 30), (50, 58)])
@pytest.mark.parametrize("way", [1, -1])
def test_a_second_place_of_one_direction_is_a_worn_spot(
    n_strokes: int, first: int, second: int, way: int
) -> None:
    x = moved(n_strokes)
    found = look(x, passing(x, first / 100) | passing(x, second / 100, way=way), share=0.5)
    assert faults(found) == [(Code.WORN_SPOT, first), (Code.WORN_SPOT, second)]
    assert "of one direction" in found.findings[1].evidence


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("n_strokes", [6, 9])
def test_dropouts_anywhere_beside_a_worn_spot_stay_a_connection(seed: int, n_strokes: int) -> None:
    x = moved(n_strokes)
    gone = passing(x, 0.4)
    for at in np.random.default_rng([seed, n_strokes]).integers(300, x.size - 300, 2 * n_strokes):
        gone[at : at + 3] = True
    found = [code for code, _ in faults(look(x, gone, share=0.3))]
    assert found == [Code.WORN_SPOT, Code.LOOSE_CONNECTION]
