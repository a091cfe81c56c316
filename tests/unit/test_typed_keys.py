"""Keys pressed while nobody asks: not shown, and no part of the next answer."""

from __future__ import annotations

import os
import select
import sys
import termios
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TextIO

import pytest

from sweeprig.cli.asking import answered
from sweeprig.cli.typed import unseen_keys
from sweeprig.cli.views.screen import single_keys

pty = pytest.importorskip("pty", reason="needs a pseudo-terminal")


@dataclass
class Keyboard:
    """The other end of a terminal."""

    handle: int
    stdin: TextIO

    def press(self, keys: str) -> None:
        """Press keys that end with Enter; return when the terminal has them."""
        os.write(self.handle, keys.encode())
        assert select.select([self.stdin], [], [], 60.0)[0]

    def asked(self, answer: str) -> str:
        """Answer a question after it was asked."""
        return answered(lambda: (self.press(answer), self.stdin.readline())[1])

    @property
    def waiting(self) -> bool:
        """Whether keys wait to be read."""
        return bool(select.select([self.stdin], [], [], 0)[0])

    def shown(self) -> str:
        """Return what the terminal has shown, up to the mark that is printed now."""
        os.write(self.stdin.fileno(), b"#")
        seen = ""
        while not seen.endswith("#"):
            seen += os.read(self.handle, 1024).decode()
        return seen[:-1]

    def echoes(self) -> bool:
        """Whether what is typed is shown."""
        return bool(termios.tcgetattr(self.stdin)[3] & termios.ECHO)


@contextmanager
def terminal(monkeypatch: pytest.MonkeyPatch) -> Iterator[Keyboard]:
    """Give a terminal. No fixture: what captures the output puts its own streams in place after those."""
    master, slave = pty.openpty()
    with os.fdopen(slave, "r") as stdin:
        monkeypatch.setattr(sys, "stdin", stdin)
        monkeypatch.setattr(sys, "stdout", stdin)
        yield Keyboard(master, stdin)
    os.close(master)


def test_keys_before_a_question_are_no_part_of_its_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    with terminal(monkeypatch) as keyboard:
        keyboard.press("o\n")
        assert keyboard.asked("y\n") == "y\n"
        assert not keyboard.waiting


def test_keys_are_shown_only_while_a_question_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    with terminal(monkeypatch) as keyboard:
        with unseen_keys():
            keyboard.press("before\n")
            keyboard.asked("y\n")
            assert not keyboard.echoes()
            keyboard.press("after\n")
        assert keyboard.shown() == "y\r\n"
        assert keyboard.echoes()


def test_a_key_too_late_for_a_view_is_dropped(monkeypatch: pytest.MonkeyPatch) -> None:
    with terminal(monkeypatch) as keyboard:
        with single_keys():
            keyboard.press("o")
        assert not keyboard.waiting


@pytest.mark.parametrize("stream", ["stdin", "stdout"])
def test_a_terminal_shared_with_others_is_left_as_it_is(stream: str, monkeypatch: pytest.MonkeyPatch) -> None:
    with terminal(monkeypatch) as keyboard, Path(os.devnull).open() as other:
        monkeypatch.setattr(sys, stream, other)
        with unseen_keys():
            assert keyboard.echoes()


def test_a_command_in_the_background_sets_no_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    """Setting it would stop the process."""
    with terminal(monkeypatch) as keyboard:
        monkeypatch.setattr(os, "tcgetpgrp", lambda _handle: os.getpgrp() + 1)
        with unseen_keys():
            assert keyboard.echoes()
