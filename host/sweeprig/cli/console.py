"""What the terminal shows: plain lines, colour only where it is wanted, errors on standard error."""

from __future__ import annotations

import json
import os
import shutil
import sys
from typing import Any

from sweeprig.errors import SweeprigError

PASS, FAIL, UNDECIDED = 0, 10, 11  # exit statuses of a verdict; docs/reference/exit-codes.md
EXIT_OF_VERDICT = {"pass": PASS, "fail": FAIL, "undecided": UNDECIDED}


class Console:
    """Where text goes. `quiet` keeps results and errors only."""

    def __init__(self) -> None:
        self.quiet = False

    def say(self, text: str = "") -> None:
        """Print a line that a quiet run leaves out."""
        if not self.quiet:
            print(text, file=sys.stderr, flush=True)

    def warn(self, text: str) -> None:
        """Print what must not be missed, quiet or not."""
        print(f"sweeprig: {text}", file=sys.stderr, flush=True)

    def show(self, text: str) -> None:
        """Print a result."""
        print(text, flush=True)

    def show_json(self, data: Any) -> None:
        """Print one JSON object."""
        print(json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False), flush=True)

    def progress(self, text: str) -> None:
        """Write over the current line of a terminal; elsewhere nothing."""
        if not self.quiet and sys.stderr.isatty():
            shown = text[: shutil.get_terminal_size().columns - 1]  # a longer one would wrap and stay
            print(f"\r\x1b[2K{shown}", end="", file=sys.stderr, flush=True)

    def end_progress(self) -> None:
        """Leave the progress line clean."""
        if not self.quiet and sys.stderr.isatty():
            print("\r\x1b[2K", end="", file=sys.stderr, flush=True)

    def bell(self) -> None:
        """Sound the terminal's bell."""
        if sys.stderr.isatty():
            print("\a", end="", file=sys.stderr, flush=True)


console = Console()


def colour_wanted() -> bool:
    """Return True where standard output is a terminal and NO_COLOR (no-color.org) is not set."""
    return sys.stdout.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


def strong(text: str) -> str:
    """Return text in bold where the terminal shows it."""
    return f"\x1b[1m{text}\x1b[0m" if colour_wanted() else text


def folded(text: str, indent: str, width: int = 79) -> str:
    """Return text in lines of at most `width`, all but the first indented; a word longer than that stays whole."""
    import textwrap

    first = text[: len(text) - len(text.lstrip())]
    return textwrap.fill(
        text.strip(), width, initial_indent=first, subsequent_indent=indent, break_long_words=False
    )


def error_text(error: SweeprigError) -> str:
    """Return the lines of one error: what, seen, limit, next step."""
    lines = [f"sweeprig: {error.what}"]
    for label, value in (("seen", error.seen), ("expected", error.limit), ("next", error.next_step)):
        if value:
            lines.append(f"  {label + ':':10}{value}")
    return "\n".join(lines)
