"""A cracked track: one step of the signal at one place, in quick strokes and where a spring closes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from support.lever import WINDOW_S, changed, sensed
from sweeprig.analysis.analyse import analyse
from sweeprig.analysis.model import Cause
from sweeprig.capture.model import FloatArray, Starts
from sweeprig.words import Sense

SUPPLY_V = 5.012


def opened_and_let_go(opens_s: float, closes_s: float, n: int = 5, rest_s: float = 0.4) -> FloatArray:
    """A lever that a hand opens and a spring, or the hand, closes ever faster until it meets its stop, (n,)."""
    up, down = (np.arange(1, round(s / WINDOW_S) + 1) / round(s / WINDOW_S) for s in (opens_s, closes_s))
    rest = np.ones(round(rest_s / WINDOW_S))
    once = [up**3 * (10 - 15 * up + 6 * up * up), rest, 1 - down**2, 0 * rest]
    return np.concatenate([0 * rest, *(once * n)])


@pytest.mark.parametrize("closes_s", [0.07, 0.1, 0.3])
@pytest.mark.parametrize("step_percent", [6.0, 9.0, -7.0, -10.0])
@pytest.mark.parametrize("place", [0.21, 0.33, 0.65])
def test_a_step_of_the_track_is_the_track_at_any_pace(
    closes_s: float, step_percent: float, place: float
) -> None:
    """Its place is that of both its levels: the travel is told by the signal."""
    x = opened_and_let_go(0.35, closes_s)
    step_v = step_percent / 100 * SUPPLY_V
    t = sensed(x, high=4.482 - step_v)
    t = replace(t, signal_a=changed(t.signal_a, np.where(x > place, step_v, 0.0)))
    faults = [
        f
        for f in analyse(t, starts=Starts.CLOSED, given_sense=Sense.UNKNOWN).findings
        if f.severity == "fault"
    ]
    assert faults
    assert {f.cause for f in faults} == {Cause.TRACK}
    told = 100 * place * (1 - step_v / 4.03)
    edges = sorted((told, told + 100 * step_v / 4.03))
    for f in faults:
        assert f.where_percent is not None
        assert edges[0] - 2 < np.mean(f.where_percent) < edges[1] + 2
