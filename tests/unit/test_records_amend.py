"""Records by number: review and sheet find the capture, and what was typed wrong is corrected with its history."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from support.records_world import numbered
from sweeprig.bench.review.by_number import is_key, named_captures
from sweeprig.bench.review.review import Choices, review_file
from sweeprig.capture.file import write_capture
from sweeprig.cli.main import app
from sweeprig.errors import FileError, InputError
from sweeprig.records.errors import NoRecordError
from sweeprig.records.store import open_store


@pytest.fixture
def place(tmp_path: Path) -> Path:
    base = numbered(1, serial="S-1", sensor_label="box 7", job="J-1", profile="adjustable-potentiometer")
    assert base.capture is not None
    written = write_capture(tmp_path / "a.sweep", replace(base.capture, sha256=""))
    with open_store(tmp_path / "r.sqlite") as store:
        store.add(review_file(Path(written.path)), Path(written.path))
        store.add(numbered(2, serial="S-2"), tmp_path / "gone.sweep")
    return tmp_path / "r.sqlite"


def call(*args: Any) -> Result:
    return CliRunner().invoke(app, [str(a) for a in args], env={"SWEEPRIG_HOME": "/nonexistent"})


def test_review_and_sheet_take_a_record_by_its_number(place: Path) -> None:
    by_number = json.loads(call("review", "1", "--records", place, "--json").stdout)
    by_file = json.loads(call("review", place.parent / "a.sweep", "--json").stdout)
    assert by_number["closed_v"] == by_file["closed_v"]
    done = call("sheet", "1", "--records", place, "--out", place.parent)
    assert done.exit_code == 0
    assert "box 7" in (place.parent / "a.html").read_text("utf-8")


def test_a_number_without_record_or_file_says_so(place: Path) -> None:
    assert isinstance(call("review", "77", "--records", place).exception, NoRecordError)
    lost = call("sheet", "2", "--records", place).exception
    assert isinstance(lost, FileError)
    assert "record 2 is no longer at its place" in lost.what


def test_a_file_whose_name_is_a_number_is_the_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("12").write_text("")
    assert not is_key("12")
    assert named_captures(["12"], "nowhere")[0].path == Path("12")
    assert is_key("13")
    assert is_key("#13")
    assert not is_key("13.sweep")


def test_a_correction_is_in_force_and_keeps_what_stood_before(place: Path) -> None:
    done = call("records", "amend", "1", "--label", "box 8", "--notes", "re-used", "--by", "A. Invented",
                "--records", place)  # fmt: skip
    assert "label: box 7 -> box 8 (corrected by A. Invented, " in done.stdout
    shown = call("records", "show", "1", "--records", place).stdout
    assert "box 8 / S-1" in shown
    assert "corrected   label: box 7 -> box 8" in shown
    data = json.loads(call("records", "show", "1", "--records", place, "--json").stdout)
    assert [(a["field"], a["before"], a["after"], a["by"]) for a in data["amendments"]] == [
        ("label", "box 7", "box 8", "A. Invented"),
        ("notes", "", "re-used", "A. Invented"),
    ]
    with open_store(place) as store:
        assert [r.id for r in store.find(sensor="box 8")] == [1]
        assert store.get(1).job == "J-1"


def test_a_sheet_by_number_has_the_corrected_words(place: Path) -> None:
    call("records", "amend", "1", "--job", "J-2", "--by", "A. Invented", "--records", place)
    outcome = named_captures(["1"], str(place))[0].review(Choices())
    assert outcome.setup.job == "J-2"
    assert outcome.setup.sensor_label == "box 7"
    assert any(r.startswith("Corrected in record 1: job: J-1 -> J-2") for r in outcome.remarks)
    assert review_file(place.parent / "a.sweep").setup.job == "J-1"


def test_nothing_to_correct_is_said(place: Path) -> None:
    assert isinstance(call("records", "amend", "1", "--records", place).exception, InputError)
    done = call("records", "amend", "1", "--job", "J-1", "--records", place)
    assert "Nothing to change" in done.stdout
