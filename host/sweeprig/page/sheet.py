"""A sheet as a page: it has its styles inside, so that it has a policy of its own, and no scripts at all."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.responses import HTMLResponse

if TYPE_CHECKING:
    from sweeprig.judge.outcome import Outcome

POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; frame-ancestors 'none';"
    " sandbox"
)


def sheet_of(outcome: Outcome) -> str:
    """Return the sheet of an outcome."""
    from sweeprig.report.sheet import sheet_html

    return sheet_html(outcome)


def sheet_page(text: str) -> HTMLResponse:
    """Return a sheet as it may be shown."""
    return HTMLResponse(text, headers={"content-security-policy": POLICY})
