"""The sheet: one self-contained page of HTML to keep with the job. Described in docs/reference/sheet.md."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sweeprig.judge.outcome import Outcome
from sweeprig.report.figures import clip
from sweeprig.report.texts import TEXTS

if TYPE_CHECKING:
    from jinja2 import Environment


MOST_TEXT = 1500  # characters; the capture file and the JSON result hold all of it
# Control characters are no HTML, and marks that turn the direction of writing could disguise what follows them.
UNPRINTABLE = dict.fromkeys(
    (
        *(c for c in (*range(32), *range(127, 160)) if c not in (9, 10, 13)),
        *range(0x202A, 0x202F),
        *range(0x2066, 0x206A),
        *range(0xD800, 0xE000),
        *(0xFFFE, 0xFFFF),
    ),
    "\N{REPLACEMENT CHARACTER}",
)


def _held(value: object) -> object:
    """Return plain text cut where it is longer than anything that a person meant to type."""
    return clip(value, MOST_TEXT) if isinstance(value, str) and not hasattr(value, "__html__") else value


def _spoken(value: str) -> str:
    """Return a text of the terminal for paper: without the commands and options that stand in its parentheses."""
    from sweeprig.report.customer import without_commands

    return without_commands(value)


def environment() -> Environment:
    """Return what fills the templates: all that was typed is escaped, and cut where it is no text of a person."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    made = Environment(
        loader=PackageLoader("sweeprig.report"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_held,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["spoken"] = _spoken
    made.globals["texts"] = TEXTS
    return made


def sheet_html(outcome: Outcome) -> str:
    """Return the page. Whatever was typed is escaped; nothing in it comes from a network.

    Raises nothing of its own: what is not known is said so on the page.
    """
    from sweeprig.report.view import sheet_view

    page = environment().get_template("sheet.html").render(sheet_view(outcome))
    return page.translate(UNPRINTABLE)
