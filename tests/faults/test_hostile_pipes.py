"""A name that is no file: nothing waits for a pipe that nobody writes into, and nothing is written into one."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from sweeprig.bench.batch.gauge_data import readings_of_csv
from sweeprig.bench.calibration.points import read_points
from sweeprig.capture.csv_file import read_csv
from sweeprig.capture.file import read_capture, write_capture
from sweeprig.capture.sweep import recover
from sweeprig.errors import CalibrationError, CaptureFileError, CsvError, SweeprigError
from sweeprig.twin.capture import capture_of

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
    ],
)
def test_a_pipe_is_not_waited_for(
    pipe: Path, read: Callable[[Path], object], error: type[SweeprigError]
) -> None:
    (came,) = unblocked(pipe, lambda: read(pipe))
    assert isinstance(came, error)
    assert "not a regular file" in came.seen


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
