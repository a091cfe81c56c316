"""An angle beside the signal: through 360 degrees, and an encoder whose readings come late or early."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from support.lever import through_play
from sweeprig.bench.review.review import Choices, review_csv
from sweeprig.capture.model import FloatArray
from sweeprig.judge.outcome import Outcome
from sweeprig.words import Starts

TRAVEL_DEG = 85.0
HZ = 500


def stroke(seconds: float) -> FloatArray:
    u = np.arange(1, round(HZ * seconds) + 1) / round(HZ * seconds)
    return np.asarray(10 * u**3 - 15 * u**4 + 6 * u**5)


def lever(paces_s: tuple[float, ...], even: bool = False) -> FloatArray:
    """Place of the lever, from 0 to 1 and back, a stroke for each pace, with rests of half a second."""
    rest, parts = np.ones(HZ // 2), [np.zeros(HZ // 2)]
    for k, pace_s in enumerate(paces_s):
        way = np.linspace(0, 1, round(HZ * pace_s)) if even else stroke(pace_s)
        parts += [way, rest] if k % 2 == 0 else [1 - way, 0 * rest]
    return np.concatenate(parts)


def later(x: FloatArray, seconds: float) -> FloatArray:
    """What comes so much later (earlier where below 0)."""
    at = np.arange(x.size) / HZ
    return np.asarray(np.interp(at - seconds, at, x))


def review(
    tmp_path: Path,
    wiper: FloatArray,
    angle_deg: FloatArray,
    profile: str | None = None,
    *,
    hum_v: float = 0.0,
) -> Outcome:
    rng = np.random.default_rng(5)
    hum = hum_v * np.sin(2 * np.pi * 49.3 * np.arange(wiper.size) / HZ)
    signal = 0.6 + 3.7 * wiper + hum + rng.normal(0, 5e-4, wiper.size)
    rows = [
        f"{k / HZ:.4f},{s:.4f},5.000,{a:.3f}" for k, (s, a) in enumerate(zip(signal, angle_deg, strict=True))
    ]
    path = tmp_path / "angle.csv"
    path.write_text("\n".join(["time_s,signal_v,supply_v,angle_deg", *rows]), encoding="utf-8")
    return review_csv(path, Choices(starts=Starts.CLOSED, profile=profile or "fixed-potentiometer"))


HAND = lever((2.0,) * 6)


@pytest.mark.parametrize("first_deg", [300.0, -20.0, 359.9])
def test_an_angle_through_zero_is_one_movement(tmp_path: Path, first_deg: float) -> None:
    found = review(tmp_path, HAND, (first_deg + TRAVEL_DEG * HAND) % 360)
    assert found.judgement.verdict == "pass", found.judgement.reason
    assert found.analysis.linearity is not None
    assert found.analysis.linearity.volts_per_degree == pytest.approx(3.7 / TRAVEL_DEG, rel=0.002)


@pytest.mark.parametrize("late_s", [0.03, -0.03, 0.08, -0.08])
@pytest.mark.parametrize("paces_s", [(2.0,) * 6, (1.0, 1.0, 3.0, 3.0, 2.0, 2.0)])
def test_an_angle_at_another_time_condemns_no_sensor(
    tmp_path: Path, late_s: float, paces_s: tuple[float, ...]
) -> None:
    x = lever(paces_s)
    found = review(tmp_path, x, TRAVEL_DEG * later(x, late_s))
    assert found.judgement.verdict == "undecided"
    assert not [f for f in found.judgement.findings if f.severity == "fault"]
    assert f"{abs(late_s) * 1e3:.0f} ms {'after' if late_s > 0 else 'before'} the signal" in " ".join(
        c.would_decide for c in found.judgement.checks
    )
    line = found.analysis.linearity
    assert line is not None
    assert line.late_s == pytest.approx(late_s, abs=0.002)


def test_without_a_limit_a_late_angle_is_named_as_not_shown(tmp_path: Path) -> None:
    found = review(tmp_path, HAND, TRAVEL_DEG * later(HAND, 0.03), "any-three-wire")
    assert found.judgement.verdict == "pass"
    assert [t for t in found.judgement.not_shown if "30 ms after the signal" in t]


@pytest.mark.parametrize("paces_s", [(2.0,) * 6, (0.8, 0.8, 3.0, 3.0, 2.0, 2.0), (5.0,) * 6])
@pytest.mark.parametrize("width", [0.03, 0.06])
def test_play_stays_hysteresis(tmp_path: Path, paces_s: tuple[float, ...], width: float) -> None:
    x = lever(paces_s)
    found = review(tmp_path, through_play(x, width), TRAVEL_DEG * x)
    assert found.judgement.verdict == "fail"
    assert "hysteresis" in [f.code for f in found.judgement.findings]


def test_play_at_two_even_paces_stays_hysteresis(tmp_path: Path) -> None:
    x = lever((1.0, 1.0, 3.0, 3.0, 2.0, 2.0), even=True)
    found = review(tmp_path, through_play(x, 0.04), TRAVEL_DEG * x)
    assert found.judgement.verdict == "fail"


def test_play_at_one_even_pace_is_never_passed(tmp_path: Path) -> None:
    x = lever((2.0,) * 6, even=True)
    found = review(tmp_path, through_play(x, 0.04), TRAVEL_DEG * x)
    assert found.judgement.verdict in ("undecided", "fail")


@pytest.mark.parametrize("late_s", [0.001, -0.001])
def test_a_lag_that_changes_nothing_is_not_told(tmp_path: Path, late_s: float) -> None:
    found = review(tmp_path, HAND, TRAVEL_DEG * later(HAND, late_s))
    assert found.judgement.verdict == "pass"


@pytest.mark.parametrize("hum_v", [0.05, 0.1, 0.2])
def test_hum_is_no_hysteresis(tmp_path: Path, hum_v: float) -> None:
    x = lever((1.0,) * 8)
    found = review(tmp_path, x, TRAVEL_DEG * x, hum_v=hum_v)
    assert found.judgement.verdict == "undecided", found.judgement.reason
    assert [f.code for f in found.judgement.findings] == ["interference"]
    bent = next(c for c in found.judgement.checks if c.name == "hysteresis")
    assert bent.verdict == "undecided"


def test_play_beyond_a_hum_stays_hysteresis(tmp_path: Path) -> None:
    x = lever((1.0,) * 8)
    found = review(tmp_path, through_play(x, 0.08), TRAVEL_DEG * x, hum_v=0.03)
    assert found.judgement.verdict == "fail"
    assert "hysteresis" in [f.code for f in found.judgement.findings]


@pytest.mark.parametrize("noise_deg", [0.2, 0.3, 0.5])
@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("every", [1, 3])
def test_noise_of_an_angle_is_no_hysteresis(tmp_path: Path, noise_deg: float, seed: int, every: int) -> None:
    x = lever((1.2,) * 8)[::every]
    angle = TRAVEL_DEG * x + np.random.default_rng(seed).normal(0, noise_deg, x.size)
    found = review(tmp_path, x, angle)
    assert found.judgement.verdict in ("pass", "undecided"), found.judgement.reason
    assert found.analysis.linearity is not None
    assert found.analysis.linearity.travel_deg == pytest.approx(TRAVEL_DEG, rel=0.02 if every == 1 else 0.05)


def test_play_stays_hysteresis_under_noise_of_the_angle(tmp_path: Path) -> None:
    x = lever((1.2,) * 8)
    angle = TRAVEL_DEG * x + np.random.default_rng(1).normal(0, 0.3, x.size)
    assert review(tmp_path, through_play(x, 0.04), angle).judgement.verdict == "fail"


@pytest.mark.parametrize("wild_deg", [0.0, 3276.7, -90.0])
@pytest.mark.parametrize("rows", [[700], [700, 701], [333, 900, 901, 1500, 2222]])
def test_wild_readings_of_an_angle_are_no_hysteresis(
    tmp_path: Path, wild_deg: float, rows: list[int]
) -> None:
    x = lever((1.2,) * 6)
    angle = TRAVEL_DEG * x
    angle[rows] = wild_deg
    found = review(tmp_path, x, angle)
    assert found.judgement.verdict == "pass", found.judgement.reason
    assert found.analysis.linearity is not None
    assert found.analysis.linearity.travel_deg == pytest.approx(TRAVEL_DEG, rel=0.01)
