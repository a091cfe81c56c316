"""Errors in what was typed: they break between words, and say what a file is without naming a library's exception."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from support.terminal import Terminal
from sweeprig.capture.file import read_capture
from sweeprig.errors import CaptureFileError


@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
@pytest.mark.parametrize(
    "args", [("sweep", "--setting", "somewhere"), ("--nosuch-option-of-any-command-at-all",)]
)
def test_an_option_that_is_refused_splits_no_word(args: tuple[str, ...], tmp_path: Path) -> None:
    t = Terminal("-m", "sweeprig", *args, home=tmp_path, columns=50)
    try:
        assert t.end() == 2
    finally:
        t.close()
    said = t.raw.decode().replace("\r\n", "\n").split("\n")
    assert any(line.startswith("Error: ") for line in said)
    assert all(len(line) <= 50 for line in said), said


def test_a_note_is_told_to_be_no_capture(tmp_path: Path) -> None:
    note = tmp_path / "note.txt"
    note.write_text("call back")
    with pytest.raises(CaptureFileError) as caught:
        read_capture(note)
    assert caught.value.what.startswith(f"{note} is not a capture file")
    assert caught.value.seen == "it does not begin as a capture does (9 bytes)"
    assert "zip" not in str(caught.value).lower()


def test_a_capture_without_its_end_is_told_as_damaged(tmp_path: Path) -> None:
    torn = tmp_path / "a.sweep"
    torn.write_bytes(b"PK\x03\x04" + bytes(40))
    with pytest.raises(CaptureFileError, match="damaged") as caught:
        read_capture(torn)
    assert "zip" not in str(caught.value).lower()


def test_check_promises_no_sheet() -> None:
    from typer.testing import CliRunner

    from sweeprig.cli.main import app

    said = CliRunner().invoke(app, ["check", "--help"]).output
    assert "--job" in said
    assert "printed on the sheet" not in said
    assert "printed on the sheet" in CliRunner().invoke(app, ["sweep", "--help"]).output
