"""A CSV with a million rows a second and more: put together in windows that keep lowest and highest, read in one go."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from sweeprig.bench.review.review import review_csv
from sweeprig.capture import csv_file
from sweeprig.capture.csv_file import read_csv
from sweeprig.capture.windows import WINDOW_S, joined
from sweeprig.errors import CsvError
from sweeprig.judge.model import Verdict

HEADER = "time_s,signal_v,supply_v"


def table(folder: Path, n: int, step_s: float, *, dropout_s: float = 0.0) -> Path:
    """Write three strokes each way within the time of the table, with one dropout in the second."""
    t = np.arange(n) * step_s
    x = np.clip(0.5 - 0.9 * np.cos(2 * np.pi * 3 * t / (n * step_s)), 0, 1)
    signal = 0.5 + 4 * x + np.random.default_rng(3).normal(0, 0.002, n)
    if dropout_s:
        at = round(0.42 * n)
        signal[at : at + max(1, round(dropout_s / step_s))] = 0.02
    path = folder / "scope.csv"
    rows = np.c_[t, signal, np.full(n, 5.0) + 0.001 * (np.arange(n) % 3)]
    np.savetxt(path, rows, fmt="%.7f,%.4f,%.4f", header=HEADER, comments="")
    return path


def test_rows_1_us_apart_are_reviewed_in_little_memory(tmp_path: Path) -> None:
    outcome = review_csv(table(tmp_path, 110_000, 1e-6))
    assert outcome.trace.t_s.size < 2300
    assert outcome.judgement.verdict is not Verdict.PASS  # no rest of a tenth of a second


def test_a_table_too_short_for_a_lever_is_refused_in_words(tmp_path: Path) -> None:
    with pytest.raises(CsvError, match="holds no sweep of a lever"):
        review_csv(table(tmp_path, 40_000, 1e-7))


def test_a_long_one_becomes_windows_that_the_analysis_can_bear(tmp_path: Path) -> None:
    trace = read_csv(table(tmp_path, 200_000, 1e-6))
    made = joined(trace)
    assert made.t_s.size == pytest.approx(200_000 * 1e-6 / made.window_s, abs=2)
    assert WINDOW_S <= made.window_s <= 1.1 * WINDOW_S  # that of a rig, which the analysis is made for
    assert made.n_per_window == round(made.window_s / 1e-6)


def test_windows_keep_a_dropout_of_one_row_and_the_mean(tmp_path: Path) -> None:
    trace = read_csv(table(tmp_path, 60_000, 1e-6, dropout_s=1e-6))
    made = joined(trace)
    assert made.signal_a.min_v.min() == trace.signal_a.min_v.min() == 0.02
    assert made.signal_a.max_v.max() == trace.signal_a.max_v.max()
    assert made.signal_a.mean_v.mean() == pytest.approx(trace.signal_a.mean_v.mean(), abs=1e-4)
    assert (made.signal_a.min_v <= made.signal_a.mean_v).all()
    assert (made.signal_a.mean_v <= made.signal_a.max_v).all()


def test_no_window_reaches_across_missing_rows(tmp_path: Path) -> None:
    path = table(tmp_path, 5000, 1e-6)
    lines = path.read_text().splitlines()
    path.write_text("\n".join(lines[:2018] + lines[2519:]))  # of a window's 1000 rows, 17 come before the gap
    trace = read_csv(path)
    made = joined(trace)
    (at,) = np.flatnonzero(made.gap_before)
    assert made.t_s[at] == trace.t_s[np.flatnonzero(trace.gap_before)[0]]
    assert made.n_lost == 1  # of 501 rows; counted as what is there is, in windows


@pytest.mark.parametrize("step_s", [5.5e-4, 1e-3, 1e-2])
def test_rows_that_are_no_closer_than_that_stay_as_they_are(tmp_path: Path, step_s: float) -> None:
    trace = read_csv(table(tmp_path, 3000, step_s))
    assert joined(trace) is trace


def test_a_plain_table_is_read_as_one_cell_by_cell(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = table(tmp_path, 5000, 1e-3)
    quick = read_csv(path)
    monkeypatch.setattr(csv_file, "_at_once", lambda _: None)
    slow = read_csv(path)
    assert quick.t_s.tolist() == slow.t_s.tolist()
    assert quick.signal_a.mean_v.tolist() == slow.signal_a.mean_v.tolist()


@pytest.mark.parametrize("cell", ["", "nan", "inf", "0x10", "1_000", "1e9", "x", '"1,5"', "1;5", "#", "1 2"])
def test_one_bad_cell_among_thousands_has_the_same_message(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, cell: str
) -> None:
    path = table(tmp_path, 3000, 1e-3)
    lines = path.read_text().splitlines()
    lines[1500] = f"{lines[1500].split(',')[0]},{cell},5.0"
    path.write_text("\n".join(lines))
    with pytest.raises(CsvError, match="line 1501") as quick:
        read_csv(path)
    monkeypatch.setattr(csv_file, "_at_once", lambda _: None)
    with pytest.raises(CsvError) as slow:
        read_csv(path)
    assert str(quick.value) == str(slow.value)


def test_time_that_goes_back_is_told_with_its_line(tmp_path: Path) -> None:
    path = table(tmp_path, 3000, 1e-3)
    lines = path.read_text().splitlines()
    lines[2000], lines[2001] = lines[2001], lines[2000]
    path.write_text("\n".join(lines))
    with pytest.raises(CsvError, match="line 2002: time_s goes from"):
        read_csv(path)
