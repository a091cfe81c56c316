"""What the guide's questions take at a real terminal, to the last one: only y or n, and n goes back, not out."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from support.terminal import Terminal

PORT = "sim://badly-mounted?pace=fast&vm=cpython&seed=3&rehearse=yes"
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")


def answer(t: Terminal, question: str, *words: str) -> None:
    """Wait for a question, then give the answers one after the other, each where it is asked for."""
    t.until_asked(question)
    for k, word in enumerate(words):
        said = t.raw.count(b"counts.")
        t.send(f"{word}\n")
        if k < len(words) - 1:
            t.until(lambda t, said=said: t.raw.count(b"counts.") > said)  # type: ignore[misc]
            t.until_asked(question)


def to_the_turning(t: Terminal) -> None:
    """Lead a badly mounted sensor up to the guide's offer to turn it."""
    answer(t, "b or v:", "", "b")
    answer(t, "A label", "")
    answer(t, "Job or order", "")
    answer(t, "Do you know which pin", "", "y")
    answer(t, "1 of 2:", "", "y")
    answer(t, "2 of 2:", "maybe", "y")
    t.until(lambda t: "move the lever slowly to OPEN" in t.text())
    t.send("o")
    answer(t, "two signal wires", "n")
    answer(t, "slots", "y")
    answer(t, "back at CLOSED", "n")
    answer(t, "A sweep begins at closed", "y")
    for said, key in (("Move the lever to begin", "o"), ("strokes 1 of 3", "c"), ("strokes 2 of 3", "o")):
        t.until(lambda t, said=said: said in t.text())  # type: ignore[misc]
        t.send(key)
    answer(t, "Go on with aim now?", "", "y")


def test_the_turnings_cautions_come_one_at_a_time(tmp_path: Path) -> None:
    t = Terminal("-m", "sweeprig", "guide", "--port", PORT, home=tmp_path, rows=60, give_up_s=200.0)
    try:
        to_the_turning(t)
        answer(t, "1 of 4: Closed means the base stop", "", "x", "y")
        answer(t, "2 of 4:", "n")  # back to the first, not out
        answer(t, "1 of 4:", "y")
        answer(t, "2 of 4:", "y")
        answer(t, "3 of 4:", "y")
        answer(t, "4 of 4: The lever is back at closed throttle. Answer y", "", "y")
        t.until(lambda t: "aim: lever at the base stop" in t.text() and "UP: turn" in t.text())
        assert b"[y/N]" not in t.raw
    finally:
        t.close()
