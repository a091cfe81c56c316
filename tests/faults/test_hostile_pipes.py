"""A name that is no file: nothing waits for a pipe that nobody writes into, and nothing is written into one."""

from __future__ import annotations

import contextlib
import os
import threading
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from sweeprig.bench.batch.gauge_data import readings_of_csv
from sweeprig.bench.calibration.points import read_points
from sweeprig.bench.hookup.cautions import JobBook
from sweeprig.bench.hookup.lead_book import LeadBook, LeadCheck
from sweeprig.bench.shop.config import load_config, set_value
from sweeprig.calibration.store import calibration_path, load_calibration
from sweeprig.capture.csv_file import read_csv
from sweeprig.capture.file import read_capture, write_capture
from sweeprig.capture.sweep import recover
from sweeprig.errors import (
    CalibrationError,
    CalibrationFileError,
    CaptureFileError,
    ConfigError,
    CsvError,
    InputError,
    ProfileError,
    SweeprigError,
)
from sweeprig.judge.profile import load_profile
from sweeprig.twin.capture import capture_of
from sweeprig.twin.converter_table import read_converter

pytestmark = pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs pipes with names")


@pytest.fixture
def pipe(tmp_path: Path) -> Path:
    os.mkfifo(tmp_path / "a.journal")
    return tmp_path / "a.journal"


def unblocked(pipe: Path, what: Callable[[], object]) -> list[object]:
    """Run in a thread that is let go through the pipe should it wait there; return what came of it in time."""
    came: list[object] = []

    def run() -> None:
        try:
            came.append(what())
        except SweeprigError as error:
            came.append(error)

    thread = threading.Thread(target=run)
    thread.start()
    thread.join(20.0)
    in_time = list(came)
    if thread.is_alive():
        pipe.open("wb").close()
        thread.join()
    return in_time


@pytest.mark.parametrize(
    ("read", "error"),
    [
        (read_csv, CsvError),
        (readings_of_csv, CsvError),
        (read_capture, CaptureFileError),
        (read_points, CalibrationError),
        (load_config, ConfigError),
        (lambda pipe: set_value(pipe, "operator", "A"), ConfigError),
        (lambda pipe: read_converter(pipe, noise_lsb=0.5), InputError),
    ],
)
def test_a_pipe_is_not_waited_for(
    pipe: Path, read: Callable[[Path], object], error: type[SweeprigError]
) -> None:
    (came,) = unblocked(pipe, lambda: read(pipe))
    assert isinstance(came, error)
    assert "not a regular file" in came.seen


def test_a_pipe_is_no_profile(tmp_path: Path) -> None:
    pipe = tmp_path / "a.toml"
    os.mkfifo(pipe)
    (came,) = unblocked(pipe, lambda: load_profile(pipe))
    assert isinstance(came, ProfileError)
    assert "not a regular file" in came.seen


def test_a_pipe_among_the_books_is_not_waited_for(tmp_path: Path) -> None:
    """A calibration is an error; what was confirmed, and the last test of a lead, are as if nothing was there."""
    jobs, leads = JobBook(tmp_path), LeadBook(tmp_path)
    jobs.note("1042", ["plug-off"], when=datetime(2026, 1, 1, tzinfo=UTC))
    leads.note("00ff", LeadCheck("2026-01-01", True, 0.5, 0.5, 0.001, 0, 10.0))
    calibration_path("00ff", folder=tmp_path).write_text("{}")
    books = list(tmp_path.iterdir())
    assert len(books) == 3
    for book in books:
        book.unlink()
        os.mkfifo(book)

    def damaged() -> object:
        return load_calibration("00ff", folder=tmp_path)

    calibration = calibration_path("00ff", folder=tmp_path)
    (came,) = unblocked(calibration, damaged)
    assert isinstance(came, CalibrationFileError)
    assert "not a regular file" in came.seen
    others = [book for book in books if book != calibration]
    for look in (lambda: jobs.confirmed("1042"), lambda: leads.last("00ff")):
        (came,) = unblocked_of(others, look)
        assert not came


def unblocked_of(pipes: list[Path], what: Callable[[], object]) -> list[object]:
    """Do the same where it is not known which of several pipes is waited for."""
    came: list[object] = []
    thread = threading.Thread(target=lambda: came.append(what()))
    thread.start()
    thread.join(20.0)
    in_time = list(came)
    for pipe in pipes if thread.is_alive() else ():
        with contextlib.suppress(OSError):  # nobody reads from this one
            os.close(os.open(pipe, os.O_WRONLY | os.O_NONBLOCK))
    thread.join(20.0)
    return in_time


def test_a_pipe_is_no_journal(pipe: Path) -> None:
    assert unblocked(pipe, lambda: recover(pipe.parent)) == [[]]
    assert pipe.exists()


def test_a_file_that_cannot_be_read_back_is_an_error(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    journal = tmp_path / "a.journal"
    journal.write_bytes(b"x")
    capture = replace(capture_of("good", seconds=0.2), journal=str(journal))

    def fail(_: Path) -> bytes:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(Path, "read_bytes", fail)
    with pytest.raises(CaptureFileError, match="read back"):
        write_capture(tmp_path / "a.sweep", capture)
    assert journal.exists()


@pytest.mark.parametrize("read", [read_csv, readings_of_csv, read_points])
@pytest.mark.parametrize("line", ["{},{},{}", "x,y,{}"])
def test_a_cell_of_200_kb_is_an_error_of_a_few_words(
    tmp_path: Path, read: Callable[[Path], object], line: str
) -> None:
    heads = {read_csv: "time_s,signal_v,note", readings_of_csv: "part,operator,value_v"}
    head = heads.get(read, "reading_v,code_a,code_b")
    for quote in ("", '"'):
        path = tmp_path / "a.csv"
        path.write_text(f"{head}\n" + line.format(*[quote + "1" * 200_000] * 3) + "\n")
        with pytest.raises(SweeprigError) as caught:
            read(path)
        assert len(str(caught.value)) < 1000
