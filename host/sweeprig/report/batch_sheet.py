"""The sheet of a batch: one page, a row a sensor, what they have in common below."""

from __future__ import annotations

from collections.abc import Sequence

from sweeprig.report.sheet import UNPRINTABLE, environment

MOST_ROWS = 40  # on one A4 with what stands below


def batch_html(
    name: str,
    *,
    counts: str,
    taken: str,
    heads: Sequence[str],
    rows: Sequence[Sequence[str]],
    lines: Sequence[str],
    simulated: str = "",
    workshop: str = "",
) -> str:
    """Return the page. Whatever was typed is escaped; nothing in it comes from a network."""
    page = (
        environment()
        .get_template("batch.html")
        .render(
            name=name, counts=counts, taken=taken, heads=heads, rows=rows[:MOST_ROWS], lines=lines,
            left_out=max(0, len(rows) - MOST_ROWS), simulated=simulated, workshop=workshop,
        )
    )  # fmt: skip
    return page.translate(UNPRINTABLE)
