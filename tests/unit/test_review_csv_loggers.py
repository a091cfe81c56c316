"""Tables of slow loggers: what goes back at one place in every stroke is the track; a reading written twice is one."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from sweeprig.bench.review.review import Choices, review_csv
from sweeprig.capture.csv_file import read_csv
from sweeprig.capture.model import FloatArray
from sweeprig.capture.windows import unrepeated
from sweeprig.judge.outcome import Outcome
from sweeprig.words import Starts

CLOSED_V, OPEN_V = 0.6, 4.3


def places(rate_hz: float, *, stroke_s: float = 2.0, strokes: int = 6) -> FloatArray:
    """Strokes from stop to stop, minimum jerk, with rests of half a second; shares of travel."""
    u = np.arange(1, round(stroke_s * rate_hz) + 1) / round(stroke_s * rate_hz)
    way, rest = 10 * u**3 - 15 * u**4 + 6 * u**5, np.ones(round(0.5 * rate_hz))
    parts = [0 * rest]
    for k in range(strokes):
        parts += [way, rest] if k % 2 == 0 else [1 - way, 0 * rest]
    return np.concatenate(parts)


def review(
    tmp_path: Path, x: FloatArray, low_v: FloatArray | float, rate_hz: float, repeat: int = 1
) -> Outcome:
    rng = np.random.default_rng(7)
    signal = CLOSED_V + (OPEN_V - CLOSED_V) * x - low_v + rng.normal(0, 5e-4, x.size)
    supply = 5.0 + rng.normal(0, 5e-4, x.size)
    rows = zip(np.repeat(signal, repeat), np.repeat(supply, repeat), strict=True)
    lines = [f"{k / (rate_hz * repeat):.6f},{a:.4f},{s:.4f}" for k, (a, s) in enumerate(rows)]
    path = tmp_path / "table.csv"
    path.write_text("\n".join(["time_s,signal_v,supply_v", *lines]), encoding="utf-8")
    return review_csv(path, Choices(starts=Starts.CLOSED))


@pytest.mark.parametrize("rate_hz", [50.0, 100.0, 200.0, 333.0])
@pytest.mark.parametrize(
    ("stroke_s", "wide", "low_v"), [(2.0, 0.06, 0.25), (8.0, 0.06, 0.15), (2.0, 0.5, 0.15)]
)
def test_a_track_that_reads_low_between_sharp_edges_fails(
    tmp_path: Path, rate_hz: float, stroke_s: float, wide: float, low_v: float
) -> None:
    x = places(rate_hz, stroke_s=stroke_s)
    found = review(tmp_path, x, np.where((x > 0.47) & (x < 0.47 + wide), low_v, 0.0), rate_hz)
    assert found.judgement.verdict == "fail"
    (worn,) = (f for f in found.judgement.findings if f.code == "worn-spot")
    assert worn.where_percent is not None
    assert worn.where_percent[1] == pytest.approx(47, abs=4)


@pytest.mark.parametrize("rate_hz", [50.0, 100.0, 200.0, 333.0])
@pytest.mark.parametrize("stroke_s", [0.3, 2.0, 8.0])
def test_a_sound_track_passes_at_any_rate_and_pace(tmp_path: Path, rate_hz: float, stroke_s: float) -> None:
    found = review(tmp_path, places(rate_hz, stroke_s=stroke_s, strokes=8), 0.0, rate_hz)
    assert not [f for f in found.judgement.findings if f.severity != "note"]
    assert found.judgement.verdict == "pass"


@pytest.mark.parametrize("rate_hz", [50.0, 200.0])
def test_a_hand_that_goes_back_at_other_places_is_no_fault(tmp_path: Path, rate_hz: float) -> None:
    x, rng = places(rate_hz), np.random.default_rng(3)
    for k in range(6):  # once in each stroke, by 4 % of travel
        at = round((0.5 + 2.5 * k + rng.uniform(0.7, 1.3)) * rate_hz)
        bump = 0.04 * np.hanning(round(0.4 * rate_hz))
        x[at : at + bump.size] += (-1) ** (k + 1) * bump
    assert review(tmp_path, x, 0.0, rate_hz).judgement.verdict != "fail"


@pytest.mark.parametrize(("rate_hz", "repeat"), [(100.0, 5), (100.0, 10), (250.0, 2), (50.0, 20)])
def test_readings_written_several_times_are_judged_once(tmp_path: Path, rate_hz: float, repeat: int) -> None:
    once = review(tmp_path, places(rate_hz), 0.0, rate_hz)
    found = review(tmp_path, places(rate_hz), 0.0, rate_hz, repeat)
    assert found.judgement.verdict == once.judgement.verdict == "pass"
    assert found.trace.t_s.size == once.trace.t_s.size
    assert any("repeats each reading" in r for r in found.remarks)
    assert not any("repeats each reading" in r for r in once.remarks)


def test_a_held_fault_is_found_too(tmp_path: Path) -> None:
    x = places(100.0)
    found = review(tmp_path, x, np.where((x > 0.47) & (x < 0.53), 0.25, 0.0), 100.0, 5)
    assert found.judgement.verdict == "fail"


def test_a_second_signal_that_moves_in_between_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "two.csv"
    a, b = np.repeat(places(100.0), 2), np.arange(2 * places(100.0).size) % 7 / 10
    lines = [f"{k / 200:.4f},{u:.4f},{v:.4f}" for k, (u, v) in enumerate(zip(a, b, strict=True))]
    path.write_text("\n".join(["time_s,signal_v,signal_b_v", *lines]), encoding="utf-8")
    trace = read_csv(path)
    assert unrepeated(trace) is trace


def held(
    folder: Path, source_hz: float, jitter: float, *, low_v: float = 0.0, noise_v: float = 0.0, seed: int = 11
) -> Path:
    """Write rows of 1 ms that hold the readings of a source with a clock of its own, as an asynchronous logger does."""
    rng, x = np.random.default_rng(seed), places(1000.0, stroke_s=1.2, strokes=8)
    whole_s = x.size / 1000
    taken = np.cumsum((1 + jitter * rng.uniform(-1, 1, round(whole_s * source_hz))) / source_hz)
    last = np.maximum(np.searchsorted(taken, np.arange(x.size) / 1000, side="right") - 1, 0)
    at = np.minimum(np.round(taken * 1000).astype(int), x.size - 1)
    signal = CLOSED_V + (OPEN_V - CLOSED_V) * x - np.where(np.abs(x - 0.5) < 0.01, low_v, 0.0)
    readings = signal[at] + rng.normal(0, 1e-3, at.size)
    path = folder / "held.csv"
    shown = readings[last] + rng.normal(0, 1, x.size) * noise_v
    shown = np.round(shown / 0.00134) * 0.00134 if noise_v else shown
    rows = np.c_[np.arange(x.size) / 1000, shown, 5 + rng.normal(0, 5e-4, x.size)]
    np.savetxt(path, rows, fmt="%.3f,%.4f,%.4f", header="time_s,signal_v,supply_v", comments="")
    return path


@pytest.mark.parametrize(
    ("source_hz", "jitter"), [(64.3, 0.0), (190.0, 0.1), (190.0, 0.3), (440.0, 0.0), (700.0, 0.0)]
)
def test_readings_held_for_no_whole_number_of_rows_pass(
    tmp_path: Path, source_hz: float, jitter: float
) -> None:
    found = review_csv(held(tmp_path, source_hz, jitter), Choices(starts=Starts.CLOSED))
    assert not [f.code for f in found.judgement.findings if f.severity != "note"]
    assert found.trace.window_s == pytest.approx(1 / source_hz, rel=0.05)
    assert any("repeats each reading" in r for r in found.remarks)


@pytest.mark.parametrize("source_hz", [64.3, 100.0, 190.0])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_readings_held_under_noise_are_judged_once(tmp_path: Path, source_hz: float, seed: int) -> None:
    path = held(tmp_path, source_hz, 0.0, noise_v=1.5e-3, seed=seed)
    found = review_csv(path, Choices(starts=Starts.CLOSED))
    assert not [f.code for f in found.judgement.findings if f.severity != "note"]
    assert found.trace.window_s == pytest.approx(1 / source_hz, rel=0.07)


@pytest.mark.parametrize("source_hz", [64.3, 190.0, 440.0])
def test_a_worn_place_in_held_readings_is_found(tmp_path: Path, source_hz: float) -> None:
    found = review_csv(held(tmp_path, source_hz, 0.0, low_v=1.5), Choices(starts=Starts.CLOSED))
    assert "worn-spot" in {f.code.value for f in found.judgement.findings}


@pytest.mark.parametrize("step_v", [0.0001, 0.001, 0.005, 0.02])
def test_a_level_that_lasts_in_a_coarse_table_is_no_repeat(tmp_path: Path, step_v: float) -> None:
    signal = np.round((CLOSED_V + (OPEN_V - CLOSED_V) * places(1000.0)) / step_v) * step_v
    path = tmp_path / "coarse.csv"
    rows = np.c_[np.arange(signal.size) / 1000, signal]
    np.savetxt(path, rows, fmt="%.3f,%.4f", header="time_s,signal_v", comments="")
    trace = read_csv(path)
    assert unrepeated(trace) is trace


def with_supply(folder: Path, x: FloatArray, supply_v: FloatArray, shown_v: FloatArray) -> Outcome:
    """Review a ratiometric sensor at 1 kHz on one supply, with another column for it."""
    rng = np.random.default_rng(4)
    signal = supply_v * (CLOSED_V + (OPEN_V - CLOSED_V) * x) / 5 + rng.normal(0, 1e-3, x.size)
    rows = np.c_[np.arange(x.size) / 1000, signal, shown_v]
    path = folder / "supply.csv"
    np.savetxt(path, rows, fmt="%.3f,%.4f,%.4f", header="time_s,signal_v,supply_v", comments="")
    return review_csv(path, Choices(starts=Starts.CLOSED))


@pytest.mark.parametrize("noise_v", [0.0, 1e-3])
def test_a_supply_read_ten_times_a_second_has_no_dropouts(tmp_path: Path, noise_v: float) -> None:
    x = places(1000.0, stroke_s=1.2, strokes=8)
    k = np.arange(x.size)
    supply = 5 * (1 + 0.01 * np.sin(2 * np.pi * 7 * k / 1000))
    shown = supply[k // 100 * 100] + np.random.default_rng(2).normal(0, 1, x.size) * noise_v
    found = with_supply(tmp_path, x, supply, shown)
    assert not [f.code for f in found.judgement.findings if f.severity == "fault"]


def test_a_supply_that_drops_out_in_a_quiet_column_still_fails(tmp_path: Path) -> None:
    x = places(1000.0, stroke_s=1.2, strokes=8)
    supply = np.full(x.size, 5.0)
    for at in np.random.default_rng(9).integers(500, x.size - 500, 25):
        supply[at : at + 6] = 3.0
    found = with_supply(tmp_path, x, supply, supply)
    assert "supply-dropout" in {f.code.value for f in found.judgement.findings}


@pytest.mark.parametrize("late_s", [-0.0005, 0.0, 0.0005])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_supply_read_after_the_signal_makes_no_flat_spots(tmp_path: Path, late_s: float, seed: int) -> None:
    """Strokes of one time, in step with a ripple of 100 Hz, as those of a motor are."""
    rng = np.random.default_rng(seed)
    x = places(1000.0, stroke_s=rng.choice([1.1, 1.2, 1.3]), strokes=8)
    t = np.arange(x.size) / 1000

    def rippled(at_s: FloatArray) -> FloatArray:
        return 5 * (1 + 0.012 * np.sin(2 * np.pi * 100 * at_s + seed))

    found = with_supply(tmp_path, x, rippled(t), rippled(t - late_s) + rng.normal(0, 1e-3, t.size))
    assert not [f.code for f in found.judgement.findings if f.severity == "fault"]


def test_what_was_recorded_before_the_supply_came_is_left_out(tmp_path: Path) -> None:
    x = places(1000.0, stroke_s=1.2, strokes=8)
    supply = 5 * (1 - np.exp(-np.maximum(np.arange(x.size) - 60, 0) / 20))
    found = with_supply(tmp_path, x, supply, supply)
    assert found.judgement.verdict == "pass"
    assert any("before the supply was there, are left out" in r for r in found.remarks)


@pytest.mark.parametrize("until", [-1, 7000])
def test_a_signal_that_goes_with_its_supply_is_the_supplys(tmp_path: Path, until: int) -> None:
    x = places(1000.0, stroke_s=1.2, strokes=8)
    supply = np.full(x.size, 5.0)
    supply[until - 1500 if until > 0 else -600 :][: 1500 if until > 0 else 600] = 0.0
    found = with_supply(tmp_path, x, supply, supply)
    faults = [f for f in found.judgement.findings if f.severity == "fault"]
    assert {f.cause.value for f in faults} == {"supply"}


@pytest.mark.parametrize(("rate_hz", "dead_s"), [(200.0, 1.0), (500.0, 0.15), (1000.0, 0.4), (2000.0, 0.05)])
def test_a_signal_from_before_the_ignition_is_left_out(tmp_path: Path, rate_hz: float, dead_s: float) -> None:
    x = places(rate_hz, stroke_s=1.2)
    x = np.concatenate([np.zeros(round(dead_s * rate_hz)), x])
    rising = 1 - np.exp(-np.maximum(np.arange(x.size) / rate_hz - dead_s, 0) / 0.005)
    signal = (CLOSED_V + (OPEN_V - CLOSED_V) * x) * rising + np.random.default_rng(3).normal(0, 1e-3, x.size)
    path = tmp_path / "cold.csv"
    rows = np.c_[np.arange(x.size) / rate_hz, signal]
    np.savetxt(path, rows, fmt="%.5f,%.4f", header="time_s,signal_v", comments="")
    found = review_csv(path, Choices(starts=Starts.CLOSED))
    assert not [f.code for f in found.judgement.findings if f.severity != "note"]
    assert any("before the supply was there, are left out" in r for r in found.remarks)


def test_a_signal_that_is_at_ground_again_keeps_its_beginning(tmp_path: Path) -> None:
    x = np.concatenate([np.zeros(400), places(1000.0, stroke_s=1.2)])
    signal = np.maximum((CLOSED_V + (OPEN_V - CLOSED_V) * x) * (np.arange(x.size) > 400), 0)
    signal[5000:5010] = 0.0
    path = tmp_path / "again.csv"
    rows = np.c_[np.arange(x.size) / 1000, signal]
    np.savetxt(path, rows, fmt="%.5f,%.4f", header="time_s,signal_v", comments="")
    found = review_csv(path, Choices(starts=Starts.CLOSED))
    assert found.judgement.verdict != "pass"
    assert not any("are left out" in r for r in found.remarks)


@pytest.mark.parametrize("bits", [8, 10, 12])
@pytest.mark.parametrize("supply_v", [5.05, 5.2])
def test_a_supply_at_the_top_of_its_converter_condemns_no_end(
    tmp_path: Path, bits: int, supply_v: float
) -> None:
    """Both columns are read by a converter that ends at 5 V; at 4.68 V for 5 V the sensor is within 4 to 4.7 V."""
    step = 5.0 / 2**bits
    x = places(500.0, stroke_s=1.2, strokes=8)
    true = (0.45 + (4.68 - 0.45) * x) * supply_v / 5.0
    read = [np.clip(np.round(v / step), 0, 2**bits - 1) * step for v in (true, np.full(x.size, supply_v))]
    rows = [f"{k / 500:.4f},{a:.4f},{s:.4f}" for k, (a, s) in enumerate(zip(*read, strict=True))]
    path = tmp_path / "table.csv"
    path.write_text("\n".join(["time_s,signal_v,supply_v", *rows]), encoding="utf-8")
    found = review_csv(path, Choices(starts=Starts.CLOSED, profile="adjustable-potentiometer"))
    assert found.judgement.verdict == "undecided", found.judgement.reason
    assert [t for t in found.judgement.not_shown if "highest value of its converter" in t]
    assert found.trace.supply is None
