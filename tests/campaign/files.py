"""Files that anybody may have changed: records, calibrations, profiles, captures, settings and books."""

from __future__ import annotations

import io
import json
import sqlite3
import zipfile
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from random import Random
from typing import Any

from tests.campaign import mutate
from tests.campaign.tally import Attack, Try
from typer.testing import CliRunner

from support.records_world import numbered
from sweeprig.bench.review.result import to_result
from sweeprig.bench.review.review import Choices, review_capture, review_file
from sweeprig.calibration.nominal import nominal_calibration
from sweeprig.calibration.store import calibration_to_dict, load_calibration
from sweeprig.capture.file import pack, read_capture
from sweeprig.cli.main import app
from sweeprig.errors import SweeprigError
from sweeprig.judge.profile import load_profile, profile_text, shipped_names
from sweeprig.records.store import open_store
from sweeprig.report.sheet import sheet_html
from sweeprig.twin.capture import capture_of

MADE_AT = "2031-03-04T10:00:00+00:00"
SECONDS = 2.0  # of a capture: a stroke each way


def command(*args: str) -> None:
    """Run a command in this program; what is not an error of ours goes on to the caller."""
    result = CliRunner().invoke(app, list(args))
    if result.exception is not None and not isinstance(result.exception, SystemExit | SweeprigError):
        raise result.exception


# --- records

QUESTIONS = (
    ("list",), ("list", "--json"), ("show", "2"), ("history", "S-1"), ("batch", "B"), ("export",),
    ("export", "--as", "json"), ("list", "--verdict", "fail"),
)  # fmt: skip


def _database(folder: Path) -> Path:
    file = folder / "whole.sqlite"
    with open_store(file) as store:
        for n in range(4):
            store.add(numbered(n, serial="S-1", closed_v=0.45 + 1e-3 * n), Path(f"{n}.sweep"), batch="B")
    return file


def _ask_all(file: Path) -> None:
    for question in QUESTIONS:
        command("records", *question, "--records", str(file))
    command("compare", "--sensor", "S-1", "--records", str(file))


def records_bytes(folder: Path) -> Try:
    """A database with bytes changed."""
    whole = _database(folder).read_bytes()

    def attempt(random: Random, own: Path) -> str:
        (own / "a.sqlite").write_bytes(mutate.of_bytes(whole, random))
        _ask_all(own / "a.sqlite")
        return ""

    return attempt


