"""Captures that contradict themselves, digests right: refused in words or undecided with the reason, never passed."""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from support.whole_errors import says_all
from sweepboard import wire
from sweeprig.analysis.model import Code
from sweeprig.bench.review.review import review_capture
from sweeprig.capture.contradictions import contradictions
from sweeprig.capture.file import pack, read_capture
from sweeprig.capture.model import Capture
from sweeprig.errors import CaptureFileError
from sweeprig.judge.model import Verdict
from sweeprig.judge.outcome import Outcome
from sweeprig.link.messages import Gap
from sweeprig.twin.capture import capture_of


@pytest.fixture(scope="module")
def good() -> Capture:
    return capture_of("good", seed=1)


@pytest.fixture(scope="module")
def tapped() -> Capture:
    return capture_of("good", seed=1, hookup="tapped")


def changed(capture: Capture, **arrays: Any) -> Capture:
    return replace(capture, records=replace(capture.records, **arrays))


def with_flags(capture: Capture, rows: slice, *, on: int = 0, off: int = 0) -> Capture:
    flags = capture.records.flags.copy()
    flags[rows] = flags[rows] & ~np.uint16(off) | np.uint16(on)
    return changed(capture, flags=flags)


def reviewed(path: Path, capture: Capture) -> Outcome:
    path.write_bytes(pack(capture))
    return review_capture(read_capture(path))


def contradicted(outcome: Outcome) -> str:
    """The evidence of the finding that keeps a capture from any verdict."""
    assert outcome.judgement.verdict is Verdict.UNDECIDED
    (found,) = [f for f in outcome.judgement.findings if f.code is Code.CONTRADICTORY_DATA]
    assert found.evidence in outcome.judgement.reason
    return found.evidence


# --- records


def mean_code(capture: Capture) -> np.ndarray:
    return capture.records.sums[:, 0] // capture.window


def above_mean(capture: Capture, rows: np.ndarray) -> Capture:
    mins = capture.records.mins.copy()
    mins[rows, 0] = mean_code(capture)[rows] + 1
    return changed(capture, mins=mins)


def below_mean(capture: Capture, rows: np.ndarray) -> Capture:
    maxs = capture.records.maxs.copy()
    maxs[rows, 0] = mean_code(capture)[rows] - 1
    return changed(capture, maxs=maxs)


def exchanged(capture: Capture, rows: np.ndarray) -> Capture:
    mins, maxs = capture.records.mins.copy(), capture.records.maxs.copy()
    mins[rows, 0], maxs[rows, 0] = maxs[rows, 0].copy(), mins[rows, 0].copy()
    return changed(capture, mins=mins, maxs=maxs)


@pytest.mark.parametrize("change", [above_mean, below_mean, exchanged])
def test_a_mean_outside_its_codes_is_set_aside(
    tmp_path: Path, good: Capture, change: Callable[[Capture, np.ndarray], Capture]
) -> None:
    rows = np.array([900, 1900, 2900])
    outcome = reviewed(tmp_path / "a.sweep", change(good, rows))
    assert outcome.trace.t_s.size == len(good.records) - 3
    assert f"in 3 of {len(good.records)} records the mean" in contradicted(outcome)
    assert outcome.capture is not None
    assert sum(outcome.capture.set_aside.values()) == 3


@pytest.mark.parametrize("change", [above_mean, below_mean, exchanged])
def test_a_capture_of_such_records_is_refused(
    tmp_path: Path, good: Capture, change: Callable[[Capture, np.ndarray], Capture]
) -> None:
    path = tmp_path / "a.sweep"
    path.write_bytes(pack(change(good, np.arange(len(good.records)))))
    with pytest.raises(CaptureFileError) as caught:
        read_capture(path)
    says_all(caught.value)
    assert "records" in caught.value.seen


def test_a_flat_window_at_its_own_mean_is_no_contradiction(tmp_path: Path, good: Capture) -> None:
    records = good.records
    sums = records.sums.copy()
    sums[5] = records.mins[5].astype(np.uint32) * good.window
    outcome = reviewed(tmp_path / "a.sweep", changed(good, sums=sums))
    assert outcome.judgement.verdict is Verdict.PASS
    assert outcome.trace.t_s.size == len(records)


