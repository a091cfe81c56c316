"""Records that did not come or are no data: nothing is found in or across what is missing, and nothing is passed."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sweepboard import wire
from sweeprig.analysis.analyse import analyse
from sweeprig.analysis.model import Code
from sweeprig.bench.review.review import review_capture, review_csv
from sweeprig.bench.sweep.run import cut_to
from sweeprig.capture.file import read_capture, write_capture
from sweeprig.capture.model import Capture
from sweeprig.judge.model import Verdict
from sweeprig.judge.outcome import Outcome
from sweeprig.link.messages import Records
from sweeprig.twin.capture import play
from sweeprig.words import Sense

PACKET_BYTES = 600  # of a packet of records on the wire, about
NAMES = ("index", "sums", "mins", "maxs", "position", "flags")


def kept(capture: Capture, keep: np.ndarray) -> Capture:
    return replace(capture, records=Records(*(getattr(capture.records, n)[keep] for n in NAMES)))


def without(capture: Capture, start_s: float, stop_s: float) -> Capture:
    t = capture.records.index * capture.window_s
    return kept(capture, (t < start_s) | (t >= stop_s))


def with_byte_errors(capture: Capture, rate: float, seed: int) -> Capture:
    """Every packet with a wrong byte is lost."""
    packet = np.arange(len(capture.records)) // wire.RECORDS_PER_PACKET
    lost = np.random.default_rng(seed).random(packet[-1] + 1) > (1 - rate) ** PACKET_BYTES
    return kept(capture, ~lost[packet])


def flagged(capture: Capture, rows: slice) -> Capture:
    flags = capture.records.flags.copy()
    flags[rows] |= wire.FLAG_CONVERSION_ERROR
    return replace(capture, records=replace(capture.records, flags=flags))


def faults(outcome: Outcome) -> list[Code]:
    return [f.code for f in outcome.judgement.findings if f.severity != "note"]


@pytest.fixture(scope="module", params=range(3))
def good(request: pytest.FixtureRequest) -> Capture:
    return play("good", seed=request.param).capture


@pytest.mark.parametrize("rate", [5e-5, 1e-4, 5e-4])
def test_lost_packets_are_no_fault_of_a_good_sensor(good: Capture, rate: float) -> None:
    outcome = review_capture(with_byte_errors(good, rate, 1))
    assert faults(outcome) == []
    assert outcome.judgement.verdict is Verdict.UNDECIDED
    assert outcome.analysis.events == ()


@pytest.mark.parametrize("start_s", [0.9, 1.4, 1.9, 2.4])
def test_a_stall_is_no_event_and_no_pass(good: Capture, start_s: float) -> None:
    outcome = review_capture(without(good, start_s, start_s + 1.5))
    assert faults(outcome) == []
    assert outcome.judgement.verdict is Verdict.UNDECIDED
    assert any("data blocks (30 %) were lost" in line for line in outcome.judgement.not_shown)


def test_a_few_records_lost_in_a_long_sweep_leave_a_pass() -> None:
    capture = play("good", seed=3, seconds=20.0).capture
    outcome = review_capture(without(capture, 7.0, 7.015))
    assert outcome.judgement.verdict is Verdict.PASS


@pytest.mark.parametrize("seed", range(3))
def test_a_dropout_that_was_lost_passes_nothing(seed: int) -> None:
    played = play("one-spike", seed=seed)
    assert review_capture(played.capture).judgement.verdict is Verdict.UNDECIDED
    at = played.events[0].start_s
    hole = without(played.capture, at - 0.008, at + 0.016)
    assert review_capture(hole).judgement.verdict is Verdict.UNDECIDED


def test_a_stroke_lost_at_one_place_is_missed_there() -> None:
    capture = play("good", seed=1, seconds=4.2).capture
    whole = review_capture(capture)
    middle = next(s for s in whole.analysis.strokes if s.full)
    at = float(whole.trace.t_s[(middle.start + middle.stop) // 2])
    outcome = review_capture(without(capture, at - 0.02, at + 0.02))
    before, after = whole.analysis.track_map, outcome.analysis.track_map
    assert before is not None
    assert after is not None
    less = np.flatnonzero(after.strokes_seen < before.strokes_seen)
    assert less.size
    assert (np.diff(less) == 1).all()
    assert 30 < less.mean() < 70


def test_a_missing_beginning_exchanges_no_ends(good: Capture) -> None:
    late = without(good, 0.0, 1.2)
    assert late.n_lost > 1000
    outcome = review_capture(late)
    assert outcome.analysis.sense is Sense.UNKNOWN
    assert faults(outcome) == []
    assert outcome.judgement.verdict is Verdict.UNDECIDED
    assert "the first 1.20 s are missing" in outcome.judgement.reason.lower()


def test_what_is_missing_at_the_beginning_is_kept_in_a_file(good: Capture, tmp_path: Path) -> None:
    for capture in (without(good, 0.0, 1.2), cut_to(good, 1.2), without(cut_to(good, 1.0), 1.0, 1.3)):
        write_capture(tmp_path / "a.sweep", capture)
        back = read_capture(tmp_path / "a.sweep")
        assert (back.first_index, back.n_lost) == (capture.first_index, capture.n_lost)
        (tmp_path / "a.sweep").unlink()


def test_a_capture_cut_out_of_a_series_begins_where_it_is_cut(good: Capture) -> None:
    assert cut_to(good, 1.2).n_lost == 0
    assert without(cut_to(good, 1.0), 1.0, 1.3).n_lost == pytest.approx(301, abs=1)


def test_flagged_conversions_are_no_data_and_the_rigs_fault(good: Capture) -> None:
    outcome = review_capture(flagged(good, slice(300, None)))
    assert Code.BAD_CONVERSIONS in faults(outcome)
    assert outcome.judgement.verdict is Verdict.UNDECIDED
    assert outcome.trace.t_s.size == 300


def test_one_flagged_record_is_left_out_and_no_fault(good: Capture) -> None:
    wild = flagged(good, slice(2500, 2501))
    maxs = wild.records.maxs.copy()
    maxs[2500] = 4095
    wild = replace(wild, records=replace(wild.records, maxs=maxs))
    outcome = review_capture(wild)
    assert faults(outcome) == []
    assert outcome.trace.t_s.size == len(good.records) - 1
    assert outcome.judgement.verdict is Verdict.PASS


def with_drops(capture: Capture, percent: float) -> tuple[Capture, np.ndarray]:
    """A dropout within one window of every stroke, at one place; and the numbers of these windows."""
    mean = capture.records.sums[:, 0] / capture.window
    low, high = np.quantile(mean, (0.02, 0.98))
    rows = np.flatnonzero(np.diff(np.sign(mean - low - percent / 100 * (high - low))) != 0)
    mins, sums = capture.records.mins.copy(), capture.records.sums.copy()
    mins[rows, 0] -= np.minimum(mins[rows, 0], 1000).astype(np.uint16)
    sums[rows, 0] -= 2000
    return replace(capture, records=replace(capture.records, mins=mins, sums=sums)), rows


@pytest.mark.parametrize("percent", [30.0, 70.0])
def test_few_missing_at_one_place_pass_nothing(good: Capture, percent: float) -> None:
    """One record a stroke is less than 0.1 % of them all, and it was the one that held the worn spot."""
    worn, rows = with_drops(good, percent)
    assert review_capture(worn).judgement.verdict is Verdict.FAIL
    assert rows.size <= 0.001 * len(good.records)
    keep = np.ones(len(good.records), bool)
    keep[rows] = False
    marked = worn.records.flags.copy()
    marked[rows] |= wire.FLAG_CONVERSION_ERROR
    for hidden in (kept(worn, keep), replace(worn, records=replace(worn.records, flags=marked))):
        outcome = review_capture(hidden)
        assert outcome.judgement.verdict is Verdict.UNDECIDED
        assert "of travel fewer than 3 strokes were seen" in outcome.judgement.reason


def test_no_event_reaches_across_what_is_missing(good: Capture) -> None:
    trace = review_capture(good).trace
    low = trace.t_s.size // 2
    step = np.where(np.arange(trace.t_s.size) < low, 0.0, 0.3)
    jumped = replace(
        trace.signal_a, **{n: getattr(trace.signal_a, n) + step for n in ("mean_v", "min_v", "max_v")}
    )
    gap = np.zeros(trace.t_s.size, bool)
    gap[low] = True
    for gaps, some in ((trace.gap_before, True), (gap, False)):
        found = analyse(
            replace(trace, signal_a=jumped, gap_before=gaps),
            starts=good.setup.starts,
            given_sense=Sense.UNKNOWN,
        )
        assert bool(found.events) is some


def test_no_rest_reaches_across_what_is_missing(good: Capture) -> None:
    whole = review_capture(good)
    rest = max(whole.analysis.rests, key=lambda r: r.stop - r.start)
    at = float(whole.trace.t_s[(rest.start + rest.stop) // 2])
    found = review_capture(without(good, at - 0.005, at + 0.005)).analysis
    assert all(not found_across(r.start, r.stop, whole.trace.t_s, at) for r in found.rests)


def found_across(start: int, stop: int, t_s: np.ndarray, at: float) -> bool:
    """Whether a rest holds windows on both sides; the hole takes ten windows out of the indices."""
    return bool(t_s[start] < at - 0.01 and start < stop and t_s[min(stop, t_s.size - 1)] > at + 0.02)


def test_nearly_all_missing_is_a_hundred_per_cent_in_words(good: Capture) -> None:
    """It read 1e+02 %."""
    index = good.records.index.copy()
    index[-1] = 1 << 40
    outcome = review_capture(replace(good, records=replace(good.records, index=index)))
    assert outcome.judgement.verdict is Verdict.UNDECIDED
    assert "100 % of the data" in outcome.judgement.reason
    assert "e+" not in " ".join(outcome.judgement.not_shown)


def slipping(rng: np.random.Generator) -> np.ndarray:
    """Places every 2 ms of a lever with dry friction: it stands, and slips on in 16 to 40 ms."""
    at, parts = 0.0, [np.zeros(250)]
    for to in (1.0, 0.0, 1.0, 0.0):
        while at != to:
            by = min(abs(to - at), float(rng.uniform(0.02, 0.12)))
            n = int(rng.integers(8, 21))
            way = np.arange(1, n + 1) / n
            parts.append(at + np.sign(to - at) * by * way**3 * (10 - 15 * way + 6 * way**2))
            at = round(float(parts[-1][-1]), 6)
            parts.append(np.full(int(rng.integers(5, 50)), at))
        parts.append(np.full(250, at))
    return np.concatenate(parts)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("share", [0.0, 0.04])
def test_slips_of_a_lever_are_no_event_in_500_hz_tables(tmp_path: Path, seed: int, share: float) -> None:
    """Of 4 % of the rows missing, in the middle of a slip too."""
    rng = np.random.default_rng(seed)
    volts = 0.46 + 4.0 * slipping(rng)
    keep = rng.random(volts.size) >= share
    rows = [f"{0.002 * k:.3f},{v + rng.normal(0, 1e-3):.3f},5.000" for k, v in enumerate(volts) if keep[k]]
    path = tmp_path / "a.csv"
    path.write_text("\n".join(["time_s,signal_v,supply_v", *rows]) + "\n")
    outcome = review_csv(path)
    assert outcome.analysis.events == ()
    assert faults(outcome) == []
