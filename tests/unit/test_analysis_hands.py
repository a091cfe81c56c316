"""Hands as they are leave a sound sensor sound: no finding, and both ends where they are."""

from __future__ import annotations

import numpy as np
import pytest

from support.judge_cases import ADJUSTABLE
from support.lever import WINDOW_S, lever, sensed
from support.outcomes import CLOSED_V, OPEN_V, make_setup
from sweeprig.analysis.analyse import analyse
from sweeprig.capture.model import FloatArray, Sense, Starts
from sweeprig.judge.judge import judge
from sweeprig.judge.model import Verdict

N_STROKES = 6


def moved(seconds: float, shape: FloatArray | None = None, *, back_s: float | None = None) -> FloatArray:
    """Six strokes with rests of half a second; `shape` (k,) from 0 to 1 is how one goes, opening and closing alike."""
    way = np.linspace(0, 1, 50) if shape is None else shape
    parts = [lever([(0.0, 0.5)])]
    for k in range(N_STROKES):
        n = round((back_s if back_s and k % 2 else seconds) / WINDOW_S)
        part = np.interp(np.linspace(0, 1, n), np.linspace(0, 1, way.size), way)
        parts += [part if k % 2 == 0 else 1 - part, np.full(round(0.5 / WINDOW_S), float(k % 2 == 0))]
    return np.concatenate(parts)


def trembling(hz: float) -> FloatArray:
    x = moved(1.5)
    t = np.arange(x.size) * WINDOW_S
    return np.clip(x + np.where((x > 0) & (x < 1), 0.01 * np.sin(2 * np.pi * hz * t), 0.0), 0, 1)


def sticking() -> FloatArray:
    """It sticks for 50 to 150 ms and slips on by 3 to 8 % within 20 ms, elsewhere in each stroke."""
    rng, parts, at = np.random.default_rng(6), [lever([(0.0, 0.5)])], 0.0
    for k in range(N_STROKES):
        to, legs = float(k % 2 == 0), []
        while abs(to - at) > 0.08:
            ahead = at + np.sign(to - at) * float(rng.uniform(0.03, 0.08))
            legs += [(ahead, 0.02), (ahead, float(rng.uniform(0.05, 0.15)))]
            at = ahead
        start, at = parts[-1][-1], to
        parts.append(lever([*legs, (to, 0.03), (to, 0.5)], start=float(start)))
    return np.concatenate(parts)


HANDS = {
    "speeds up": moved(1.0, np.linspace(0, 1, 50) ** 3),
    "slows down": moved(1.0, 1 - np.linspace(1, 0, 50) ** 3),
    "creeps for 12 s": moved(12.0),
    "lets go, back in 40 ms": moved(1.0, back_s=0.04),
    "quick, 0.3 s": moved(0.3),
    "trembles at 5 Hz": trembling(5.0),
    "trembles at 10 Hz": trembling(10.0),
    "sticks and slips": sticking(),
}


@pytest.mark.parametrize("hand", HANDS)
def test_a_sound_sensor_under_any_hand_passes(hand: str) -> None:
    trace = sensed(HANDS[hand])
    seen = analyse(trace, starts=Starts.CLOSED, given_sense=Sense.UNKNOWN)
    assert seen.findings == ()
    assert seen.low is not None
    assert seen.high is not None
    assert seen.low.value_v == pytest.approx(CLOSED_V, abs=1e-3)
    assert seen.high.value_v == pytest.approx(OPEN_V, abs=1e-3)
    judged = judge(analysis=seen, trace=trace, setup=make_setup(), profile=ADJUSTABLE)
    assert judged.verdict is Verdict.PASS
