"""Sheets and exports: whole or not at all, through no link, over no capture."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from support import outcomes
from support.records_world import numbered
from sweeprig.bench.review.sheets import WRITERS
from sweeprig.capture.file import write_capture
from sweeprig.cli.main import app
from sweeprig.errors import ExportError, InputError, SweeprigError
from sweeprig.records.store import open_store
from sweeprig.twin.capture import capture_of

BEFORE = b"what stood here before"
EARLIER = b"time_s,signal_v,missing_before\r\n"  # an export of before, which may be replaced


def call(*args: str | Path) -> Any:
    return CliRunner().invoke(app, [str(a) for a in args]).exception


@pytest.fixture(scope="module")
def capture(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("kept") / "a.sweep"
    write_capture(file, capture_of("good", seconds=2.0))
    return file


def _export(out: Path) -> Any:
    place = out.parent / "r.sqlite"
    with open_store(place) as store:
        store.add(numbered(1), Path("a.sweep"))
    return call("records", "export", "--records", place, "--out", out)


def _sheet(out: Path) -> Any:
    try:
        WRITERS["html"](outcomes.outcome(), out)
    except SweeprigError as error:
        return error


@pytest.mark.parametrize("write", [_export, _sheet])
def test_a_link_is_not_written_through(tmp_path: Path, write: Callable[[Path], Any]) -> None:
    target, link = tmp_path / "other.txt", tmp_path / "out.csv"
    target.write_bytes(BEFORE)
    link.symlink_to(target)
    assert not isinstance(write(link), SweeprigError)
    assert target.read_bytes() == BEFORE
    assert link.stat().st_size > 100
    assert not link.is_symlink()


@pytest.mark.parametrize("write", [_export, _sheet])
def test_a_disk_that_fails_leaves_the_file_of_before(
    tmp_path: Path, write: Callable[[Path], Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "out.csv"
    out.write_bytes(EARLIER)

    def full(*_: Any) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)  # of a sheet's part
    monkeypatch.setattr("os.fsync", full)  # of an export's
    error = write(out)
    assert isinstance(error, ExportError)
    assert "No space" in error.seen
    assert out.read_bytes() == EARLIER
    assert not list(tmp_path.glob(".part*"))


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names there")
@pytest.mark.parametrize("write", [_export, _sheet])
def test_a_pipe_or_folder_is_no_place_for_an_export(tmp_path: Path, write: Callable[[Path], Any]) -> None:
    os.mkfifo(tmp_path / "pipe.csv")
    (tmp_path / "folder.csv").mkdir()
    for name in ("pipe.csv", "folder.csv"):
        assert isinstance(write(tmp_path / name), ExportError)
    assert (tmp_path / "pipe.csv").is_fifo()


@pytest.mark.parametrize("name", ["b.sweep", "B.SWEEP", "c.journal"])
def test_nothing_is_written_over_a_capture(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_bytes(BEFORE)
    for write in (_export, _sheet):
        error = write(tmp_path / name)
        assert isinstance(error, ExportError)
        assert (tmp_path / name).read_bytes() == BEFORE


def test_a_review_keeps_the_file_that_it_reviews(capture: Path, tmp_path: Path) -> None:
    before = capture.read_bytes()
    assert isinstance(call("review", capture, "--sheet", capture), InputError)
    assert capture.read_bytes() == before
    source = tmp_path / "a.csv"
    rows = "".join(f"{k / 1000:.3f},{0.5 + 4 * (k % 1000) / 1000:.4f},5.0\n" for k in range(3000))
    source.write_text("time_s,signal_v,supply_v\n" + rows)
    text = source.read_text()
    assert isinstance(call("review", source, "--sheet", tmp_path / "." / "a.csv"), InputError)
    assert source.read_text() == text
