"""Every command line of the docs is one that the program takes."""

from __future__ import annotations

import re
import shlex
from pathlib import Path
from typing import Any

import pytest
import typer
from typer.testing import CliRunner

from sweeprig.cli.main import app

ROOT = Path(__file__).parents[2]
PAGES = [
    ROOT / "README.md",
    *sorted((ROOT / "docs").rglob("*.md")),
    *sorted((ROOT / "hardware").rglob("*.md")),
]
LINE = re.compile(r"`(sweeprig [^`\n]+)`|^ *(sweeprig [^`\n]+)$", re.MULTILINE)
PROGRAM: Any = typer.main.get_command(app)
REFUSED: Any = typer.BadParameter.__mro__[2]  # click's, which typer brings along or imports


def lines_of(text: str) -> list[str]:
    """Return the command lines in a page, without comments and redirections."""
    found = [m[1] or m[2] for m in LINE.finditer(text.replace("\\\n", " "))]
    return [re.split(r"\s[#<>|]", line)[0] for line in found]


def refusal(line: str) -> str:
    """Return why the program does not take a line; "" where it does, or where a command is only named."""
    command, parent, args = PROGRAM, None, shlex.split(line)[1:]
    while hasattr(command, "list_commands") and args and args[0] in command.list_commands(parent):
        parent = PROGRAM.context_class(command, parent=parent, info_name=command.name)
        command = command.get_command(parent, args.pop(0))
    if not args or "--help" in args:
        return "" if parent is not None or "--help" in args else f"{line}: no such command"
    if hasattr(command, "list_commands") and not args[0].startswith("-"):
        return f"{line}: no such command"
    with CliRunner().isolation():
        try:
            command.make_context(command.name, args, parent=parent)
        except REFUSED as exc:
            return f"{line}: {exc.message}"
    return ""


def test_command_lines_of_the_docs_are_taken() -> None:
    lines = [line for page in PAGES for line in lines_of(page.read_text())]
    assert len(lines) > 100
    assert [why for why in map(refusal, lines) if why] == []


@pytest.mark.parametrize("line", ["sweeprig gauge R&R study.csv", "sweeprig trim", "sweeprig sweep --fast"])
def test_a_line_that_is_not_taken_is_found(line: str) -> None:
    assert refusal(line)
