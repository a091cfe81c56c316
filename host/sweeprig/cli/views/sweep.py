"""The screen of a sweep: a pure function of its state, width and height. Readable without colour, at arm's length."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from sweeprig.cli.console import styled
from sweeprig.cli.views.live import fit, flag_line, reading_lines, ruler_lines
from sweeprig.cli.views.words import large
from sweeprig.wording.sweep import (
    clock_words,
    dropouts_words,
    ends_words,
    pace_words,
    strokes_words,
    under_line,
)

if TYPE_CHECKING:
    from sweeprig.bench.sweep.prompts import SweepState

LEAST_COLUMNS, LEAST_ROWS = 60, 20  # below this, plain lines instead of a screen
ROOMY_ROWS = 30  # from here on the words are drawn twice as large
BAR = 20  # cells of the bar of strokes
_STYLES = {"too fast": "1;7", "slow": "1", "good": "1"}


def fits(width: int, height: int) -> bool:
    """Return whether a terminal of this size has room for the screen."""
    return width >= LEAST_COLUMNS and height >= LEAST_ROWS


def title_line(state: SweepState, width: int, title: str) -> str:
    """Return what is swept at the left, the time at the right.

    Where there is no room the hookup goes first, then the longest time; the name goes last.
    """
    whole, short = clock_words(state), clock_words(state, short=True)
    named = f"  {title or 'sweep'}"
    less = named.rpartition(", ")[0] or named
    for text, clock in ((named, whole), (less, whole), (less, short)):
        if len(text) + 2 + len(clock) <= width:
            return f"{text:<{width - len(clock)}}{clock}"
    room = max(0, width - len(short) - 2)
    return f"{fit(room, less):<{room}}  {short}"


def strokes_line(state: SweepState) -> str:
    """Return strokes done of strokes wanted, and how fast the stroke is."""
    cells = min(BAR, max(state.plan.strokes, 1))
    strokes = min(state.strokes, state.plan.strokes)
    done = round(strokes / state.plan.strokes * cells)
    text = f"{strokes_words(state)}  [{'█' * done}{'·' * (cells - done)}]"
    pace = pace_words(state)
    return f"{text}   {pace}" if pace else text


def ends_line(state: SweepState) -> str:
    """Return the ends seen so far and the supply."""
    return "   ".join(ends_words(state))


def screen_lines(
    state: SweepState, width: int, height: int, *, title: str = "sweep", hint: str = "", colour: bool = False
) -> list[str]:
    """Return the whole screen, at most `height` lines of at most `width` columns."""
    strong = "1" if colour else ""
    pace = _STYLES.get(str(state.pace), "") if colour else ""
    step = [styled(f"  {row}", strong) for row in large(state.step, width - 2, roomy=height >= ROOMY_ROWS)]
    under = textwrap.wrap(under_line(state), width, initial_indent="  ", subsequent_indent="  ")
    reading = [styled(line, strong) for line in reading_lines(state.reading, width, height)]
    ruler = [line[:width] for line in ruler_lines(state.reading, width)]
    facts: list[str] = [
        styled(f"  {fit(width - 2, strokes_line(state))}", pace),
        f"  {fit(width - 2, ends_line(state))}",
        styled(f"  {fit(width - 2, dropouts_words(state))}", "1;7" if colour and state.dropouts else ""),
    ]
    tail = [fit(width, f"  {hint}")] if hint else []
    blocks: list[list[str]] = [
        [title_line(state, width, title)],
        [*step],
        under,
        [*reading],
        [flag_line(state.reading, width)],
        ruler,
        facts,
    ]
    used = sum(len(block) for block in blocks) + len(tail)
    return _spread(blocks, height - used - len(tail))[: height - len(tail)] + tail


def _spread(blocks: list[list[str]], spare: int) -> list[str]:
    """Join the blocks with empty lines between them, as far as there is room: first around the large words."""
    gaps = [0] * len(blocks)
    for k in [i for i in (1, 3, 6, 4, 5) if i < len(blocks)][: max(0, spare)]:
        gaps[k] = 1
    out: list[str] = []
    for gap, block in zip(gaps, blocks, strict=True):
        out += [""] * gap + block
    return out


def plain_line(state: SweepState) -> str:
    """Return what to do in one plain line, for a terminal that is too small or none."""
    return f"{state.step}: {under_line(state)} ({strokes_line(state).partition('  [')[0]})"
