"""Tables of means with lowest and highest from slow or coarse loggers: a spring's release and a converter's steps."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from sweeprig.bench.review.review import Choices, review_csv
from sweeprig.capture.model import FloatArray
from sweeprig.judge.outcome import Outcome
from sweeprig.words import Starts

FINE_HZ = 10_000.0


def sprung(release_s: float, seed: int, strokes: int = 5) -> FloatArray:
    """A hand opens, the spring closes with a bounce of 3 %; shares of travel at FINE_HZ."""
    rng = np.random.default_rng(seed)
    parts = [np.zeros(round(0.7 * FINE_HZ))]
    for _ in range(strokes):
        u = np.linspace(0, 1, round(rng.uniform(0.8, 1.4) * FINE_HZ))
        back = np.linspace(0, 6, round(release_s * FINE_HZ))
        fall = np.maximum((1 + back) * np.exp(-back) - (1 + 6) * np.exp(-6), 0)
        bounce = 0.03 * np.sin(np.linspace(0, np.pi, round(0.05 * FINE_HZ)))
        rests = [np.full(round(rng.uniform(0.3, 0.7) * FINE_HZ), end) for end in (1.0, 0.0)]
        parts += [u**3 * (10 - 15 * u + 6 * u**2), rests[0], fall, bounce, rests[1]]
    return np.concatenate(parts)


def windowed(folder: Path, signal_v: FloatArray, rate_hz: float, step_v: float) -> Outcome:
    """Review means with lowest and highest of readings in steps of `step_v`."""
    n = round(FINE_HZ / rate_hz)
    noisy = signal_v + np.random.default_rng(1).normal(0, 5e-4, signal_v.size)
    readings = (np.round(noisy / step_v) * step_v)[: noisy.size // n * n].reshape(-1, n)
    t = np.arange(len(readings)) / rate_hz
    rows = np.c_[t, readings.mean(axis=1), readings.min(axis=1), readings.max(axis=1)]
    path = folder / "windows.csv"
    head = "time_s,signal_v,signal_min_v,signal_max_v"
    np.savetxt(path, rows, fmt="%.5f", delimiter=",", header=head, comments="")
    return review_csv(path, Choices(starts=Starts.CLOSED))


def named(outcome: Outcome) -> list[str]:
    return [f.code.value for f in outcome.judgement.findings if f.severity == "fault"]


@pytest.mark.parametrize("rate_hz", [50.0, 100.0, 200.0])
@pytest.mark.parametrize("release_s", [0.05, 0.12, 0.2])
@pytest.mark.parametrize("seed", [1, 2])
def test_a_spring_that_closes_in_few_windows_is_sound(
    tmp_path: Path, rate_hz: float, release_s: float, seed: int
) -> None:
    outcome = windowed(tmp_path, 0.6 + 3.7 * sprung(release_s, seed), rate_hz, 0.00122)
    assert named(outcome) == []


@pytest.mark.parametrize("rate_hz", [50.0, 100.0, 200.0])
def test_a_lift_shorter_than_a_slow_window_is_found(tmp_path: Path, rate_hz: float) -> None:
    x = sprung(0.2, 3)
    signal = 0.6 + 3.7 * x
    for k in np.flatnonzero((x[:-1] < 0.55) & (x[1:] >= 0.55)):
        signal[k : k + 30] = 0.05
    outcome = windowed(tmp_path, signal, rate_hz, 0.00122)
    assert named(outcome) == ["worn-spot"]


@pytest.mark.parametrize("bits", [8, 9, 10])
@pytest.mark.parametrize("rate_hz", [500.0, 1000.0])
def test_steps_of_the_readings_behind_means_are_no_roughness(
    tmp_path: Path, bits: int, rate_hz: float
) -> None:
    x = sprung(0.3, 4, strokes=8)
    assert named(windowed(tmp_path, 0.6 + 3.7 * x, rate_hz, 5.5 / 2**bits)) == []


def sticking(slip_s: float, seed: int) -> FloatArray:
    """Six strokes in 8 to 20 slips each; shares of travel at FINE_HZ."""
    rng = np.random.default_rng([seed, 5])
    parts, at = [np.zeros(round(0.7 * FINE_HZ))], 0.0
    n = round(slip_s * FINE_HZ)
    u = np.arange(n) / n
    for _ in range(6):
        way = np.zeros(round(rng.uniform(1.5, 2.5) * FINE_HZ))
        sizes = rng.uniform(0.5, 1.5, rng.integers(8, 20))
        for size in sizes / sizes.sum():
            k = int(rng.uniform(0, way.size - n))
            way[k : k + n] += size * u**3 * (10 - 15 * u + 6 * u**2)
            way[k + n :] += size
        parts += [way if at == 0 else 1 - way, np.full(round(0.5 * FINE_HZ), 1 - at)]
        at = 1 - at
    return np.concatenate(parts)


@pytest.mark.parametrize("rate_hz", [200.0, 333.0, 500.0])
@pytest.mark.parametrize("slip_s", [0.02, 0.03])
def test_a_lever_that_slips_on_in_few_windows_is_sound(tmp_path: Path, rate_hz: float, slip_s: float) -> None:
    for seed in range(3):
        assert named(windowed(tmp_path, 0.6 + 3.7 * sticking(slip_s, seed), rate_hz, 0.00122)) == []
