"""The sheet of a batch: one page with a row for each sensor; below them what is the same for all."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from sweeprig.report.sheet import UNPRINTABLE, environment

MOST_ROWS = 40  # on one A4 with what stands around them
PAGE_LINES = 66  # of an A4 in the size of the table's text, about
BARE_LINES = 12  # of them that the heads, the signature and the edges take
HALF_WIDE = 62  # characters in a line of the two columns of facts, about
WIDE = 150  # characters in a line across the page, about
NOTES_WIDE = 34  # characters in a line of the table's last column, about


@dataclass(frozen=True)
class BatchPage:
    """Everything on the page, as text."""

    name: str
    counts: str  # sensors and verdicts
    taken: str  # when
    heads: Sequence[str]
    rows: Sequence[Sequence[str]]  # serial number, verdict, figures, what is wrong: as the heads
    lines: Sequence[str]  # what the sensors have in common
    testers: str = ""
    whose: Sequence[str] = ()  # customer, vehicle, job
    facts: Sequence[tuple[str, str]] = ()  # profile, limits, rig, calibration
    note: str = ""  # what the figures are
    simulated: str = ""
    workshop: str = ""


def batch_html(page: BatchPage) -> str:
    """Return the page. Whatever was typed is escaped; nothing in it comes from a network."""
    rows = _fitting(page)
    text = environment().get_template("batch.html").render(
        page=page, rows=rows, left_out=_left_out(page.rows, rows), title=f"Batch {page.name}"
    )  # fmt: skip
    return text.translate(UNPRINTABLE)


def _lines(text: str, wide: int) -> int:
    return max(1, math.ceil(len(text) / wide))


def _fitting(page: BatchPage) -> list[Sequence[str]]:
    """Return the rows that fit on one A4 page: all of them, or fails and undecided first, then passes."""
    around = BARE_LINES + sum(_lines(text, WIDE) for text in (*page.whose, *page.lines))
    around += math.ceil(sum(_lines(text, HALF_WIDE) for _, text in page.facts) / 2)
    room = PAGE_LINES - around
    kept: set[int] = set()
    for at in sorted(range(len(page.rows)), key=lambda k: page.rows[k][1] == "pass"):
        row = page.rows[at]
        room -= max(_lines(row[-1], NOTES_WIDE), _lines(row[0], NOTES_WIDE // 2))
        if room < 0 or len(kept) == MOST_ROWS:
            break
        kept.add(at)
    return [row for at, row in enumerate(page.rows) if at in kept]


def _left_out(rows: Sequence[Sequence[str]], shown: Sequence[Sequence[str]]) -> str:
    """Return in words how many rows had no room, by verdict; "" where all had room."""
    n = len(rows) - len(shown)
    if not n:
        return ""
    passed = sum(row[1] == "pass" for row in rows) - sum(row[1] == "pass" for row in shown)
    many = "sensors are" if n > 1 else "sensor is"
    return f"{n} more {many} in the records." + (" All of them are a pass." if passed == n else "")
