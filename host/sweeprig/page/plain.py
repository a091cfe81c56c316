"""Plain pages: what is refused, why, and what to do. They show nothing of what was sent."""

from __future__ import annotations

from enum import Enum
from functools import cache
from typing import TYPE_CHECKING, Any

from starlette.responses import HTMLResponse

if TYPE_CHECKING:
    from jinja2 import Environment


class Refusal(Enum):
    """Why a request is refused: status, heading, what to do."""

    HOST = (421, "This is not the address of the bench.", "Open the address that the terminal shows.")
    ORIGIN = (403, "Another page asked for this.", "Nothing was done. Open the bench's own page.")
    NO_KEY = (
        403,
        "This phone is not let in yet.",
        "Scan the code at the terminal, or open the address that it shows. Both are made anew at every start.",
    )
    WRONG_KEY = (
        403,
        "This address is no longer valid.",
        "The key in it is made anew at every start. Scan the code at the terminal again.",
    )
    WAIT = (429, "Too many wrong keys.", "Wait a minute, then scan the code at the terminal.")
    TOO_MANY = (429, "Too many requests.", "Wait some seconds, then load the page again.")
    NOTHING = (404, "There is no such page.", "Go back to the start.")


@cache
def templates() -> Environment:
    """Return the templates; whatever is in a value is text in them."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    return Environment(
        loader=PackageLoader("sweeprig.page"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def html(template: str, status: int = 200, /, **values: Any) -> HTMLResponse:
    """Return a page of a template."""
    return HTMLResponse(templates().get_template(template).render(**values), status)


def plain_page(refusal: Refusal) -> HTMLResponse:
    """Return the page of a refusal."""
    status, heading, step = refusal.value
    return html("plain.html", status, heading=heading, step=step)
