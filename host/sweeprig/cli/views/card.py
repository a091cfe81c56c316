"""The card that ends a sweep: the verdict large, why, both ends, what was found, one next step; 16 lines at most."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from sweeprig.cli.console import Shown, styled
from sweeprig.cli.views.words import large
from sweeprig.lines import fitted
from sweeprig.wording.card import end_words, fault_words
from sweeprig.words import SIMULATED

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from sweeprig.bench.review.card import Card, EndLine, NamedFault

MOST_LINES = 16  # at 80 columns
NARROW_LINES = 18  # with fewer: of the 20 rows of the smallest screen
WIDE = 80
MOST_FAULTS = 3
_COLOURS = {"pass": "1;32", "fail": "1;31", "undecided": "1;33"}


def wrapped(text: str, width: int, indent: str = "  ", *, hang: str = "") -> list[str]:
    """Return text in lines of at most `width` columns, broken between words; `hang`: further in after the first."""
    return textwrap.wrap(
        text, width, initial_indent=indent, subsequent_indent=indent + hang, break_long_words=False,
        break_on_hyphens=False,
    )  # fmt: skip


def end_line(end: EndLine, width: int) -> list[str]:
    """Return one end: volts with their interval, the margin, and beside it the volts at nominal supply."""
    whole = end_words(end)
    if len(whole) + 2 <= width or end.nominal_v is None:
        return wrapped(whole, width)
    first, bracket, rest = whole.partition("   (")
    return [*wrapped(first, width), *wrapped(f"{bracket.strip()}{rest}", width, " " * 11)]


def fault_line(fault: NamedFault) -> str:
    """Return one finding by name and place."""
    return f"- {fault_words(fault)}"


def _fault_lines(faults: tuple[NamedFault, ...], width: int) -> list[str]:
    shown = [line for f in faults[:MOST_FAULTS] for line in wrapped(fault_line(f), width, hang="  ")]
    more = len(faults) - MOST_FAULTS
    return [*shown, *([f"  - {more} more: --full"] if more > 0 else [])]


def _large(card: Card, width: int, *, colour: bool) -> list[Shown]:
    """Return the verdict in large letters, in plain capitals where they have no room: never without the word."""
    style = _COLOURS[card.verdict] if colour else ""
    rows = large(card.verdict, width - 4) if width > len(card.verdict) + 4 else [card.verdict.upper()]
    return [styled(f"  {row}".rstrip(), style) for row in rows]


def _places(record: int | None, sheet: Path | str, width: int) -> list[str]:
    """Return where record and sheet are, on one line where both fit; a long path has a line of its own."""
    said = [] if record is None else [f"Record {record}"]
    said += [f"Sheet: {sheet}"] if sheet else []
    one = "   ".join(said)
    texts = [one] if len(one) + 2 <= width else said
    return [line for text in texts if text for line in fitted(f"  {text}", width)]


def card_lines(
    card: Card,
    width: int,
    *,
    record: int | None = None,
    sheet: Path | str = "",
    not_saved: Sequence[str] = (),
    colour: bool = False,
) -> list[str]:
    """Return the card in lines of at most `width` columns; at 80 columns at most MOST_LINES of them.

    Where all of it needs more lines, how to judge the rest goes first, then the facts; words are never cut, and the
    verdict stays large.
    """
    head = [f"  {SIMULATED}"] if card.simulated else []
    ends = [line for end in card.ends for line in end_line(end, width)]
    facts = wrapped(card.facts, width)
    body = [*wrapped(card.sentence, width), *ends]
    found = _fault_lines(card.faults, width) if len(card.faults) > 1 or card.verdict != "fail" else []
    tail = wrapped(f"Next: {card.next_step}", width)
    tail += wrapped(_not_saved(not_saved), width) if not_saved else []
    places = _places(record, sheet, width)
    used = len([*head, *body, *found, *tail])
    counted = min(len(places), 1) if width >= WIDE else len(places)  # a long path leaves out no fact
    room = (MOST_LINES if width >= WIDE else NARROW_LINES) - used - counted
    shown = _large(card, width, colour=colour)
    again = "capture" not in not_saved  # without it there is no file to judge by another profile
    unjudged = wrapped(card.not_judged if again else _first_sentence(card.not_judged), width)
    if len(shown) + len(facts) + len(unjudged) > room:
        unjudged = wrapped(_first_sentence(card.not_judged), width)
    if len(shown) + len(facts) + len(unjudged) > room:
        facts = []
    if len(shown) + len(unjudged) > room:
        shown = _large(card, 0, colour=colour)
    return [*head, *shown, *body, *facts, *found, *unjudged, *tail, *places]


def _not_saved(names: Sequence[str]) -> str:
    """Return what is not saved; where it is the record alone, that nothing else is lost."""
    if tuple(names) == ("record",):
        return "NOT SAVED: record. The sweep itself is saved. Add it later: sweeprig records add FILE (named above)."
    return f"NOT SAVED: {', '.join(names)}."


def _first_sentence(text: str) -> str:
    first, dot, _ = text.partition(". ")
    return first + dot.strip()
