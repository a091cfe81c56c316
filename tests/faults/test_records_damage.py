"""Databases of records that are damaged, somebody else's, or on a full disk: what can be read is read."""

from __future__ import annotations

import hashlib
import sqlite3
import subprocess
import sys
from contextlib import closing
from dataclasses import asdict
from pathlib import Path
from typing import Any

import pytest
from tests.campaign import files
from tests.campaign.tally import run
from typer.testing import CliRunner

from support.records_world import numbered
from sweeprig.cli.main import app
from sweeprig.errors import InputError
from sweeprig.records.errors import (
    RecordsDamagedError,
    RecordsForeignError,
    RecordsMissingError,
    RecordsNewerError,
)
from sweeprig.records.read import record_of
from sweeprig.records.store import open_store


@pytest.fixture
def place(tmp_path: Path) -> Path:
    with open_store(tmp_path / "r.sqlite") as store:
        for n in range(3):
            store.add(numbered(n, serial="S-1", closed_v=0.45 + 1e-3 * n), Path(f"{n}.sweep"), batch="B")
    return tmp_path / "r.sqlite"


def call(*args: str | Path) -> Any:
    return CliRunner().invoke(app, ["records", *map(str, args)])


CELLS: list[tuple[str, str, Any]] = [
    ("verdicts", "findings", "[{"),
    ("verdicts", "findings", "null"),
    ("verdicts", "findings", "[" * 20_000),
    ("verdicts", "findings", '[{"code": 5}]'),
    ("verdicts", "closed_v", "x"),
    ("verdicts", "closed_v", b"\xff"),
    ("verdicts", "verdict", "good"),
    ("verdicts", "strokes", 0.5),
    ("verdicts", "current", 0),
    ("captures", "at", "now"),
    ("captures", "created", b"\x00\xff"),
]


@pytest.mark.parametrize(("table", "column", "value"), CELLS)
def test_a_damaged_record_is_named_and_others_are_shown(
    place: Path, table: str, column: str, value: Any
) -> None:
    key = "id" if table == "captures" else "capture_id"
    with closing(sqlite3.connect(place)) as db:
        db.execute(f"UPDATE {table} SET {column} = ? WHERE {key} = 2", (value,))
        db.commit()
    listed = call("list", "--records", place)
    assert listed.exit_code == 0
    assert sorted(line.split()[0] for line in listed.stdout.splitlines()[1:]) == ["1", "3"]
    assert "Record 2 is damaged and is left out" in listed.stderr
    assert isinstance(call("show", "2", "--records", place).exception, RecordsDamagedError)
    assert call("history", "S-1", "--records", place).exit_code == 0
    assert call("export", "--as", "json", "--records", place).stdout.count('"id"') == 2


@pytest.mark.parametrize(
    ("column", "value"),
    [("verdict", "fail"), ("closed_v", 0.6), ("reason", "said nobody"), ("margins", "[]")],
)
def test_a_verdict_that_was_changed_is_not_shown_in_full(place: Path, column: str, value: Any) -> None:
    with closing(sqlite3.connect(place)) as db:
        db.execute(f"UPDATE verdicts SET {column} = ? WHERE capture_id = 2", (value,))
        db.commit()
    error = call("show", "2", "--records", place).exception
    assert isinstance(error, RecordsDamagedError)
    assert "does not match its digest" in error.seen


def test_text_that_is_not_utf8_is_shown_with_replacements(place: Path) -> None:
    with closing(sqlite3.connect(place)) as db:
        db.execute("UPDATE sensors SET label = CAST(x'41ff42' AS TEXT)")
        db.commit()
    assert "A\ufffdB" in call("list", "--records", place).stdout


def test_an_index_with_a_name_that_is_no_text_is_told_of(place: Path) -> None:
    whole = place.read_bytes().replace(b"ix_sensors_serial", b"ix_\x80\xff\xfe\xfdors_serial")
    place.write_bytes(whole.replace(b"CREATE INDEX ix", b"CREATE INDEQ ix"))
    assert isinstance(call("list", "--records", place).exception, RecordsDamagedError)


# --- somebody else's


