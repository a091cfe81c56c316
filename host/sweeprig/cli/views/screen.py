"""A full-screen view and single keys; the terminal's former state is restored whatever happens."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from types import TracebackType

from sweeprig.cli.console import shown

_ENTER = "\x1b[?1049h\x1b[?25l\x1b[2J"
_LEAVE = "\x1b[?25h\x1b[?1049l"


def is_terminal() -> bool:
    """Return whether a full-screen view can be shown."""
    return sys.stdout.isatty() and os.environ.get("TERM", "") not in ("", "dumb")


class Screen:
    """The alternate screen of a terminal, drawn frame by frame. Use it in a `with`."""

    def __enter__(self) -> Screen:
        self._write(_ENTER)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        with suppress(OSError):  # the terminal may be gone
            self._write(_LEAVE)

    @property
    def size(self) -> tuple[int, int]:
        """Columns and rows."""
        size = shutil.get_terminal_size()
        return size.columns, size.lines

    def draw(self, lines: list[str]) -> None:
        """Show a frame; what is left of the one before is cleared."""
        body = "\x1b[K\r\n".join(map(shown, lines))
        self._write(f"\x1b[H{body}\x1b[K\x1b[J")

    def bell(self) -> None:
        """Sound the bell."""
        self._write("\a")

    def _write(self, text: str) -> None:
        sys.stdout.write(text)
        sys.stdout.flush()


@contextmanager
def single_keys() -> Iterator[None]:
    """Within the block, read keys one by one without showing them; do nothing where standard input is not a terminal.

    Keys pressed before it are dropped, and so are those that the block has not read.
    """
    if not sys.stdin.isatty() or os.name != "posix":
        yield
        return
    import termios
    import tty

    handle = sys.stdin.fileno()
    before = termios.tcgetattr(handle)
    try:
        tty.setcbreak(handle)
        yield
    finally:
        with suppress(termios.error):
            termios.tcsetattr(handle, termios.TCSAFLUSH, before)


LISTENERS: list[Callable[[str], None]] = []  # told of every key as well: the bench of a rehearsal


def read_keys() -> str:
    """Return the keys pressed since the last call, without waiting; listeners get them too."""
    keys = typed_keys()
    if keys:
        for listener in LISTENERS:
            listener(keys)
    return keys


def typed_keys() -> str:
    """Return the keys pressed since the last call, without waiting; they are text, so listeners do not get them."""
    if not sys.stdin.isatty():
        return ""
    if os.name == "posix":
        import select

        out = ""
        while select.select([sys.stdin], [], [], 0)[0]:
            got = os.read(sys.stdin.fileno(), 64)
            if not got:
                break
            out += got.decode("utf-8", "ignore")
        return out
    return _windows_keys()


def _windows_keys() -> str:
    import importlib

    console = importlib.import_module("msvcrt")
    out = ""
    while console.kbhit():
        out += console.getwch()
    return out
