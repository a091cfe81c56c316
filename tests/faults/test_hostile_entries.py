"""Settings, calibrations, profiles, recordings, questions and exports with values that nobody meant well."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from support.records_world import numbered
from sweeprig.bench.review.review import review_file
from sweeprig.bench.shop.config import load_config, set_value
from sweeprig.bench.shop.records import to_csv
from sweeprig.calibration.nominal import nominal_calibration
from sweeprig.calibration.store import (
    calibration_from_dict,
    calibration_path,
    calibration_to_dict,
    load_calibration,
)
from sweeprig.capture import csv_file
from sweeprig.capture.csv_file import read_csv
from sweeprig.capture.folder import file_stem
from sweeprig.errors import CalibrationFileError, ConfigError, CsvError, FileError, ProfileError, RecordsError
from sweeprig.judge.profile import load_profile, profile_text
from sweeprig.link import text
from sweeprig.link.decoder import Decoder
from sweeprig.records.store import open_store

DEEP = "[" * 100000
DIGITS = "9" * 5000
HUGE = "0x" + "f" * 20000  # a whole number that cannot even be printed
LONG = "x" * 5000

# --- settings


def test_a_setting_that_no_file_can_hold_is_cleaned(tmp_path: Path) -> None:
    path = tmp_path / "config.toml"
    set_value(path, "port", "loop://")
    set_value(path, "operator", "\udcff\0")
    config = load_config(path)
    assert (config.port, config.operator) == ("loop://", "\ufffd\ufffd")


def test_unwritable_setting_leaves_the_file_unchanged(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "config.toml"
    set_value(path, "operator", "A")
    before = path.read_bytes()

    def full(*_: Any) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(ConfigError) as caught:
        set_value(path, "operator", "B")
    assert "No space" in caught.value.seen
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["config.toml"]


@pytest.mark.parametrize("value", [DEEP, DIGITS, HUGE, "'x'\nz = " + DEEP])
def test_toml_of_any_depth_and_any_number_is_told_of(tmp_path: Path, value: str) -> None:
    path = tmp_path / "a.toml"
    path.write_text(f"operator = {value}\n")
    with pytest.raises(ConfigError) as config:
        load_config(path)
    with pytest.raises(ProfileError) as profile:
        load_profile(path)
    assert max(len(str(config.value)), len(str(profile.value))) < 1500


@pytest.mark.parametrize("value", [DIGITS, HUGE, "9" * 400, "1" + "0" * 310])
def test_a_number_of_any_size_in_a_profile_is_told_of(tmp_path: Path, value: str) -> None:
    shipped, _ = profile_text("adjustable-potentiometer")
    path = tmp_path / "a.toml"
    for key in ("nominal_v", "factor", "tracks"):
        lines = [f"{key} = {value}" if line.startswith(f"{key} =") else line for line in shipped.splitlines()]
        path.write_text("\n".join(lines))
        assert lines != shipped.splitlines()
        with pytest.raises(ProfileError) as caught:
            load_profile(path)
        assert len(str(caught.value)) < 1500


def test_a_name_longer_than_any_file_system_takes_is_told_of(tmp_path: Path) -> None:
    for call, error in ((lambda n: review_file(Path(n)), FileError), (load_profile, ProfileError)):
        for name in (LONG, "~nobody-of-this-name/x"):
            with pytest.raises(error) as caught:
                call(name)  # type: ignore[operator]
            assert len(str(caught.value)) < 1500
    stem = file_stem("a-" * 400, datetime(2026, 1, 1))
    assert len(stem) <= 60 + len("-20260101-000000")
    (tmp_path / f"{stem}.sweep").write_bytes(b"")


# --- calibrations

RIG = {"uid": "00ff", "build": "full", "chip": "rp2040"}
BENT = [
    {"code": code, "error_lsb": error, "u_lsb": 0, "method": "x"}
    for code, error in (
        ([1], [1, 2]),
        ([2, 1], [0, 0]),
        ([], []),
        ([[1]], [[1]]),
        ([True], [1]),
        (["1"], [1]),
        (5, 5),
    )
]
PLACES: list[tuple[tuple[str | int, ...], list[Any]]] = [
    (("channels",), [5, None, {}, [], "abc", [5, 5, 5]]),
    (("channels", 0), [None, [], "x"]),
    (("channels", 0, "channel"), [1, 7, "0", None, True, 0.5]),
    (("channels", 0, "line"), [None, 5, {}]),
    (("channels", 0, "line", "gain_v"), [0, math.nan, math.inf, "x", None, True, 10**400, 1e200, -1e200]),
    (("channels", 0, "line", "cov"), [1e200, math.nan]),
    (("channels", 0, "line", "offset_v"), [math.nan, math.inf, "x", None, []]),
    (("channels", 0, "line", "var_gain"), [-1, math.inf, "x"]),
    (("channels", 0, "line", "var_offset"), [-1, math.nan, None]),
    (("channels", 0, "line", "dof"), ["x", math.nan, -1]),
    (("channels", 0, "linearity"), [5, [], *BENT]),
    (("channels", 0, "points"), [5, [[1]], [["a", 1]], "ab"]),
    (("channels", 0, "u_linearity_lsb"), ["x", -1, math.nan]),
    (("meter",), [5, [], {"counts": "x"}, {"zzz": 1}]),
    (("kind",), [5, None, []]),
    (("rig_uid",), [5, None]),
    (("operator",), [5, None]),
    (("max_age_days",), ["x", math.nan, -1, None]),
    (("temperature_c",), ["x", math.inf]),
    (("verified",), [5, [5]]),
    (("remarks",), [5, "text", [5]]),
    (("monitor",), [5, {"channel": 1}]),
    (("zzz",), [1]),
]


@pytest.mark.parametrize(("place", "value"), [(place, v) for place, values in PLACES for v in values])
def test_no_wrong_value_gives_more_than_its_error(place: tuple[str | int, ...], value: Any) -> None:
    data: Any = json.loads(json.dumps(calibration_to_dict(nominal_calibration(RIG))))
    assert calibration_to_dict(calibration_from_dict(data)) == calibration_to_dict(nominal_calibration(RIG))
    part = data
    for step in place[:-1]:
        part = part[step]
    part[place[-1]] = value
    with pytest.raises(CalibrationFileError) as caught:
        calibration_from_dict(data)
    assert str(place[-1]) in caught.value.seen or len(place) < 5
    assert len(str(caught.value)) < 1500


@pytest.mark.parametrize("data", [DEEP, DIGITS, "[]", "5", "", '{"format":' + DEEP])
def test_a_calibration_of_any_depth_is_told_of(tmp_path: Path, data: str) -> None:
    calibration_path("00ff", folder=tmp_path).write_text(data)
    with pytest.raises(CalibrationFileError) as caught:
        load_calibration("00ff", folder=tmp_path)
    assert len(str(caught.value)) < 1500


# --- recordings as CSV

ROWS = "time_s,signal_v\n0,1\n"


@pytest.mark.parametrize(
    ("rows", "line"),
    [
        ('"time_s,signal_v\n0,1\n1,2\n', 1),
        ("time_s,signal_v," + "x" * 140000 + "\n0,1,1\n1,2,2\n", 1),
        (ROWS + "1,1000001\n2,1\n", 3),
        (ROWS + "1,-1e300\n2,1\n", 3),
        (ROWS + "2e9,1\n", 3),
        ("time_s,signal_v,supply_v\n0,1,5\n1,1,1e9\n", 3),
    ],
)
def test_a_csv_beyond_all_sense_names_its_line(tmp_path: Path, rows: str, line: int) -> None:
    path = tmp_path / "a.csv"
    path.write_text(rows)
    with pytest.raises(CsvError) as caught:
        read_csv(path)
    assert f"line {line}" in caught.value.seen
    assert caught.value.limit
    assert len(str(caught.value)) < 1500


def test_a_csv_beyond_the_limit_is_not_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "a.csv"
    with path.open("wb") as file:
        file.truncate(csv_file.MOST_BYTES + 1)  # a hole: takes no room on the disk
    monkeypatch.setattr(Path, "read_bytes", lambda _: pytest.fail("it was read"))
    with pytest.raises(CsvError) as caught:
        read_csv(path)
    assert str(csv_file.MOST_BYTES) in caught.value.limit


# --- text from a board


@pytest.mark.parametrize("end", [b"", b"\0", b"\xff\0"])
@pytest.mark.parametrize("line", [b"\n", b"ab\n"])
def test_text_is_looked_at_a_fixed_number_of_times(
    monkeypatch: pytest.MonkeyPatch, line: bytes, end: bytes
) -> None:
    """The bytes that go through the text functions are counted, not the time."""
    seen = [0]

    def counted(function: Callable[[bytes], Any]) -> Callable[[bytes], Any]:
        def inner(run: bytes) -> Any:
            seen[0] += len(run)
            return function(run)

        return inner

    for name in ("leading_line", "leading_lines", "lines_of", "is_text"):
        if hasattr(text, name):
            monkeypatch.setattr(text, name, counted(getattr(text, name)))
    data = line * 20000 + end
    Decoder().feed(data)
    assert len(data) < seen[0] < 5 * len(data)


# --- records


def test_no_question_to_the_records_is_too_odd(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        store.add(numbered(1, serial="S-1"), Path("1.sweep"))
        for odd in ("\udcff", "\0", "\ud800" * 3000, LONG, "\u00b2", "\u0663"):
            with pytest.raises(RecordsError) as caught:
                store.history(odd)
            str(caught.value).encode()
            with pytest.raises(RecordsError) as caught:
                store.get(odd)
            str(caught.value).encode()
            assert store.find(job=odd) == store.find(sensor=odd) == store.find(batch=odd) == []
            assert store.find(verdict=odd) == []


def test_typed_text_in_an_export_is_no_formula(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        store.add(numbered(1, serial="S-1"), Path("1.sweep"))
        (record,) = store.find()
    evil = ("=1+1", "+1", "-1", "@a", "\t=1", " =1", "A-1")
    job, label, part, serial, operator, batch, plain = evil
    told = replace(
        record, job=job, label=label, part=part, serial=serial, operator=operator, batch=batch,
        reason=plain, closed_v=-0.001,
    )  # fmt: skip
    (row,) = csv.DictReader(io.StringIO(to_csv([told])))
    keys = ("job", "sensor_label", "part", "serial", "operator", "batch", "reason", "closed_V")
    assert [row[key] for key in keys] == [*(f"'{text}" for text in evil[:-1]), "A-1", "-0.001"]
