"""The live view as lines of text: a pure function of state, width and height. Readable without colour."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from sweeprig.cli.console import styled
from sweeprig.wording.live import facts, flag_mark, flag_words, near_scale, volts

if TYPE_CHECKING:
    from sweeprig.bench.readings.watch import WatchState

# Digits of our own, five rows of five columns; drawn wide so that they are read at arm's length.
_DIGITS = {
    "0": ("#####", "#   #", "#   #", "#   #", "#####"),
    "1": ("  #  ", " ##  ", "  #  ", "  #  ", "#####"),
    "2": ("#####", "    #", "#####", "#    ", "#####"),
    "3": ("#####", "    #", " ####", "    #", "#####"),
    "4": ("#   #", "#   #", "#####", "    #", "    #"),
    "5": ("#####", "#    ", "#####", "    #", "#####"),
    "6": ("#####", "#    ", "#####", "#   #", "#####"),
    "7": ("#####", "    #", "   # ", "  #  ", "  #  "),
    "8": ("#####", "#   #", "#####", "#   #", "#####"),
    "9": ("#####", "#   #", "#####", "    #", "#####"),
    ".": ("  ", "  ", "  ", "  ", "##"),
    "-": ("     ", "     ", "#####", "     ", "     "),
    "V": ("#   #", "#   #", " # # ", " # # ", "  #  "),
    " ": ("  ", "  ", "  ", "  ", "  "),
}
DIGIT_ROWS = 5
TALL = 20  # rows from which there is room for the large digits
WIDE = 42  # columns from which there is room for them
TWICE = 78  # ... and for twice their width
_STYLES = {
    "clear": "1",
    "near-lower": "1;33",
    "near-upper": "1;33",
    "at-lower": "1;7;31",
    "at-upper": "1;7;31",
}


def big(text: str, *, wide: bool) -> list[str]:
    """Return five lines of large digits; `wide` doubles their width."""
    rows = []
    for r in range(DIGIT_ROWS):
        row = "  ".join(_DIGITS.get(c, _DIGITS[" "])[r] for c in text)
        row = "".join(c * 2 for c in row) if wide else row
        rows.append(row.replace("#", "█").rstrip())
    return rows


def reading_lines(state: WatchState, width: int, height: int) -> list[str]:
    """Return the reading, large where there is room."""
    text = volts(state.reading_v)
    if width < WIDE or height < TALL:
        return [f"  {text} V"]
    rows = big(f"{text}V", wide=width >= TWICE)
    return ["  " + row for row in rows]


def fit(width: int, *texts: str) -> str:
    """Return the first text that fits into `width`; else the last of them, cut between words, with an ellipsis."""
    for text in texts:
        if len(text) <= width:
            return text
    words, indent = texts[-1].split(), len(texts[-1]) - len(texts[-1].lstrip())
    while words and indent + len(" ".join(words)) + 2 > width:
        words.pop()
    return f"{' ' * indent}{' '.join(words)} …"[:width] if words else texts[-1][: max(0, width)]


def flag_line(state: WatchState, width: int = 200) -> str:
    """Return the line that says where the reading is; without its details where there is no room."""
    word, text = flag_words(state)
    mark = flag_mark(state)
    short = f"  {mark} {word}" if mark else f"  {word}"
    detail = f": {text}" if text else ""
    return fit(width, f"{short}{detail}", short)


def _column(value: float, top: float, columns: int) -> int:
    return min(columns - 1, max(0, int(value / top * columns)))


def ruler_lines(state: WatchState, width: int) -> list[str]:
    """Return the reading between its rails: margin zones ▒, reading █, range so far ─; a target enlarged above."""
    columns = max(8, width - 20)
    cells = ["·"] * columns
    for k in range(columns):
        middle = (k + 0.5) / columns * state.top_v
        if middle < state.low_margin_v or middle > state.top_v - state.high_margin_v:
            cells[k] = "▒"
    if state.low_v is not None and state.high_v is not None:
        for k in range(
            _column(state.low_v, state.top_v, columns), _column(state.high_v, state.top_v, columns) + 1
        ):
            cells[k] = "─" if cells[k] == "·" else cells[k]
    if state.reading_v is not None and math.isfinite(state.reading_v):
        cells[_column(state.reading_v, state.top_v, columns)] = "█"
    lines = [f"  ground ┤{''.join(cells)}├ {state.top_v:z.2f} V"]
    return [*_near_target(state, columns), *lines]


def _near_target(state: WatchState, columns: int) -> list[str]:
    """The surroundings of a target, enlarged: its window as ░, the target ▽, the reading █ or an arrow at the edge."""
    if state.target is None:
        return []
    low, target, high = state.target
    start, stop = near_scale(low, target, high)
    span = stop - start
    cells = ["·"] * columns
    for k in range(_column(low - start, span, columns), _column(high - start, span, columns) + 1):
        cells[k] = "░"
    reading = state.reading_v
    if reading is not None and math.isfinite(reading):
        outside = "◀" if reading < start else "▶" if reading > start + span else "█"
        cells[_column(reading - start, span, columns)] = outside
    marks = [" "] * columns
    marks[_column(target - start, span, columns)] = "▽"
    return [
        f"  target  {''.join(marks)}  {target:z.3f} V",
        f"  {start:6.3f} ┤{''.join(cells)}├ {start + span:z.3f} V",
        "          ▽ target   ░ allowed   █ reading now",
    ]


def _joined(state: WatchState, columns: int) -> list[tuple[float, float]]:
    """Lowest and highest conversion of each column; as many slices go into a column as it takes."""
    each = max(1, -(-state.strip_n // columns))
    slices = list(state.strip)
    first = len(slices) % each
    groups = [slices[:first]] if first else []
    groups += [slices[k : k + each] for k in range(first, len(slices), each)]
    return [(min(s.low_v for s in g), max(s.high_v for s in g)) for g in groups][-columns:]


def strip_lines(state: WatchState, width: int, rows: int) -> list[str]:
    """Return the last seconds, newest at the right: each column from its lowest to its highest conversion."""
    columns = max(8, width - 12)
    each = max(1, -(-state.strip_n // columns))
    columns = -(-state.strip_n // each)
    grid = [[" "] * columns for _ in range(rows)]
    for r in range(rows):
        middle = (rows - r - 0.5) / rows * state.top_v
        if middle < state.low_margin_v or middle > state.top_v - state.high_margin_v:
            grid[r] = ["▒"] * columns
    spans = _joined(state, columns)
    for k, (low_v, high_v) in enumerate(spans):
        low, high = (_column(v, state.top_v, 2 * rows) for v in (low_v, high_v))
        _bar(grid, columns - len(spans) + k, low, high)
    labels = {0: f"{state.top_v:5.2f} ", rows - 1: f"{0.0:5.2f} "}
    lines = [f"  {labels.get(r, ' ' * 6)}│{''.join(grid[r])}" for r in range(rows)]
    return [*lines, f"  {'':6} {f'-{state.strip_s:.0f} s':<{max(0, columns - 3)}}now"]


def _bar(grid: list[list[str]], at: int, low: int, high: int) -> None:
    """Draw one column from half row `low` to half row `high`, counted from the bottom."""
    rows = len(grid)
    for r in range(low // 2, high // 2 + 1):
        lower, upper = low <= 2 * r <= high, low <= 2 * r + 1 <= high
        grid[rows - 1 - r][at] = "█" if lower and upper else "▀" if upper else "▄"


def fact_lines(state: WatchState, width: int) -> list[str]:
    """Return supply, sense and whether the signal follows the lever, in as many lines as the width needs."""
    lines = [""]
    for texts in facts(state):
        fact = fit(width - 2, *texts)
        joined = f"{lines[-1]}   {fact}" if lines[-1] else f"  {fact}"
        if len(joined) <= width or not lines[-1]:
            lines[-1] = joined
        else:
            lines.append(f"  {fact}")
    return lines


def view_lines(state: WatchState, width: int, height: int, *, colour: bool = False) -> list[str]:
    """Return the whole view, at most `height` lines of at most `width` columns.

    In a small window the strip goes first, then the large digits; reading, flag and ruler stay. `colour` adds
    bold and colour to reading and flag and changes no text.
    """
    fixed = _fixed_lines(state, width, height, colour=colour)
    gap = [""] if height >= TALL else []
    hint = [fit(width, f"  {state.hint}")] if state.hint else []
    facts = [line[:width] for line in fact_lines(state, width)][: max(0, height - len(fixed) - len(hint))]
    rest = [*facts, *hint]
    rows = height - len(fixed) - len(rest) - len(gap)
    drawn = rows >= 4 and width >= 24
    strip = [line[:width] for line in strip_lines(state, width, rows - 1)] if drawn else []
    return [*fixed, *strip, *(gap if strip else []), *rest][:height]


def _fixed_lines(state: WatchState, width: int, height: int, *, colour: bool) -> list[str]:
    """Return the lines that are shown in any window: title, reading, flag, message and ruler."""
    import textwrap

    style, bold = (_STYLES[state.flag.where], "1") if colour else ("", "")
    gap = [""] if height >= TALL else []
    title = fit(max(0, width - 10), f"  {state.title}", f"  {state.title.partition(',')[0]}")
    reading = [styled(line[:width], style) for line in reading_lines(state, width, height)]
    said = textwrap.wrap(state.message, max(8, width - 2))
    message = [styled(f"  {line}"[:width], bold) for line in said]
    ruler = [line[:width] for line in ruler_lines(state, width)]
    head = f"{title:<{max(0, width - 10)}}{state.seconds:7.1f} s"
    return [head, *gap, *reading, *gap, styled(flag_line(state, width), style), *message, *gap, *ruler, *gap]


def plain_line(state: WatchState) -> str:
    """Return the state in one line, for output that is not a terminal."""
    supply = "" if state.supply_v is None else f"  supply {state.supply_v:z.3f} V"
    return f"{state.seconds:8.1f} s  {volts(state.reading_v)} V{supply}  {state.follows}{flag_line(state)}"