def records_cells(folder: Path) -> Try:
    """A database with cells changed to what no program of ours writes."""
    whole = _database(folder).read_bytes()
    with closing(sqlite3.connect(folder / "whole.sqlite")) as db:
        tables = [t for (t,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        columns = [(t, row[1]) for t in tables for row in db.execute(f"PRAGMA table_info({t})")]

    def attempt(random: Random, own: Path) -> str:
        (own / "a.sqlite").write_bytes(whole)
        with closing(sqlite3.connect(own / "a.sqlite")) as db:
            for _ in range(random.choice((1, 1, 3))):
                _change_cell(db, *random.choice(columns), random)
            db.commit()
        _ask_all(own / "a.sqlite")
        return ""

    return attempt


def _plain(text: str) -> Any:
    """Return what a cell holds; a cell that was changed before may hold nothing that reads."""
    try:
        return json.loads(text)
    except (ValueError, RecursionError):
        return {}


def _change_cell(db: sqlite3.Connection, table: str, column: str, random: Random) -> None:
    row = db.execute(f"SELECT {column} FROM {table} LIMIT 1").fetchone()
    if row is None:  # a table without a row
        return
    old = row[0]
    new = random.choice([*mutate.WORDS, b"\xff\xfe\x00", b"", "[" * 20_000])
    if isinstance(old, str) and old.startswith(("[", "{")) and random.random() < 0.7:
        new = mutate.of_json(_plain(old), random)
        new = new if random.random() < 0.2 else new.decode("utf-8", "replace")
    if isinstance(new, list | dict) or (isinstance(new, int) and not -(2**63) <= new < 2**63):
        new = json.dumps(new)
    db.execute("PRAGMA ignore_check_constraints = 1")
    try:
        db.execute(f"UPDATE {table} SET {column} = ?", (new,))
    except sqlite3.IntegrityError:
        return


# --- calibrations


def calibrations(folder: Path) -> Try:
    """A stored calibration with entries or bytes changed: listed, shown, and used for a verdict."""
    home = Path(folder) / "home"
    capture = capture_of("good", seconds=SECONDS)
    whole = json.loads(json.dumps(calibration_to_dict(nominal_calibration(capture.rig))))
    line = replace(nominal_calibration(capture.rig), kind="line", made_at="2026-01-05T10:00:00+00:00")
    measured = json.loads(json.dumps(calibration_to_dict(line)))
    (home / "calibrations").mkdir(parents=True)

    def attempt(random: Random, own: Path) -> str:
        data = mutate.of_json(random.choice((whole, measured)), random)
        for place in (own, home / "calibrations"):
            (place / "00ff.json").write_bytes(data)
        for args in (("show", "--rig", "00ff"), ("list",), ("list", "--json")):
            command("calibrate", *args)
        calibration = load_calibration("00ff", folder=own)
        if calibration is not None:
            whole_way(review_capture(capture, Choices(calibration=calibration)))
        return ""

    return attempt


def whole_way(outcome: Any) -> None:
    json.dumps(to_result(outcome), allow_nan=False)
    sheet_html(outcome)


# --- profiles


def profiles(folder: Path) -> Try:
    """A profile with bytes changed: checked, shown, and judged by."""
    del folder
    capture = capture_of("good", seconds=SECONDS)
    texts = [profile_text(name)[0].encode() for name in shipped_names()]

    def attempt(random: Random, own: Path) -> str:
        file = own / "p.toml"
        file.write_bytes(mutate.of_bytes(random.choice(texts), random))
        for word in ("check", "show"):
            command("profile", word, str(file))
        load_profile(file)
        whole_way(review_capture(capture, Choices(profile=str(file))))
        return ""

    return attempt


# --- captures


def captures_bytes(folder: Path) -> Try:
    """A capture with bytes changed: refused, or the same codes and the same verdict."""
    capture = capture_of("good", seconds=SECONDS)
    data = pack(capture)
    (folder / "a.sweep").write_bytes(data)
    whole = to_result(review_file(folder / "a.sweep", made_at=MADE_AT)) | {"capture_sha256": ""}

    def attempt(random: Random, own: Path) -> str:
        file = own / "a.sweep"
        file.write_bytes(mutate.of_bytes(data, random))
        found = to_result(review_file(file, made_at=MADE_AT)) | {"capture_sha256": ""}
        return "" if found == whole else "read, with another result"

    return attempt


def captures_entries(folder: Path) -> Try:
    """A capture whose description was changed and packed again: read, judged and put on a sheet, or refused."""
    del folder
    data = pack(
        replace(
            capture_of("good", seconds=SECONDS),
            calibration=calibration_to_dict(nominal_calibration({"build": "full"})),
        )
    )
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}

    def attempt(random: Random, own: Path) -> str:
        file = own / "a.sweep"
        meta = mutate.of_json(json.loads(members["capture.json"]), random)
        with zipfile.ZipFile(file, "w") as archive:
            for name, member in (members | {"capture.json": meta}).items():
                archive.writestr(name, member)
        read_capture(file)
        whole_way(review_file(file))
        return ""

    return attempt


ATTACKS: dict[str, Attack] = {
    "records, bytes": records_bytes,
    "records, cells": records_cells,
    "calibrations": calibrations,
    "profiles": profiles,
    "captures, bytes": captures_bytes,
    "captures, entries": captures_entries,
}
