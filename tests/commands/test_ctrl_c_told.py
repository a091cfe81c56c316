"""Ctrl-C: one line of its own says what is kept, and the guide ends with the command that it runs."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from support.terminal import Terminal

PORT = ("--port", "sim://good?vm=cpython&seed=3")
NOTHING = "sweeprig: stopped; nothing was saved."
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")


@contextmanager
def terminal(*args: str, home: Path) -> Iterator[Terminal]:
    made = Terminal("-m", "sweeprig", *args, *PORT, home=home)
    try:
        yield made
    finally:
        made.close()


def lines(t: Terminal) -> list[str]:
    return [line.rstrip() for line in t.text().split("\n") if line.strip()]


def test_ctrl_c_at_a_question_of_the_guide_is_told(tmp_path: Path) -> None:
    with terminal("guide", home=tmp_path) as t:
        t.until_asked("b or v").send("\x03")
        assert t.end() == 130
        assert lines(t)[-1] == NOTHING
        assert "b or v:" in lines(t)[-2]


def test_ctrl_c_in_a_command_of_the_guide_ends_the_guide(tmp_path: Path) -> None:
    with terminal("guide", home=tmp_path) as t:
        for question, answer in (
            ("b or v", "b"),
            ("A label", ""),
            ("Job or order", ""),
            ("y or n", "n"),
            ("y or n or ?", "y"),
        ):
            t.until_asked(question).send(f"{answer}\n")
        t.until_asked("pin 1 to pin 2").send("\x03")
        assert t.end() == 130
        assert lines(t)[-1] == NOTHING
        assert "Measure again" not in t.text()


def test_ctrl_c_in_the_countdown_of_a_sweep_is_told(tmp_path: Path) -> None:
    count = ("--seconds", "5", "--countdown", "30", "--confirm", "plug-off")
    with terminal("sweep", *count, home=tmp_path) as t:
        t.until(lambda t: "Sweep begins in" in t.text()).send("\x03")
        assert t.end() == 130
        assert lines(t)[-1] == NOTHING
        assert not list(tmp_path.rglob("*.sweep"))
