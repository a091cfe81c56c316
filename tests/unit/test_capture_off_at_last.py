"""Rows from after the supply was switched off, at the end of a recording."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from support.outcomes import CLOSED_V, OPEN_V
from sweeprig.bench.review.review import Choices, review_csv
from sweeprig.capture.model import FloatArray
from sweeprig.judge.outcome import Outcome
from sweeprig.words import Starts

REMARK = "after the supply was switched off, are left out"


def at_stops(rate_hz: float, *, strokes: int = 6, rest_s: float = 0.5) -> FloatArray:
    u = np.arange(1, round(1.2 * rate_hz) + 1) / round(1.2 * rate_hz)
    way, rest = 10 * u**3 - 15 * u**4 + 6 * u**5, np.ones(round(rest_s * rate_hz))
    parts = [0 * rest]
    for k in range(strokes):
        parts += [way, rest] if k % 2 == 0 else [1 - way, 0 * rest]
    return np.concatenate(parts)


def switched_off(n: int, rate_hz: float, *, fall_s: float, off_s: float) -> FloatArray:
    """What share of the supply is there: all, then falling evenly, then nothing."""
    begin = n / rate_hz - off_s - fall_s
    return np.clip(1 - (np.arange(n) / rate_hz - begin) / max(fall_s, 1e-6), 0, 1)


def reviewed(
    folder: Path, x: FloatArray, share: FloatArray, *, rate_hz: float, supply: FloatArray | None
) -> Outcome:
    rng = np.random.default_rng(4)
    signal = np.maximum(share * (CLOSED_V + (OPEN_V - CLOSED_V) * x) + rng.normal(0, 1e-3, x.size), 0)
    columns = [np.arange(x.size) / rate_hz, signal]
    if supply is not None:
        columns.append(np.maximum(5 * supply + rng.normal(0, 1e-3, x.size), 0))
    path = folder / "off.csv"
    header = "time_s,signal_v" + (",supply_v" if supply is not None else "")
    np.savetxt(path, np.column_stack(columns), fmt="%.4f", delimiter=",", header=header, comments="")
    return review_csv(path, Choices(starts=Starts.CLOSED))


@pytest.mark.parametrize("strokes", [5, 6])
@pytest.mark.parametrize("rate_hz", [200.0, 1000.0])
@pytest.mark.parametrize("recorded", [True, False])
def test_a_supply_switched_off_before_the_logger_is_left_out(
    tmp_path: Path, strokes: int, rate_hz: float, recorded: bool
) -> None:
    x = at_stops(rate_hz, strokes=strokes)
    share = switched_off(x.size, rate_hz, fall_s=0.05, off_s=0.25)
    found = reviewed(tmp_path, x, share, rate_hz=rate_hz, supply=share if recorded else None)
    assert not [f.code for f in found.judgement.findings if f.severity != "note"]
    assert any(REMARK in r for r in found.remarks)


@pytest.mark.parametrize("rate_hz", [100.0, 500.0, 2000.0])
@pytest.mark.parametrize("tau_s", [0.06, 0.12, 0.25, 0.4])
def test_a_supply_that_its_capacitors_hold_up_is_left_out(
    tmp_path: Path, tau_s: float, rate_hz: float
) -> None:
    """Switched off at a rest of 1 s; supply and signal sink together by a time constant."""
    x = np.append(at_stops(rate_hz), np.zeros(round(6 * rate_hz)))
    after_s = np.clip((np.arange(x.size) - x.size) / rate_hz + 5.5, 0, None)
    share = np.exp(-after_s / tau_s)
    found = reviewed(tmp_path, x, share, rate_hz=rate_hz, supply=share)
    assert not [f.code for f in found.judgement.findings if f.severity != "note"]
    assert any(REMARK in r for r in found.remarks)


@pytest.mark.parametrize("fall_s", [0.0, 0.05])
def test_a_signal_that_goes_while_its_supply_stays_keeps_its_end(tmp_path: Path, fall_s: float) -> None:
    x = at_stops(1000.0)
    share = switched_off(x.size, 1000.0, fall_s=fall_s, off_s=0.25)
    found = reviewed(tmp_path, x, share, rate_hz=1000.0, supply=np.ones(x.size))
    assert found.judgement.verdict == "fail"
    assert not any("left out" in r for r in found.remarks)


def test_a_signal_that_goes_at_once_is_an_open_wire_without_supply(tmp_path: Path) -> None:
    x = at_stops(1000.0, strokes=5)
    share = switched_off(x.size, 1000.0, fall_s=0.0, off_s=0.25)
    found = reviewed(tmp_path, x, share, rate_hz=1000.0, supply=None)
    assert "open-signal" in {f.code.value for f in found.judgement.findings}


@pytest.mark.parametrize("recorded", [True, False])
def test_a_supply_that_went_and_came_before_keeps_its_end(tmp_path: Path, recorded: bool) -> None:
    x = at_stops(1000.0)
    share = switched_off(x.size, 1000.0, fall_s=0.05, off_s=0.25)
    share[4000:4040] = 0.0
    found = reviewed(tmp_path, x, share, rate_hz=1000.0, supply=share if recorded else None)
    assert found.judgement.verdict == "fail"
    assert not any("left out" in r for r in found.remarks)


def test_a_supply_lost_in_movement_keeps_its_end(tmp_path: Path) -> None:
    x = at_stops(1000.0)
    share = switched_off(x.size, 1000.0, fall_s=0.0, off_s=1.0)
    found = reviewed(tmp_path, x, share, rate_hz=1000.0, supply=share)
    assert {f.cause.value for f in found.judgement.findings if f.severity == "fault"} == {"supply"}
    assert not any("left out" in r for r in found.remarks)
