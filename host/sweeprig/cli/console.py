"""Output to the terminal: plain lines, colour only if wanted, errors on standard error."""

from __future__ import annotations

import json
import os
import re
import shutil
import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any, TextIO

from sweeprig.errors import SweeprigError
from sweeprig.lines import fitted, short_path
from sweeprig.link.clean import hide_passwords, printable, printable_json

_DRESSED = re.compile(r"((?:\x1b\[[\d;]*m)+)([^\x1b]*)((?:\x1b\[[\d;]*m)+)")
PAGE = 120  # columns of a result that goes to no terminal
PASS, FAIL, UNDECIDED = 0, 10, 11  # exit statuses of a verdict; docs/reference/exit-codes.md
EXIT_OF_VERDICT = {"pass": PASS, "fail": FAIL, "undecided": UNDECIDED}


class StoppedError(Exception):
    """The operator pressed Ctrl-C; the message says what is kept, "" where there was nothing to keep."""


class Shown(str):
    """Text that is safe to print already, with our own line ends and styles."""

    __slots__ = ()


def shown(text: str) -> Shown:
    """Make text safe for the terminal. Everything that is printed comes through here."""
    return text if isinstance(text, Shown) else Shown(printable(hide_passwords(text)))


def laid_out(text: str, stream: TextIO) -> Shown:
    """Return text laid out for a stream: on a terminal lines wrap at words, elsewhere it stays as it is."""
    plain = shown(text)
    if not stream.isatty():
        return plain
    width = columns_of(stream)
    return Shown("\n".join(part for line in plain.split("\n") for part in _fitted(line, width)))


def columns_of(stream: TextIO) -> int:
    """Return the columns of the terminal behind a stream."""
    try:
        asked = int(os.environ.get("COLUMNS", "0"))
        return asked or os.get_terminal_size(stream.fileno()).columns or PAGE
    except (OSError, ValueError):
        return shutil.get_terminal_size((PAGE, 24)).columns


def _fitted(line: str, width: int) -> list[str]:
    """Return a line in lines of at most `width`; one in a style keeps it."""
    dressed = _DRESSED.fullmatch(line)
    if dressed is None:
        return fitted(line, width)
    before, inner, after = dressed.groups()
    return [f"{before}{part}{after}" for part in fitted(inner, width)]


class Console:
    """Where text goes, each call one line. `quiet` keeps results and errors only."""

    def __init__(self) -> None:
        self.quiet = False
        self._progressing = False  # a line of progress is on the terminal

    @property
    def width(self) -> int:
        """Columns of the terminal that results go to; where it is none, a page's width."""
        return columns_of(sys.stdout) if sys.stdout.isatty() else PAGE

    def named(self, path: Path) -> str:
        """Return a path as short as it can be named at a terminal; elsewhere whole."""
        if not sys.stderr.isatty():
            return str(path)
        return short_path(str(path), here=str(Path.cwd()), home=str(Path.home()))

    def say(self, text: str = "") -> None:
        """Print a line that a quiet run leaves out."""
        if not self.quiet:
            self._own_line()
            print(laid_out(text, sys.stderr), file=sys.stderr, flush=True)

    def warn(self, text: str) -> None:
        """Print what must not be missed, quiet or not."""
        self._own_line()
        print(laid_out(f"sweeprig: {shown(text)}", sys.stderr), file=sys.stderr, flush=True)

    def needed(self, line: Shown) -> None:
        """Print a line of ours as it is, quiet or not: without it the command is of no use."""
        self._own_line()
        print(line, file=sys.stderr, flush=True)

    def error(self, error: SweeprigError) -> None:
        """Print an error, quiet or not."""
        self.end_progress()
        print(laid_out(error_text(error), sys.stderr), file=sys.stderr, flush=True)

    def show(self, text: str) -> None:
        """Print a result."""
        self._own_line()
        print(laid_out(text, sys.stdout), flush=True)

    def answer(self, as_json: bool, data: Callable[[], Any], lines: Callable[[], Iterable[str]]) -> None:
        """Print a result as one JSON object or as lines."""
        if as_json:
            self.show_json(data())
            return
        for line in lines():
            self.show(line)

    def show_json(self, data: Any, *, indent: int | None = 2) -> None:
        """Print one JSON object."""
        text = json.dumps(data, indent=indent, ensure_ascii=False, allow_nan=False)
        self._own_line()
        print(printable_json(text), flush=True)

    def show_data(self, text: str) -> None:
        """Print data as they are where a program reads them, as printable lines where a terminal shows them."""
        lines = text.split("\n")
        sys.stdout.write(
            "\n".join(shown(line.rstrip("\r")) for line in lines) if sys.stdout.isatty() else text
        )

    def progress(self, text: str) -> None:
        """Write over the current line of a terminal; elsewhere nothing."""
        if not self.quiet and sys.stderr.isatty():
            self._progressing = True
            line = fitted(printable(text), columns_of(sys.stderr) - 1)[0]  # a longer one would wrap and stay
            print(f"\r\x1b[2K{line}", end="", file=sys.stderr, flush=True)

    def end_progress(self) -> None:
        """Clear the progress line."""
        self._progressing = False
        if not self.quiet and sys.stderr.isatty():
            print("\r\x1b[2K", end="", file=sys.stderr, flush=True)

    def _own_line(self) -> None:
        """Make sure that the next output begins on a new line."""
        if self._progressing:
            self.end_progress()

    def hears(self, has_buzzer: bool) -> bool:
        """Return whether a tone can be heard: there is a buzzer, or a terminal with a bell."""
        return has_buzzer or sys.stderr.isatty()

    def bell(self) -> None:
        """Sound the terminal's bell."""
        if sys.stderr.isatty():
            print("\a", end="", file=sys.stderr, flush=True)


console = Console()


def colour_wanted() -> bool:
    """Return True where standard output is a terminal and NO_COLOR (no-color.org) is not set."""
    return sys.stdout.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


def styled(text: str, style: str) -> Shown:
    """Return text in a style (numbers of ECMA-48's SGR), as it is where `style` is ""."""
    return Shown(f"\x1b[{style}m{shown(text)}\x1b[0m") if style and text else shown(text)


def strong(text: str) -> Shown:
    """Return text in bold where the terminal shows it."""
    return styled(text, "1" if colour_wanted() else "")


def folded(text: str, indent: str, width: int = 79) -> Shown:
    """Return text in lines of at most `width`, all but the first indented; a word longer than that stays whole."""
    import textwrap

    width = min(width, console.width)
    plain = printable(text)
    first = plain[: len(plain) - len(plain.lstrip())]
    return Shown(
        textwrap.fill(
            plain.strip(),
            width,
            initial_indent=first,
            subsequent_indent=indent,
            break_long_words=False,
            break_on_hyphens=False,
        )
    )


def error_text(error: SweeprigError) -> Shown:
    """Return the lines of one error: what, seen, limit, next step."""
    lines = [f"sweeprig: {shown(error.what)}"]
    for label, value in (("seen", error.seen), ("expected", error.limit), ("next", error.next_step)):
        if value:
            lines.append(f"  {label + ':':10}{shown(value)}")
    return Shown("\n".join(lines))
