"""Tables of 1 to 20 thousand readings a second: what came from outside, what the track did, and where."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from support.lever import lever, strokes
from sweeprig.bench.review.review import review_csv
from sweeprig.capture.model import FloatArray
from sweeprig.judge.outcome import Outcome


def moved(rate_hz: float) -> FloatArray:
    """A hand that speeds up and slows down, four strokes (n,), share of travel."""
    x = lever(strokes([1.5] * 4), step_s=1 / rate_hz)
    return x * x * x * (10 - 15 * x + 6 * x * x)


def reviewed(folder: Path, signal_v: FloatArray, rate_hz: float, seed: int) -> Outcome:
    noise = np.random.default_rng(seed).normal(0, 8e-4, signal_v.size)
    rows = np.c_[np.arange(signal_v.size) / rate_hz, np.round(signal_v + noise, 3)]
    path = folder / "fast.csv"
    np.savetxt(path, rows, fmt="%.6f,%.3f", header="time_s,signal_v", comments="")
    return review_csv(path)


def named(outcome: Outcome) -> list[str]:
    return [f.code.value for f in outcome.judgement.findings if f.severity == "fault"]


@pytest.mark.parametrize("rate_hz", [1000, 2000, 5000, 10_000, 20_000])
@pytest.mark.parametrize(("seed", "ring_hz"), [(1, 400.0), (2, 250.0), (3, 320.0)])
def test_bursts_that_ring_in_single_readings_are_interference(
    tmp_path: Path, rate_hz: float, seed: int, ring_hz: float
) -> None:
    """15 bursts of 1 V that die down in 2 ms, at any time, of either sign."""
    rng = np.random.default_rng([seed, 7])
    x = moved(rate_hz)
    signal, t = 0.45 + 3.85 * x, np.arange(x.size) / rate_hz
    for at in rng.uniform(0.2, t[-1] - 0.2, 15):
        since = t[t >= at][: round(0.03 * rate_hz)] - at
        wave = np.exp(-since / 0.002) * np.cos(2 * np.pi * ring_hz * since + rng.uniform(0, 2 * np.pi))
        signal[np.flatnonzero(t >= at)[: since.size]] += wave
    assert named(reviewed(tmp_path, signal, rate_hz, seed)) == ["interference"]


@pytest.mark.parametrize("rate_hz", [1000, 5000, 10_000, 20_000])
@pytest.mark.parametrize("rising_only", [True, False])
def test_a_worn_spot_keeps_its_place_at_any_rate(tmp_path: Path, rate_hz: float, rising_only: bool) -> None:
    """The wiper lifts for 6 to 20 ms at 56 % of travel; the signal falls with 0.15 ms."""
    rng = np.random.default_rng(5)
    x = moved(rate_hz)
    signal, fall = 0.6 + 3.7 * x, 0.15e-3 * rate_hz
    crossed = np.flatnonzero(np.diff(np.sign(x - 0.56)))
    for k in crossed[::2] if rising_only else crossed:
        n = round(rng.uniform(0.006, 0.02) * rate_hz)
        signal[k : k + n] *= np.exp(-np.arange(n) / fall)
    outcome = reviewed(tmp_path, signal, rate_hz, 5)
    assert named(outcome) == ["worn-spot"]
    (finding,) = [f for f in outcome.judgement.findings if f.severity == "fault"]
    assert finding.where_percent is not None
    assert np.mean(finding.where_percent) == pytest.approx(56, abs=1.5)
    assert sum(s.full for s in outcome.analysis.strokes) == 4
