"""Tables whose columns are chosen by width, and lines that break between words. Pure; no terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

GAP = 2  # columns of space between two
LEAST_HUNG = 30  # columns, from which on what goes on hangs under the second column
LEAST_LAST = 16  # columns that the last column keeps; it wraps at words


@dataclass(frozen=True)
class Column:
    """One column: its heading, its cells, and how soon it goes where there is no room (0 never goes)."""

    title: str
    cells: Sequence[str]
    goes: int = 0
    right: bool = False  # numbers stand at the right

    @property
    def width(self) -> int:
        """Columns of the terminal that it takes."""
        return max(len(self.title), *(len(c) for c in self.cells), 0)

    def cell(self, text: str) -> str:
        """Return one cell as wide as the column."""
        return text.rjust(self.width) if self.right else text.ljust(self.width)


def chosen(columns: Sequence[Column], width: int) -> list[Column]:
    """Return the columns that fit into `width`: empty ones go, then those with the highest `goes`."""
    left = [c for c in columns if c.goes == 0 or any(c.cells)]
    while _needs(left) > width and any(c.goes for c in left):
        worst = max(c.goes for c in left)
        last = max(k for k, c in enumerate(left) if c.goes == worst)
        del left[last]
    return left


def _needs(columns: Sequence[Column]) -> int:
    *others, last = columns
    return sum(c.width + GAP for c in others) + min(last.width, LEAST_LAST)


def table(columns: Sequence[Column], width: int, indent: str = "") -> list[str]:
    """Return a line of headings and one for each row, none wider than `width`; the last column wraps at words."""
    room = width - len(indent)
    kept = chosen(columns, room)
    rows = [[c.title for c in kept], *zip(*(c.cells for c in kept), strict=True)]
    return [f"{indent}{line}" for row in rows for line in _row(kept, row, room)]


def _row(columns: Sequence[Column], cells: Sequence[str], width: int) -> list[str]:
    head = "".join(c.cell(t) + " " * GAP for c, t in zip(columns[:-1], cells[:-1], strict=True))
    room = width - len(head)
    if room < min(LEAST_LAST, columns[-1].width):
        return [head.rstrip(), *folded(cells[-1], width, "    ", "    ")]
    lines = folded(cells[-1], room, "", "") or [""]
    return [f"{head}{lines[0]}".rstrip(), *(" " * len(head) + line for line in lines[1:])]


def folded(text: str, width: int, first: str = "", rest: str = "") -> list[str]:
    """Return text in lines of at most `width`, broken between words; a longer word stays whole."""
    return textwrap.wrap(
        text, max(width, 1), initial_indent=first, subsequent_indent=rest, break_long_words=False,
        break_on_hyphens=False,
    )  # fmt: skip


def _hang(line: str, start: int, width: int) -> int:
    """Return the column at which a folded line goes on; one more than half way out leaves no room for text."""
    gap = line.find("  ", start)
    second = len(line) - len(line[gap:].lstrip(" ")) if gap >= 0 else 0
    return second if 0 < second <= width // 2 and width >= LEAST_HUNG else min(start + 2, width // 2)


def _room_for(word: str, indent: int, width: int) -> int:
    """Return how far in a line begins: less far where its first word, as a path, fits only then."""
    return min(indent, width - len(word)) if len(word) <= width else indent


def short_path(path: str, *, here: str, home: str) -> str:
    """Return how a path is named from the current folder, or from the home folder, where that is shorter."""
    inside = f"{here.rstrip('/')}/"
    names = [path, path.removeprefix(inside)]
    if path == home:
        names.append("~")
    elif path.startswith(f"{home.rstrip('/')}/"):
        names.append(f"~/{path.removeprefix(home).lstrip('/')}")
    return min(names, key=len)


def fitted(line: str, width: int) -> list[str]:
    """Return a line that is laid out already in lines of at most `width`: spaces inside stay where it fits.

    What is too long breaks between words and goes on under the second column, where the line has columns, else two
    columns further in. A word longer than that stays whole.
    """
    if len(line) <= width:
        return [line]
    start = len(line) - len(line.lstrip(" "))
    indent = _hang(line, start, width)
    out, left = [], line
    while len(left) > width:
        cut = left.rfind(" ", start + 1, width + 1)
        if cut <= start:  # one long word: it stays whole
            cut = left.find(" ", width)
            if cut < 0:
                break
        out.append(left[:cut].rstrip())
        rest = left[cut:].lstrip()
        start = _room_for(rest.partition(" ")[0], indent, width)
        left = " " * start + rest
    return [*out, left] if left.strip() else out
