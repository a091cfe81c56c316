"""A disk that takes no more: the verdict comes from memory, the journal is named, nothing else is lost."""

from __future__ import annotations

import json
import os
import re
import resource
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from support.full_disk import disk_with
from sweeprig.capture import writer
from sweeprig.capture.file import read_capture, write_capture
from sweeprig.capture.folder import MOST_BYTES, file_stem
from sweeprig.cli.main import app
from sweeprig.errors import CaptureFileError, ExportError, FileError, SweeprigError
from sweeprig.twin.capture import capture_of

SIM = "sim://{}?pace=fast&vm=cpython&seed=3"


@pytest.fixture(autouse=True)
def _home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SWEEPRIG_HOME", str(tmp_path))


def run(*args: str) -> Result:
    return CliRunner().invoke(app, list(args))


def status(done: Result) -> int:
    """Return the exit status that the program itself gives: there an error becomes one."""
    return done.exception.exit_code if isinstance(done.exception, SweeprigError) else done.exit_code


def full(*_: Any, **__: Any) -> None:
    raise CaptureFileError("a.sweep cannot be written.", seen="No space left on device")


def no_room(*_: Any) -> None:
    raise ExportError("a.html cannot be written.", seen="No space left on device")


def fill_at(room: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the journal find so many bytes of room, and no file any."""
    monkeypatch.setattr(writer, "os", SimpleNamespace(write=disk_with(room), fsync=os.fsync))
    monkeypatch.setattr("sweeprig.capture.file.write_new", full)


def test_a_disk_that_fills_while_it_sweeps_costs_no_verdict(monkeypatch: pytest.MonkeyPatch) -> None:
    fill_at(210_000, monkeypatch)
    done = run("sweep", "--port", SIM.format("good"))
    assert status(done) == FileError.exit_code, done.output
    assert "Both ends keep clear of ground and supply" in done.stdout
    assert "NOTHING WAS KEPT BUT THE JOURNAL" in done.stderr
    assert "No space left on device" in done.stderr
    journal = done.stderr.partition("sweeprig recover ")[2].split()[0]
    assert Path(journal).stat().st_size == 210_000
    assert re.search(r"the first [0-2]\.\d of [4-9]\.\d s", done.stderr), done.stderr
    assert "NOT SAVED: capture, sheet, record." in done.stdout
    assert "on the sheet" not in done.output


def test_json_names_no_file_that_is_not_there(monkeypatch: pytest.MonkeyPatch) -> None:
    fill_at(210_000, monkeypatch)
    done = run("sweep", "--json", "--port", SIM.format("good"))
    assert status(done) == FileError.exit_code, done.output
    told = json.loads(done.stdout)
    assert (told["verdict"], told["capture_file"], told["sheet_file"]) == ("pass", None, None)
    assert Path(told["journal_file"]).is_file()
    assert told["not_saved"] == ["capture", "sheet", "record"]
    assert "No space left on device" in told["problem"]


@pytest.mark.parametrize("room", [0, 100, 6000])
def test_a_journal_that_holds_nothing_is_not_called_kept(
    room: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill_at(room, monkeypatch)
    done = run("sweep", "--port", SIM.format("good"))
    assert status(done) == FileError.exit_code, done.output
    assert "is kept" not in done.output
    assert "recover" not in done.output
    assert not list(tmp_path.rglob("*.journal"))


def test_a_disk_that_has_room_again_takes_the_whole_capture(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(writer, "os", SimpleNamespace(write=disk_with(210_000), fsync=os.fsync))
    done = run("sweep", "--port", SIM.format("good"))
    assert done.exit_code == 0, done.output
    (file,) = tmp_path.rglob("*.sweep")
    assert read_capture(file).n_lost == 0
    assert not list(tmp_path.rglob("*.journal"))


def test_no_capture_begins_without_room_for_a_second(tmp_path: Path) -> None:
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (4096, hard))
    try:
        done = run("sweep", "--port", SIM.format("good"))
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert status(done) == FileError.exit_code, done.output
    assert "Sensor supply still off" not in done.output
    assert not list(tmp_path.rglob("*.journal"))


def test_a_journal_that_finds_no_room_stops_no_other_sweep(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sweeprig.capture.file.write_new", full)
    run("sweep", "--port", SIM.format("good"))
    (journal,) = tmp_path.rglob("*.journal")
    done = run("sweep", "--port", SIM.format("good"))
    assert "Both ends keep clear of ground and supply" in done.stdout
    assert f"cannot be recovered now and stays: {journal}" in done.stderr
    done = run("recover")
    assert status(done) == FileError.exit_code
    assert journal.is_file()


def test_a_series_whose_sweep_is_not_saved_says_so_in_its_status(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sweeprig.capture.file.write_new", full)
    done = CliRunner().invoke(app, ["sweep", "--series", "--port", SIM.format("good")], input="S-1\n")
    assert status(done) == FileError.exit_code, done.output
    assert "NOTHING WAS KEPT BUT THE JOURNAL" in done.output


def test_a_demo_without_its_sheets_is_no_traceback(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr("sweeprig.bench.sweep.sweep.write_sheets", no_room)
    done = run("demo", "--sensor", "good", "--fast", "--out", str(tmp_path))
    assert status(done) == FileError.exit_code, done.output
    assert "NO SHEET WAS WRITTEN" in done.stderr


def test_a_review_shows_the_verdict_where_its_sheet_finds_no_room(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    file = tmp_path / "a.sweep"
    write_capture(file, capture_of("good", seconds=5.0))
    monkeypatch.setattr("sweeprig.bench.review.sheets.write_html", no_room)
    with pytest.raises(ExportError):
        CliRunner().invoke(
            app, ["review", str(file), "--sheet", str(tmp_path / "a.html")], catch_exceptions=False
        )


@pytest.mark.parametrize("command", ["sweep", "wiggle"])
def test_a_capture_that_cannot_be_written_is_judged(command: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sweeprig.capture.file.write_new", full)
    more = ("--seconds", "2") if command == "wiggle" else ()
    done = run(command, "--port", SIM.format("worn"), *more)
    assert status(done) == FileError.exit_code, done.output
    assert ("1 event in 2 s." if command == "wiggle" else "Worn spot at ") in done.stdout
    assert "NOTHING WAS KEPT BUT THE JOURNAL" in done.stderr
    assert Path(done.stderr.partition("sweeprig recover ")[2].split()[0]).is_file()


def test_a_sheet_that_cannot_be_written_costs_no_verdict(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sweeprig.bench.sweep.sweep.write_sheets", no_room)
    done = run("sweep", "--port", SIM.format("good"))
    assert status(done) == FileError.exit_code, done.output
    assert "Record 1" in done.stdout
    assert "NOT SAVED: sheet." in done.stdout
    assert "on the sheet" not in done.stdout
    assert "NO SHEET WAS WRITTEN" in done.stderr


def test_a_recovered_capture_says_what_to_do_with_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sweeprig.capture.file.write_new", full)
    run("sweep", "--port", SIM.format("good"))
    monkeypatch.undo()
    monkeypatch.setenv("SWEEPRIG_HOME", str(tmp_path))
    done = run("recover")
    assert done.exit_code == 0, done.output
    (found,) = tmp_path.rglob("*.sweep")
    for step in ("review", "sheet", "records add"):
        assert f"sweeprig {step} {found}" in done.stderr


@pytest.mark.parametrize(
    ("label", "stem"),
    [
        ("Bügel links", "bügel-links"),
        ("Shelf 3, box/7", "shelf-3-box-7"),
        ("датчик №4", "датчик-4"),
        ("節流 12", "節流-12"),
        ("थ्रॉटल", "थ्रॉटल"),
        ("../..", "sweep"),
        ("A\u0308ste", "äste"),
    ],
)
def test_names_of_files_keep_letters_of_every_script(label: str, stem: str) -> None:
    assert file_stem(label, datetime(2031, 3, 4, 10, 15, tzinfo=UTC)) == f"{stem}-20310304-101500"


def test_a_long_label_of_any_script_fits_a_file_name() -> None:
    stem = file_stem("節" * 300, datetime(2031, 3, 4, tzinfo=UTC))
    assert len(stem.encode()) <= MOST_BYTES + 16
