"""A disk that takes no more: the verdict comes from memory, the journal is named, nothing else is lost."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from support.full_disk import disk_with
from sweeprig.capture import writer
from sweeprig.capture.folder import MOST_BYTES, file_stem
from sweeprig.cli.main import app
from sweeprig.errors import CaptureFileError, ExportError

SIM = "sim://{}?pace=fast&vm=cpython&seed=3"


@pytest.fixture(autouse=True)
def _home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SWEEPRIG_HOME", str(tmp_path))


def run(*args: str) -> Result:
    return CliRunner().invoke(app, list(args))


def full(*_: Any, **__: Any) -> None:
    raise CaptureFileError("a.sweep cannot be written.", seen="No space left on device")


def test_a_disk_that_fills_while_it_sweeps_costs_no_verdict(monkeypatch: pytest.MonkeyPatch) -> None:
    disk = SimpleNamespace(write=disk_with(80_000), fsync=os.fsync)
    monkeypatch.setattr(writer, "os", disk)
    done = run("sweep", "--port", SIM.format("good"))
    assert done.exit_code == 0, done.output
    assert "Both ends keep clear of both rails" in done.stdout
    assert "NOTHING WAS KEPT BUT THE JOURNAL" in done.stderr
    assert "No space left on device" in done.stderr
    journal = done.stderr.partition("sweeprig recover ")[2].split()[0]
    assert Path(journal).stat().st_size == 80_000
    monkeypatch.undo()


@pytest.mark.parametrize("command", ["sweep", "wiggle"])
def test_a_capture_that_cannot_be_written_is_judged(command: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sweeprig.capture.file.write_new", full)
    more = ("--seconds", "2") if command == "wiggle" else ()
    done = run(command, "--port", SIM.format("worn"), *more)
    assert done.exit_code in {10, 11}, done.output
    assert "NOTHING WAS KEPT BUT THE JOURNAL" in done.stderr
    assert Path(done.stderr.partition("sweeprig recover ")[2].split()[0]).is_file()


def test_a_sheet_that_cannot_be_written_costs_no_verdict(monkeypatch: pytest.MonkeyPatch) -> None:
    def no_room(*_: Any) -> None:
        raise ExportError("a.html cannot be written.", seen="No space left on device")

    monkeypatch.setattr("sweeprig.bench.sweep.sweep.write_sheets", no_room)
    done = run("sweep", "--port", SIM.format("good"))
    assert done.exit_code == 0, done.output
    assert "Record 1" in done.stdout
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
