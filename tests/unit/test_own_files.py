"""Sheets and exports replace earlier ones, and nothing that somebody else wrote."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from support import outcomes
from support.records_world import numbered
from sweeprig.bench.review.sheets import write_page
from sweeprig.capture.file import write_capture
from sweeprig.cli.main import app
from sweeprig.errors import ExportError, SweeprigError
from sweeprig.records.store import open_store
from sweeprig.twin.capture import capture_of

runner = CliRunner()
ALL = ["--html", "--csv", "--json"]
CAPTURE = capture_of("good", seconds=2.0)
FOREIGN = {
    "html": b"<!doctype html><title>price list</title>",
    "csv": b"time_s,signal_v\r\n0,0.5\r\n0.1,0.6\r\n",
    "json": b'{"precious": 1}\n',
    "pdf": b"%PDF-1.7\n%%EOF\n",
    "mf4": b"MDF     4.10    other",
}


def call(*args: str) -> str:
    done = runner.invoke(app, list(args), catch_exceptions=False)
    assert done.exit_code == 0, done.stderr
    return done.stdout


@pytest.fixture
def capture(tmp_path: Path) -> Path:
    return Path(write_capture(tmp_path / "shelf.sweep", CAPTURE).path)


@pytest.fixture
def store(tmp_path: Path) -> Path:
    place = tmp_path / "records" / "records.sqlite"
    with open_store(str(place)) as kept:
        kept.add(numbered(1, outcomes.outcome()), Path("1.sweep"))
    return place


@pytest.mark.parametrize("kind", FOREIGN)
def test_a_foreign_file_beside_a_capture_is_not_replaced(capture: Path, kind: str) -> None:
    ending = {"mf4": "--mdf"}.get(kind, f"--{kind}")
    there = capture.with_suffix(f".{kind}")
    there.write_bytes(FOREIGN[kind])
    with pytest.raises(ExportError, match="is not replaced"):
        call("sheet", str(capture), ending)
    assert there.read_bytes() == FOREIGN[kind]


@pytest.mark.parametrize("kind", ["html", "csv", "json", "pdf", "mdf"])
def test_an_earlier_sheet_or_export_is_replaced(capture: Path, kind: str) -> None:
    (written,) = call("sheet", str(capture), f"--{kind}").split()
    (again,) = call("sheet", str(capture), f"--{kind}").split()
    assert again == written
    Path(written).write_bytes(b"")
    call("sheet", str(capture), f"--{kind}")
    assert Path(written).stat().st_size > 1000


@pytest.mark.parametrize("kind", ["csv", "json"])
def test_an_export_of_records_replaces_only_its_own(store: Path, tmp_path: Path, kind: str) -> None:
    out = tmp_path / f"list.{kind}"
    for _ in range(2):
        call("records", "export", "--records", str(store), "--out", str(out))
    call("records", "export", "--records", str(store), "--out", str(out), "--job", "no such job")
    call("records", "export", "--records", str(store), "--out", str(out))
    out.write_bytes(FOREIGN[kind])
    with pytest.raises(ExportError, match="is not replaced"):
        call("records", "export", "--records", str(store), "--out", str(out))
    assert out.read_bytes() == FOREIGN[kind]


def test_the_database_of_records_is_never_replaced(store: Path) -> None:
    before = store.read_bytes()
    for args in (["export", "--out", str(store)], ["batch", "", "--sheet-file", str(store)]):
        with pytest.raises(SweeprigError):
            call("records", *args, "--records", str(store))
    assert store.read_bytes() == before


def test_a_page_replaces_a_page_and_nothing_else(tmp_path: Path) -> None:
    page = tmp_path / "batch.html"
    page.write_text("not a page", encoding="utf-8")
    with pytest.raises(ExportError, match="is not replaced"):
        write_page(page, "<p>new</p>")
    assert page.read_text(encoding="utf-8") == "not a page"


def test_a_copy_of_a_sheet_that_was_renamed_may_be_replaced(capture: Path, tmp_path: Path) -> None:
    (written,) = call("sheet", str(capture), "--html").split()
    folder = tmp_path / "out"
    folder.mkdir()
    shutil.copy(written, folder / "shelf.html")
    call("sheet", str(capture), "--html", "--out", str(folder))