@pytest.fixture
def foreign(tmp_path: Path) -> Path:
    file = tmp_path / "other.sqlite"
    with closing(sqlite3.connect(file)) as db:
        db.execute("CREATE TABLE songs (title TEXT)")
        db.execute("INSERT INTO songs VALUES ('x')")
        db.commit()
    return file


@pytest.mark.parametrize("versions", [False, True])
def test_somebody_elses_database_is_left_as_it_was(foreign: Path, versions: bool) -> None:
    if versions:  # another program that keeps its versions in the same way
        with closing(sqlite3.connect(foreign)) as db:
            db.execute("CREATE TABLE alembic_version (version_num TEXT)")
            db.execute("INSERT INTO alembic_version VALUES ('7')")
            db.commit()
    before = hashlib.sha256(foreign.read_bytes()).digest()
    for question in (("list",), ("show", "1"), ("export",), ("add", "x.sweep")):
        error = call(*question, "--records", foreign).exception
        assert isinstance(error, RecordsForeignError)
        assert "config set records_url" in error.next_step
    assert hashlib.sha256(foreign.read_bytes()).digest() == before
    assert [p.name for p in foreign.parent.glob("other*")] == ["other.sqlite"]


def test_a_question_makes_no_tables_in_an_empty_file(tmp_path: Path) -> None:
    (tmp_path / "a.sqlite").write_bytes(b"")
    assert isinstance(call("list", "--records", tmp_path / "a.sqlite").exception, RecordsMissingError)
    assert (tmp_path / "a.sqlite").read_bytes() == b""


def test_a_newer_database_is_still_named_as_such(place: Path) -> None:
    with closing(sqlite3.connect(place)) as db:
        db.execute("UPDATE alembic_version SET version_num = '9001'")
        db.commit()
    assert isinstance(call("list", "--records", place).exception, RecordsNewerError)


# --- a full disk

FULL = """
import resource, signal, sys
from pathlib import Path
from support.records_world import numbered
from sweeprig.records.read import record_of
from sweeprig.records.store import open_store
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
with open_store(sys.argv[1]) as store:
    size = int(sys.argv[2])
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))
    try:
        for n in range(10, 400):
            store.add(numbered(n), Path("a.sweep"))
    except Exception as exc:
        print(type(exc).__name__, "|", exc)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no limit of a file's size there")
def test_a_disk_that_takes_no_more_is_not_a_damaged_database(place: Path) -> None:
    """A limit of the file's size stands for a full disk: the write fails inside SQLite."""
    done = subprocess.run(
        [sys.executable, "-c", FULL, str(place), str(200_000)],
        capture_output=True,
        text=True,
        check=True,
        env={"PYTHONPATH": ":".join(p for p in sys.path if p)},
    )
    assert done.stdout.startswith("RecordsWriteError | "), done.stdout + done.stderr
    assert "free" in done.stdout
    assert len(call("list", "--records", place).stdout.splitlines()) > 3


# --- questions


@pytest.mark.parametrize(("typed", "n"), [("PASS", 3), (" Pass ", 3), ("fail", 0)])
def test_a_verdict_is_found_however_it_is_written(place: Path, typed: str, n: int) -> None:
    listed = call("list", "--verdict", typed, "--records", place)
    assert listed.stdout.count("2031-") == n


def test_a_verdict_that_there_is_none_of_is_refused(place: Path) -> None:
    error = call("list", "--verdict", "failed", "--records", place).exception
    assert isinstance(error, InputError)
    assert error.limit == "pass, fail, undecided"


# --- a part of the campaign


@pytest.mark.parametrize("name", ["records, bytes", "records, cells"])
def test_changed_databases_give_answers_or_errors_of_ours(tmp_path: Path, name: str) -> None:
    tally = run(name, files.ATTACKS[name], tmp_path, tries=6, seed=5)
    assert tally.tries == 6
    assert tally.losses == ()


def test_a_finding_stored_under_its_former_code_is_read(place: Path) -> None:
    with open_store(place) as store:
        record = store.get(1)
    worn = {"code": "worn-place", "cause": "track", "evidence": "4 dropouts", "next_step": "replace"}
    assert record_of(asdict(record) | {"findings": [worn]}).codes == ("worn-spot",)
