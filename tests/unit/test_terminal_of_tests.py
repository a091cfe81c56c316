"""The terminal of the tests reads all that a process wrote before it ended."""

from __future__ import annotations

import select
from pathlib import Path
from typing import Any

import pytest

from support.terminal import Terminal


def test_last_words_between_look_and_end_are_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    t = Terminal("-c", "print('last words')", home=tmp_path)

    def look_too_early(*args: Any) -> tuple[list[int], list[int], list[int]]:
        monkeypatch.undo()
        t.process.wait()  # it writes and ends after the look and before the next line
        return [], [], []

    monkeypatch.setattr(select, "select", look_too_early)
    assert t.end() == 0
    assert "last words" in t.text()
    t.close()


def test_what_follows_the_end_of_a_view_in_one_piece_is_read(tmp_path: Path) -> None:
    t = Terminal("-c", r"print('\x1b[?1049h\x1b[2J\x1b[Hframe\x1b[?1049l\r\nafter it')", home=tmp_path)
    assert t.end() == 0
    assert "frame" in t.text()
    assert "after it" in t.text()
    t.close()
