"""Lifts behind a filter of some ms: of an input that holds its level, or of a low pass in front of a logger."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from support.lever import lever, strokes
from sweeprig.bench.review.review import review_csv
from sweeprig.capture.model import BoolArray, FloatArray
from sweeprig.judge.outcome import Outcome

FINE_HZ = 20_000
Filter = Callable[[FloatArray, BoolArray, float], FloatArray]
LOW_V, WAY_V = 0.5, 3.8


def moved(seconds: float, n: int = 6) -> FloatArray:
    """A hand that speeds up and slows down, six strokes (n,), share of travel."""
    x = lever(strokes([seconds] * n, rest_s=0.4), step_s=1 / FINE_HZ)
    return x * x * x * (10 - 15 * x + 6 * x * x)


def lifts(x: FloatArray, place: float, rng: np.random.Generator) -> BoolArray:
    """Contact lost for 0.5 to 4 ms, again and again while the lever is within 0.5 % of travel of a place, (n,)."""
    near = np.flatnonzero(np.abs(x - place) < 0.005)
    gone = np.zeros(x.size, dtype=bool)
    for part in np.split(near, np.flatnonzero(np.diff(near) > 1) + 1):
        at = 0
        while at < part.size:
            n = round(rng.uniform(5e-4, 4e-3) * FINE_HZ)
            gone[part[at : at + n]] = True
            at += n + round(rng.uniform(5e-4, 3e-3) * FINE_HZ)
    return gone


def anywhere(x: FloatArray, rng: np.random.Generator, *, n: int = 9) -> BoolArray:
    """Contact lost for 1 to 20 ms, n times, at no place, (n,)."""
    gone = np.zeros(x.size, dtype=bool)
    for at in rng.integers(FINE_HZ // 2, x.size - FINE_HZ // 2, n):
        gone[at : at + round(rng.uniform(1e-3, 2e-2) * FINE_HZ)] = True
    return gone


def held(signal_v: FloatArray, gone: BoolArray, tau_s: float) -> FloatArray:
    """An input that lets go with `tau_s` while the contact is open and follows at once when it closes."""
    out, share = signal_v.copy(), np.exp(-1 / (tau_s * FINE_HZ))
    for k in np.flatnonzero(gone).tolist():
        out[k] = out[k - 1] * share
    return out


def low_pass(signal_v: FloatArray, gone: BoolArray, tau_s: float) -> FloatArray:
    from scipy.signal import lfilter

    a = 1 - np.exp(-1 / (tau_s * FINE_HZ))
    out, _ = lfilter([a], [1, a - 1], np.where(gone, 0.0, signal_v), zi=[signal_v[0] * (1 - a)])
    return np.asarray(out, dtype=float)


def reviewed(folder: Path, signal_v: FloatArray, rate_hz: int, seed: int) -> Outcome:
    signal_v = signal_v[:: FINE_HZ // rate_hz]
    noise = np.random.default_rng(seed).normal(0, 1e-3, signal_v.size)
    rows = np.c_[np.arange(signal_v.size) / rate_hz, np.round(signal_v + noise, 3)]
    path = folder / "filtered.csv"
    np.savetxt(path, rows, fmt="%.6f,%.3f", header="time_s,signal_v", comments="")
    return review_csv(path)


def faults(outcome: Outcome) -> list[str]:
    return [f.code.value for f in outcome.judgement.findings if f.severity == "fault"]


@pytest.mark.parametrize("rate_hz", [500, 1000, 20_000])
@pytest.mark.parametrize("filtered", [held, low_pass])
@pytest.mark.parametrize(("tau_s", "place"), [(0.002, 0.31), (0.004, 0.67), (0.006, 0.52)])
def test_lifts_behind_a_filter_keep_to_their_place(
    tmp_path: Path, rate_hz: int, filtered: Filter, tau_s: float, place: float
) -> None:
    rng = np.random.default_rng([rate_hz, round(tau_s * 1000)])
    x = moved(1.4)
    outcome = reviewed(tmp_path, filtered(LOW_V + WAY_V * x, lifts(x, place, rng), tau_s), rate_hz, 3)
    assert faults(outcome) == ["worn-spot"]
    (finding,) = [f for f in outcome.judgement.findings if f.severity == "fault"]
    assert finding.where_percent is not None
    assert np.mean(finding.where_percent) == pytest.approx(100 * place, abs=2.0)
    assert len(outcome.analysis.strokes) == 6


@pytest.mark.parametrize("filtered", [held, low_pass])
@pytest.mark.parametrize("tau_s", [0.003, 0.006])
def test_readings_far_apart_place_a_lift_before_it_sinks(
    tmp_path: Path, filtered: Filter, tau_s: float
) -> None:
    x = moved(1.4)
    gone = np.abs(x - 0.62) < 0.008
    outcome = reviewed(tmp_path, filtered(LOW_V + WAY_V * x, gone, tau_s), 200, 3)
    assert faults(outcome) == ["worn-spot"]
    (finding,) = [f for f in outcome.judgement.findings if f.severity == "fault"]
    assert finding.where_percent is not None
    assert np.mean(finding.where_percent) == pytest.approx(62, abs=2.0)


@pytest.mark.parametrize("rate_hz", [500, 1000, 20_000])
@pytest.mark.parametrize("filtered", [held, low_pass])
@pytest.mark.parametrize("tau_s", [0.002, 0.004])
def test_a_loose_wire_behind_a_filter_keeps_to_no_place(
    tmp_path: Path, rate_hz: int, filtered: Filter, tau_s: float
) -> None:
    rng = np.random.default_rng([7, round(tau_s * 1000)])
    x = moved(1.4)
    outcome = reviewed(tmp_path, filtered(LOW_V + WAY_V * x, anywhere(x, rng), tau_s), rate_hz, 3)
    assert faults(outcome) == ["loose-connection"]