# --- flags against the set-up


def test_a_supply_that_is_off_while_powered_passes_nothing(tmp_path: Path, good: Capture) -> None:
    for rows in (slice(None), slice(1000, 1010)):
        outcome = reviewed(tmp_path / "a.sweep", with_flags(good, rows, off=wire.FLAG_SUPPLY_ON))
        assert "the set-up says powered" in contradicted(outcome)


def test_a_supply_that_is_cut_passes_nothing(tmp_path: Path, good: Capture) -> None:
    for rows in (slice(None), slice(1000, 1010)):
        outcome = reviewed(tmp_path / "a.sweep", with_flags(good, rows, on=wire.FLAG_SUPPLY_FAULT))
        assert outcome.judgement.verdict is Verdict.UNDECIDED
        assert "limiter" in outcome.judgement.reason


@pytest.mark.parametrize("flag", [wire.FLAG_SUPPLY_ON, wire.FLAG_BURDEN_ON, wire.FLAG_BIAS_ON])
def test_a_tapped_sensor_that_is_fed_passes_nothing(tmp_path: Path, tapped: Capture, flag: int) -> None:
    assert reviewed(tmp_path / "a.sweep", tapped).judgement.verdict is Verdict.PASS
    outcome = reviewed(tmp_path / "a.sweep", with_flags(tapped, slice(70, 71), on=flag))
    assert "the set-up says tapped, and in 1 of" in contradicted(outcome)


def test_a_hookup_that_the_rig_does_not_offer_passes_nothing(tmp_path: Path, tapped: Capture) -> None:
    feeds_only = replace(tapped, rig={**tapped.rig, "hookups": ["powered"]})
    assert "does not offer" in contradicted(reviewed(tmp_path / "a.sweep", feeds_only))


# --- restarts and gaps


def test_restarts_without_a_missing_record_pass_nothing(tmp_path: Path, good: Capture) -> None:
    rows = slice(10, 1010)
    outcome = reviewed(tmp_path / "a.sweep", with_flags(good, rows, on=wire.FLAG_SPLICE))
    assert "1000 records are marked as the first after a restart" in contradicted(outcome)


def test_a_restart_behind_missing_records_is_no_contradiction(good: Capture) -> None:
    split = with_flags(good, slice(2000, 2001), on=wire.FLAG_SPLICE)
    keep = np.ones(len(good.records), bool)
    keep[1999] = False
    kept = replace(split, records=split.records[keep])
    for gaps in ((), (Gap(1999, 1, wire.GAP_OVERRUN),)):
        outcome = review_capture(replace(kept, gaps=gaps))
        assert outcome.judgement.verdict is Verdict.PASS


@pytest.mark.parametrize("gap", [Gap(100, 50, 1), Gap(100, -5, 1), Gap(-9, 3, 1), Gap(100, 9999, 1)])
def test_a_gap_where_the_records_are_passes_nothing(tmp_path: Path, good: Capture, gap: Gap) -> None:
    outcome = reviewed(tmp_path / "a.sweep", replace(good, gaps=(gap,)))
    assert "1 of 1 reported gaps" in contradicted(outcome)


# --- the rig's own words


@pytest.mark.parametrize(("key", "value"), [("conversion_hz", 5000.0), ("window", 200)])
def test_another_time_base_than_the_rigs_passes_nothing(
    tmp_path: Path, good: Capture, key: str, value: float
) -> None:
    slower = replace(good, rig={**good.rig, key: value})
    assert f"a {key} of" in contradicted(reviewed(tmp_path / "a.sweep", slower))


def test_flags_that_no_rig_sets_pass_nothing(tmp_path: Path, good: Capture) -> None:
    outcome = reviewed(tmp_path / "a.sweep", with_flags(good, slice(7, 8), on=0x8000))
    assert "in 1 of 5020 records flags are set that no rig sets" in contradicted(outcome)


