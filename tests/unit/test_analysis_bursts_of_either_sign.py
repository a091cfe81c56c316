"""Bursts that ring leave one reading of either sign in a table; a contact that opens pulls one way."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from sweeprig.analysis.model import Code
from sweeprig.bench.review.review import Choices, review_csv
from sweeprig.capture.model import FloatArray
from sweeprig.judge.outcome import Outcome
from sweeprig.words import Starts

RINGS_HZ, DIES_S, TIMES_A_S = 6000.0, 0.4e-3, 30.0


def swept(rate_hz: float, rng: np.random.Generator) -> FloatArray:
    """Eight strokes of a hand, each of its own time, with rests: volts of a sound sensor."""
    parts, at = [np.zeros(round(0.9 * rate_hz))], 0.0
    for _ in range(8):
        u = np.linspace(0, 1, round(rng.uniform(0.9, 1.5) * rate_hz))
        way = u**3 * (10 - 15 * u + 6 * u**2)
        parts += [way if at == 0 else 1 - way, np.full(round(rng.uniform(0.5, 0.9) * rate_hz), 1 - at)]
        at = 1 - at
    return 0.6 + 3.7 * np.concatenate(parts)


def bursts(t: FloatArray, rng: np.random.Generator) -> FloatArray:
    """What bursts of any phase add to the readings at t (n,)."""
    out = np.zeros(t.size)
    for start in rng.uniform(0, t[-1], rng.poisson(TIMES_A_S * t[-1])):
        near = slice(*np.searchsorted(t, (start, start + 6 * DIES_S)))
        since, phase = t[near] - start, rng.uniform(0, 2 * np.pi)
        out[near] += (
            rng.uniform(0.3, 0.9) * np.exp(-since / DIES_S) * np.sin(2 * np.pi * RINGS_HZ * since + phase)
        )
    return out


def openings(t: FloatArray, signal_v: FloatArray, rng: np.random.Generator) -> FloatArray:
    """What a contact to ground that opens for 0.5 to 4 ms takes from the readings."""
    out = np.zeros(t.size)
    for start in rng.uniform(0, t[-1], 25):
        near = slice(*np.searchsorted(t, (start, start + rng.uniform(0.5e-3, 4e-3))))
        out[near] = -signal_v[near]
    return out


def table(folder: Path, rate_hz: float, seed: int, *, opens: bool = False) -> Outcome:
    rng = np.random.default_rng([seed, round(rate_hz)])
    v = swept(rate_hz, rng)
    t = np.arange(v.size) / rate_hz
    v = v + (openings(t, v, rng) if opens else bursts(t, rng)) + rng.normal(0, 1e-3, v.size)
    path = folder / "a.csv"
    np.savetxt(path, np.c_[t, v.clip(0, 5)], fmt="%.6f,%.4f", header="time_s,signal_v", comments="")
    return review_csv(path, Choices(starts=Starts.CLOSED))


@pytest.mark.parametrize("rate_hz", [500.0, 1000.0, 2000.0])
@pytest.mark.parametrize("seed", range(3))
def test_bursts_of_either_sign_in_a_table_are_interference(tmp_path: Path, rate_hz: float, seed: int) -> None:
    found = [f for f in table(tmp_path, rate_hz, seed).judgement.findings if f.severity == "fault"]
    assert [f.code for f in found] == [Code.INTERFERENCE]
    assert "both up and down" not in found[0].evidence


@pytest.mark.parametrize("rate_hz", [500.0, 1000.0, 2000.0])
@pytest.mark.parametrize("seed", range(3))
def test_a_contact_that_opens_in_a_table_stays_a_contact(tmp_path: Path, rate_hz: float, seed: int) -> None:
    found = [f.code for f in table(tmp_path, rate_hz, seed, opens=True).judgement.findings]
    assert Code.LOOSE_CONNECTION in found
    assert Code.INTERFERENCE not in found
