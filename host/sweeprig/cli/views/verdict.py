"""A verdict that fills the screen: readable from across the bench, and without colour."""

from __future__ import annotations

import textwrap

from sweeprig.cli.console import styled
from sweeprig.lines import fitted

_LETTERS = {
    "P": ("████ ", "█   █", "████ ", "█    ", "█    "),
    "A": (" ███ ", "█   █", "█████", "█   █", "█   █"),
    "S": (" ████", "█    ", " ███ ", "    █", "████ "),
    "F": ("█████", "█    ", "████ ", "█    ", "█    "),
    "I": ("███", " █ ", " █ ", " █ ", "███"),
    "L": ("█    ", "█    ", "█    ", "█    ", "█████"),
    "U": ("█   █", "█   █", "█   █", "█   █", " ███ "),
    "N": ("█   █", "██  █", "█ █ █", "█  ██", "█   █"),
    "D": ("████ ", "█   █", "█   █", "█   █", "████ "),
    "E": ("█████", "█    ", "████ ", "█    ", "█████"),
    "C": (" ████", "█    ", "█    ", "█    ", " ████"),
}
_COLOURS = {"pass": "30;42", "fail": "97;41", "undecided": "30;43"}
_FILL = {"pass": " ", "fail": "▓", "undecided": "░"}  # told apart without colour


def letters(word: str, scale: int) -> list[str]:
    """Return a word in block letters, each cell `scale` columns wide and half as many rows high (at least 1)."""
    rows = ["  ".join(_LETTERS[c][r] for c in word.upper()) for r in range(5)]
    wide = ["".join(c * scale for c in row) for row in rows]
    return [row for row in wide for _ in range(max(1, scale // 2))]


def fitting(word: str, width: int, height: int) -> list[str]:
    """Return the word in the largest block letters that fit; the word itself where none do."""
    for scale in (6, 4, 3, 2, 1):
        lines = letters(word, scale)
        if len(lines[0]) <= width - 4 and len(lines) <= height:
            return lines
    return [word.upper()]


def verdict_lines(
    verdict: str, reason: str, details: list[str], width: int, height: int, *, colour: bool = False
) -> list[str]:
    """Return a whole screen of at most `height` lines of `width` columns: the verdict, the reason, details below."""
    lines = [part[:width] for d in details for part in fitted(d, width)]
    most = max(0, min(3, height - len(lines) - 4))  # the verdict itself needs a row
    text = [line[:width] for line in textwrap.wrap(reason, max(20, width - 4))[:most]]
    below = [*text, "", *lines]
    room = max(1, height - len(below) - 2)
    word = fitting(verdict, width, room)
    fill = _FILL.get(verdict, " ")
    edge = [fill * width] * max(0, (room - len(word)) // 2)
    body = [f" {line} ".center(width, fill) for line in word]
    block = [*edge, *body, *edge]
    style = _COLOURS.get(verdict)
    if colour and style:
        return [*(styled(line, style) for line in block), "", *below][:height]
    return [*block, "", *below][:height]
