"""The sheet: one self-contained page of HTML to keep with the job. Described in docs/reference/sheet.md."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sweeprig.judge.outcome import Outcome

if TYPE_CHECKING:
    from jinja2 import Environment


def _environment() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    return Environment(
        loader=PackageLoader("sweeprig.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def sheet_html(outcome: Outcome) -> str:
    """Return the page. Whatever was typed is escaped; nothing in it comes from a network."""
    from sweeprig.report.view import sheet_view

    return _environment().get_template("sheet.html").render(sheet_view(outcome))
