"""Every line that any command prints fits the terminal or breaks between words, at 60, 80 and 100 columns."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import pytest

from support.every_command import commands
from support.outcomes import make_capture, make_setup, make_trace
from support.terminal import Terminal
from sweeprig.capture.file import write_capture

SCRIPT = Path(__file__).parents[1] / "support" / "every_command.py"
ESCAPES = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")
SCREENS = re.compile(r"\x1b\[\?1049h.*?\x1b\[\?1049l", re.S)
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")


def printed(columns: int, home: Path) -> dict[str, list[str]]:
    """The lines of each command, without the screens that it filled."""
    trace = make_trace(dropouts=True)
    capture = write_capture(home / "a.sweep", make_capture(trace, make_setup(), snapshots=True))
    t = Terminal(str(SCRIPT), str(capture.path), home=home, columns=columns, rows=24, give_up_s=600)
    try:
        assert t.end() == 0, t.text()
    finally:
        t.close()
    text = ESCAPES.sub("", SCREENS.sub("", t.raw.decode("utf-8", "replace")))
    parts = text.replace("\r\n", "\n").split("\n@@@ ")[1:]
    return {part.partition("\n")[0]: part.partition("\n")[2].split("\n") for part in parts}


@pytest.mark.parametrize("columns", [60, 80, 100])
def test_no_line_of_any_command_is_cut_or_splits_a_word(columns: int, tmp_path: Path) -> None:
    found = printed(columns, tmp_path)
    assert len(found) == len({" ".join(c) for c in commands(str(tmp_path / "a.sweep"))})
    wide = [
        (name, line)
        for name, lines in found.items()
        for line in (part for text in lines for part in text.split("\r") if part)
        if len(line) > columns and " " in line.strip()  # one long word, as a path, stays whole
    ]
    assert wide == []
    cut = [(name, line) for name, lines in found.items() for line in lines if "…" in line]
    assert cut == []
    assert not any("Traceback" in line for lines in found.values() for line in lines)
