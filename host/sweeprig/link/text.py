"""Plain text from a board: a boot banner, a traceback, a prompt.

The second byte of a frame is its type, and no type that a board sends is a text character. So a run of bytes
whose first two are text is text.
"""

from __future__ import annotations

import re

_CHARACTER = rb"(?:[\t\r\n\x1b\x20-\x7e]|[\xc2-\xdf][\x80-\xbf]|[\xe0-\xef][\x80-\xbf]{2})"
_LINE = re.compile(_CHARACTER + rb"+?\n")
_ALL_TEXT = re.compile(_CHARACTER + rb"{2,}")


def leading_lines(run: bytes) -> tuple[list[str], int]:
    """Return the text lines at the beginning of `run`, and their length in bytes, line ends included: one pass."""
    lines: list[str] = []
    at = 0
    while found := _LINE.match(run, at):
        lines += lines_of(found[0])
        at = found.end()
    return lines, at


def is_text(run: bytes) -> bool:
    """Return whether all of `run`, two bytes or more, is text."""
    return _ALL_TEXT.fullmatch(run) is not None


def lines_of(run: bytes) -> list[str]:
    """Return the lines of a text without line ends and without empty lines."""
    lines = run.decode("utf-8", "replace").splitlines()
    return [line.rstrip() for line in lines if line.strip()]
