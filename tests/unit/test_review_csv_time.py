"""A CSV whose time is in another unit than its head says, an angle that stands still, levels that are hardly known."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from sweeprig.analysis.model import Code
from sweeprig.bench.review.review import Choices, review_csv
from sweeprig.errors import CsvError
from sweeprig.judge.model import Verdict
from sweeprig.judge.outcome import Outcome

PROFILE = "adjustable-potentiometer"


def course(step_s: float = 0.01, strokes: int = 5) -> tuple[np.ndarray, np.ndarray]:
    """Times [s] and volts of strokes of 1.5 s between 0.45 and 4.3 V, with rests of 0.5 s."""
    ends = [0.45 if k % 2 == 0 else 4.3 for k in range(strokes + 1)]
    at = np.cumsum([0.0, *[0.5, 1.5] * strokes, 0.5])
    t_s = np.arange(0.0, at[-1], step_s)
    noise = np.random.default_rng(1).normal(0.0, 5e-4, t_s.size)
    return t_s, np.interp(t_s, at, np.repeat(ends, 2)) + noise


def reviewed(
    folder: Path,
    t: np.ndarray,
    signal_v: np.ndarray,
    *,
    head: str = "time_s",
    angle_deg: np.ndarray | None = None,
    time_unit: str | None = None,
    profile: str = PROFILE,
) -> Outcome:
    columns = [t, signal_v, np.full(t.size, 5.0), *([] if angle_deg is None else [angle_deg])]
    heads = [head, "signal_v", "supply_v", *([] if angle_deg is None else ["angle_deg"])]
    rows = [",".join(f"{x:.6f}" for x in row) for row in zip(*columns, strict=True)]
    path = folder / "table.csv"
    path.write_text("\n".join([",".join(heads), *rows]), encoding="utf-8")
    return review_csv(path, Choices(profile, **({"time_unit": time_unit} if time_unit else {})))


# --- the unit of time


@pytest.mark.parametrize("step_s", [1e-3, 0.01, 0.05])
@pytest.mark.parametrize("factor", [1e3, 1e6])
def test_milliseconds_under_a_head_of_seconds_are_asked_about(
    tmp_path: Path, step_s: float, factor: float
) -> None:
    t_s, signal_v = course(step_s)
    assert reviewed(tmp_path, t_s, signal_v).judgement.verdict is Verdict.PASS
    with pytest.raises(CsvError) as caught:
        reviewed(tmp_path, t_s * factor, signal_v)
    assert f"{t_s[-1] * factor:.0f} s in all" in caught.value.seen
    assert "--time-unit" in caught.value.next_step


def test_a_sweep_of_milliseconds_passes_nothing(tmp_path: Path) -> None:
    t_s, signal_v = course(0.002)
    assert reviewed(tmp_path, t_s / 100, signal_v).judgement.verdict is Verdict.UNDECIDED


@pytest.mark.parametrize(("head", "unit", "factor"), [("time_ms", "ms", 1e3), ("time_us", "us", 1e6)])
def test_the_unit_is_in_the_head_or_in_the_option(
    tmp_path: Path, head: str, unit: str, factor: float
) -> None:
    t_s, signal_v = course()
    plain = reviewed(tmp_path, t_s, signal_v)
    for outcome in (
        reviewed(tmp_path, t_s * factor, signal_v, head=head),
        reviewed(tmp_path, t_s * factor, signal_v, time_unit=unit),
    ):
        assert np.allclose(outcome.trace.t_s, plain.trace.t_s, atol=2e-6)
        assert outcome.judgement.verdict is Verdict.PASS


def test_slow_readings_by_hand_pass_with_their_unit(tmp_path: Path) -> None:
    t_s, signal_v = course()
    outcome = reviewed(tmp_path, t_s * 100, signal_v, time_unit="s")
    assert outcome.trace.t_s[-1] == pytest.approx(100 * t_s[-1])


@pytest.mark.parametrize("factor", [1e-12, 1e-3, 1e-6])
def test_a_table_of_no_length_is_refused_at_once(tmp_path: Path, factor: float) -> None:
    """At a step of 1e-15 s it asked for 45 TB."""
    t_s, signal_v = course()
    path = tmp_path / "a.csv"
    rows = [f"{t:.20f},{v:.4f}" for t, v in zip(t_s * factor, signal_v, strict=True)]
    path.write_text("\n".join(["time_s,signal_v", *rows]))
    with pytest.raises(CsvError, match="holds no sweep"):
        review_csv(path)


def test_two_columns_of_time_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("time_s,time_ms,signal_v\n0,0,1\n1,1000,2\n")
    with pytest.raises(CsvError, match="time_ms is given twice"):
        review_csv(path)


# --- an angle that stands still


def test_an_angle_that_stands_still_is_said_to_be_unjudged(tmp_path: Path) -> None:
    t_s, signal_v = course()
    still = reviewed(tmp_path, t_s, signal_v, angle_deg=np.full(t_s.size, 3.0))
    assert not any(c.name == "linearity" for c in still.judgement.checks)
    (text,) = [line for line in still.judgement.not_shown if line.startswith("Linearity")]
    assert "not judged, the angle does not move with the lever (3.0 to 3.0 degrees)" in text
    moved = reviewed(tmp_path, t_s, signal_v, angle_deg=20 * signal_v)
    assert any(c.name == "linearity" for c in moved.judgement.checks)
    assert not [line for line in moved.judgement.not_shown if line.startswith("Linearity")]


# --- levels that are hardly known


def jumps(levels: Sequence[float], *, n: int, rate_hz: float, times: int) -> tuple[np.ndarray, np.ndarray]:
    signal_v = np.repeat(np.tile(levels, times), n).astype(float)
    return np.arange(signal_v.size) / rate_hz, signal_v


@pytest.mark.parametrize("profile", [PROFILE, "any-three-wire", "fixed-potentiometer"])
def test_a_level_known_to_a_volt_is_within_nothing(tmp_path: Path, profile: str) -> None:
    t_s, signal_v = jumps((0.45, 2.3, 4.3, 2.3), n=10, rate_hz=10.0, times=8)
    judgement = reviewed(tmp_path, t_s, signal_v, profile=profile).judgement
    low = judgement.quantities["low_v"]
    assert low.u95 is not None
    assert low.u95 > 1.0
    assert judgement.verdict is Verdict.UNDECIDED
    _, _, kept = judgement.reason.partition("Within limits:")
    assert "closed" not in kept
    assert "low end" not in kept
    margin = next(m for m in judgement.margins if m.rail == "lower")
    assert margin.verdict is Verdict.UNDECIDED
    assert "interval" in margin.would_decide


def test_an_interval_wider_than_its_range_keeps_no_margin(tmp_path: Path) -> None:
    t_s, signal_v = jumps((0.6, 0.75, 4.3, 0.75), n=20, rate_hz=20.0, times=8)
    judgement = reviewed(tmp_path, t_s, signal_v).judgement
    closed = next(c for c in judgement.checks if c.name == "closed")
    assert closed.u95 is not None
    assert 2 * closed.u95 > 0.1
    assert "margin of the closed end" not in judgement.reason.partition("Within limits:")[2]
    assert Code.STRAY_DROPOUT not in [f.code for f in judgement.findings]