def test_a_rig_without_words_is_known_to_switch_its_supply(tmp_path: Path, good: Capture) -> None:
    silent = replace(good, rig={"build": good.rig["build"]})
    unfed = with_flags(silent, slice(None), off=wire.FLAG_SUPPLY_ON)
    assert "the set-up says powered" in contradicted(reviewed(tmp_path / "a.sweep", unfed))


# --- entries that the records themselves tell


def crafted(capture: Capture, setup: dict[str, Any] | None = None, **meta: Any) -> bytes:
    """A capture file with other entries, all digests right."""
    with zipfile.ZipFile(io.BytesIO(pack(capture))) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    plain = json.loads(members.pop("capture.json"))
    plain |= meta | {"setup": plain["setup"] | (setup or {})}
    assert plain["sha256"] == {name: hashlib.sha256(data).hexdigest() for name, data in members.items()}
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, data in {"capture.json": json.dumps(plain).encode(), **members}.items():
            archive.writestr(name, data)
    return out.getvalue()


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("stop_index", 10),
        ("first_index", 1),
        ("n_lost", -3),
        ("n_lost", 10**30),
        ("n_records", 12),
        ("ended", "finished"),
        ("channels", ["signal B", "signal A", "supply"]),
        ("channels", []),
        ("ended", ""),
    ],
)
def test_an_entry_against_the_records_is_named(
    tmp_path: Path, good: Capture, key: str, value: int | str | list[str]
) -> None:
    path = tmp_path / "a.sweep"
    path.write_bytes(crafted(good, **{key: value}))
    with pytest.raises(CaptureFileError) as caught:
        read_capture(path)
    says_all(caught.value)
    assert f"{key} {value!r}" in caught.value.seen
    assert caught.value.limit


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("task", "x"),
        ("task", ""),
        ("track_ohm", 1e300),
        ("track_ohm", 1e-9),
        ("setting", "moon"),
        ("sensor_kind", "zz"),
        ("vehicle_drive", "steam"),
    ],
)
def test_a_setup_that_no_command_makes_is_named(
    tmp_path: Path, good: Capture, key: str, value: str | float
) -> None:
    path = tmp_path / "a.sweep"
    path.write_bytes(crafted(good, {key: value}))
    with pytest.raises(CaptureFileError) as caught:
        read_capture(path)
    says_all(caught.value)
    assert f"{key} {value!r}" in caught.value.seen


def test_a_capture_without_the_later_entries_reads(tmp_path: Path, good: Capture) -> None:
    path = tmp_path / "a.sweep"
    path.write_bytes(crafted(good, first_index=None, stop_index=None))
    assert read_capture(path).n_lost == 0


def test_a_wiggle_that_contradicts_itself_fails_nothing(good: Capture) -> None:
    wiggle = replace(good, setup=replace(good.setup, task="wiggle"))
    outcome = review_capture(with_flags(wiggle, slice(None), off=wire.FLAG_SUPPLY_ON))
    contradicted(outcome)


@pytest.mark.parametrize("times", [0.5, 0.9, 1.1, 2.0])
def test_a_slow_supply_that_is_another_than_the_records_is_told(
    good: Capture, tmp_path: Path, times: float
) -> None:
    slow = tuple(
        replace(s, value=round(s.value * times)) if s.quantity == wire.SLOW_SUPPLY else s for s in good.slow
    )
    found = contradicted(reviewed(tmp_path / "a.sweep", replace(good, slow=slow)))
    told_v = float(found.partition("reads a supply of ")[2].split()[0])
    assert told_v == pytest.approx(4.99 * times, rel=0.01)
    assert "the records 4.9" in found


@pytest.mark.parametrize(
    "name", ["good", "supply-dropouts", "supply-sag", "ground-shift", "hall", "shorted-to-supply"]
)
@pytest.mark.parametrize("hookup", ["powered", "tapped"])
def test_no_simulated_sensors_slow_supply_contradicts(name: str, hookup: str) -> None:
    assert contradictions(capture_of(name, seed=2, hookup=hookup)) == ()
