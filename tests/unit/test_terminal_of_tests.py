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
