"""Hum and ripple make a signal stay and go back anywhere: no flat spots and no dips of the track."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from sweeprig.analysis import unrest
from sweeprig.analysis.model import Stroke
from sweeprig.bench.review.review import Choices, review_csv
from sweeprig.capture.model import FloatArray
from sweeprig.judge.outcome import Outcome
from sweeprig.words import Starts


def swept(rate_hz: float, seed: int) -> tuple[FloatArray, FloatArray]:
    """Eight strokes of a hand, each of its own time: seconds and shares of travel."""
    rng = np.random.default_rng([seed, 3])
    parts, at = [np.zeros(round(0.7 * rate_hz))], 0.0
    for _ in range(8):
        u = np.linspace(0, 1, round(rng.uniform(0.96, 1.44) * rate_hz))
        way = u**3 * (10 - 15 * u + 6 * u**2)
        parts += [way if at == 0 else 1 - way, np.full(round(rng.uniform(0.4, 0.6) * rate_hz), 1 - at)]
        at = 1 - at
    x = np.concatenate(parts)
    return np.arange(x.size) / rate_hz, x


def reviewed(folder: Path, t: FloatArray, signal_v: FloatArray, seed: int) -> Outcome:
    noisy = signal_v + np.random.default_rng(seed).normal(0, 1e-3, t.size)
    path = folder / "hum.csv"
    np.savetxt(path, np.c_[t, noisy], fmt="%.6f,%.4f", header="time_s,signal_v", comments="")
    return review_csv(path, Choices(starts=Starts.CLOSED))


def named(outcome: Outcome) -> list[str]:
    return [f.code.value for f in outcome.judgement.findings if f.severity == "fault"]


@pytest.mark.parametrize("rate_hz", [250.0, 500.0, 1000.0])
@pytest.mark.parametrize("hum_hz", [50.0, 120.0])
@pytest.mark.parametrize("hum_v", [0.015, 0.03])
def test_hum_on_the_lead_makes_no_flat_spot(
    tmp_path: Path, rate_hz: float, hum_hz: float, hum_v: float
) -> None:
    for seed in range(3):
        t, x = swept(rate_hz, seed)
        outcome = reviewed(tmp_path, t, 0.6 + 3.7 * x + hum_v * np.sin(2 * np.pi * hum_hz * t + seed), seed)
        assert named(outcome) == []
        assert any("Flat spots narrower than" in line for line in outcome.judgement.not_shown)


@pytest.mark.parametrize("ripple_hz", [50.0, 100.0, 300.0])
@pytest.mark.parametrize("rate_hz", [250.0, 500.0])
def test_ripple_of_a_supply_that_was_not_measured_is_no_fault(
    tmp_path: Path, rate_hz: float, ripple_hz: float
) -> None:
    for seed in range(3):
        t, x = swept(rate_hz, seed)
        ripple = 1 + 0.008 * np.sin(2 * np.pi * ripple_hz * t + seed)
        assert named(reviewed(tmp_path, t, (0.6 + 3.7 * x) * ripple, seed)) == []


def test_a_flat_spot_wider_than_hum_makes_is_found(tmp_path: Path) -> None:
    t, x = swept(1000.0, 1)
    flat = np.minimum(x, np.maximum(0.4, x - 0.03))
    outcome = reviewed(tmp_path, t, 0.6 + 3.7 * flat + 0.004 * np.sin(2 * np.pi * 50 * t), 1)
    assert "flat-spot" in named(outcome)


@pytest.mark.parametrize("stops", [(0.2, 0.4, 0.6, 0.8), (0.33, 0.66)])
def test_the_slow_way_to_a_stop_beside_it_is_no_flat_spot(tmp_path: Path, stops: tuple[float, ...]) -> None:
    """A hand that stops at the same places each stroke, as at notches; each wait is of its own time."""
    for seed in range(6):
        rng = np.random.default_rng([seed, 8])
        parts, at = [np.zeros(700)], 0.0
        for k in range(6):
            for to in (*stops, 1.0) if k % 2 == 0 else (*stops[::-1], 0.0):
                u = np.linspace(0, 1, rng.integers(150, 300))
                wait = rng.integers(400, 600) if to in (0.0, 1.0) else rng.integers(100, 350)
                parts += [at + (to - at) * u**3 * (10 - 15 * u + 6 * u**2), np.full(wait, to)]
                at = to
        x = np.concatenate(parts)
        assert named(reviewed(tmp_path, np.arange(x.size) / 1000, 0.6 + 3.7 * x, seed)) == []


@pytest.mark.parametrize("window_s", [5e-3, 2e-3, 1e-3])
def test_a_quiet_signal_has_no_unrest_in_movement(window_s: float) -> None:
    """A straight stroke of 3.8 V in 0.7 s, with neither noise nor ripple: its mean over 20 ms is the signal itself."""
    path = np.linspace(0.45, 4.25, round(0.7 / window_s))
    stroke = Stroke(0, path.size, from_v=0.45, to_v=4.25, direction=1, full=True)
    got = unrest.in_movement(path, (stroke,), good=np.ones(path.size, dtype=bool), window_s=window_s)
    assert got < 1e-3
