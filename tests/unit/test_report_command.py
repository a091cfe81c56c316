"""The `sheet` command, on a table from elsewhere."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from support import outcomes as oc
from sweeprig.bench.review.sheets import KINDS, WRITERS
from sweeprig.cli.main import app
from sweeprig.errors import FileError, InputError
from sweeprig.report.exports import csv_text


@pytest.fixture
def table(tmp_path: Path) -> Path:
    path = tmp_path / "recorder.csv"
    path.write_bytes(csv_text(oc.make_trace()).encode())
    return path


def run(*words: object) -> tuple[int, list[str]]:
    done = CliRunner().invoke(app, ["sheet", *map(str, words)], catch_exceptions=False)
    return done.exit_code, done.stdout.splitlines()


def test_html_is_what_comes_without_being_asked(table: Path) -> None:
    code, lines = run(table)
    assert (code, lines) == (0, [str(table.with_suffix(".html"))])
    assert "recorder.csv" in table.with_suffix(".html").read_text(encoding="utf-8")


def test_text_prints_and_writes_nothing(table: Path) -> None:
    before = sorted(p.name for p in table.parent.iterdir())
    code, lines = run(table, table, "--text")
    assert code == 0
    assert lines[0].startswith("PASS: ")
    assert lines.count("") == 1
    assert len(lines) <= 2 * 10 + 1
    assert sorted(p.name for p in table.parent.iterdir()) == before


def test_exports_go_where_they_are_sent(table: Path, tmp_path: Path) -> None:
    out = tmp_path / "to" / "here"
    code, lines = run(table, "--csv", "--json", "--mdf", "--html", "--out", out)
    assert code == 0
    assert [Path(line).name for line in lines] == [
        "recorder.html",
        "recorder.csv",
        "recorder.json",
        "recorder.mf4",
    ]
    assert json.loads((out / "recorder.json").read_text(encoding="utf-8"))["verdict"] == "pass"


def test_the_verdict_follows_what_is_said_of_the_start(table: Path) -> None:
    _, lines = run(table, "--text", "--starts", "anywhere")
    assert any(line.startswith("Low 0.452") for line in lines)


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(FileError, match=r"File not found.*none\.sweep"):
        run(tmp_path / "none.sweep")


def test_nothing_is_written_when_two_files_would_meet(table: Path, tmp_path: Path) -> None:
    (tmp_path / "b").mkdir()
    other = tmp_path / "b" / table.name
    other.write_bytes(table.read_bytes())
    with pytest.raises(InputError):
        run(table, other, "--json", "--out", tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_every_kind_has_a_writer() -> None:
    assert set(WRITERS) == set(KINDS)
