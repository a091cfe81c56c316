"""On which line of a TOML text a key stands: enough for the plain tables that a profile has."""

from __future__ import annotations

import re
from dataclasses import dataclass

_HEADER = re.compile(r"^\s*\[\s*([A-Za-z0-9_.\"' -]+?)\s*\]\s*(?:#.*)?$")
_KEY = re.compile(r"^\s*([A-Za-z0-9_.\"'-]+)\s*=")
_MOST_LINE = 1000  # characters of a line that are looked at


@dataclass(frozen=True)
class Problem:
    """One mistake of a profile."""

    line: int  # from 1
    key: str  # dotted
    what: str
    seen: str = ""
    limit: str = ""


def key_lines(text: str) -> dict[str, int]:
    """Return the line (from 1) of each dotted key and of each table's header."""
    found: dict[str, int] = {}
    table = ""
    for number, whole in enumerate(text.splitlines(), 1):
        line = whole[:_MOST_LINE]
        if header := _HEADER.match(line):
            table = _bare(header[1])
            parts = table.split(".")
            for depth in range(1, len(parts) + 1):  # a header also opens the tables around it
                found.setdefault(".".join(parts[:depth]), number)
        elif key := _KEY.match(line):
            found.setdefault(f"{table}.{_bare(key[1])}".lstrip("."), number)
    return found


def _bare(name: str) -> str:
    return ".".join(part.strip().strip("\"'") for part in name.split("."))


def line_of(lines: dict[str, int], key: str) -> int:
    """Return the line of `key`, else of the nearest table around it, else 1."""
    while key:
        if key in lines:
            return lines[key]
        key = key.rpartition(".")[0]
    return 1
