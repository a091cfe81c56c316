"""`page`: the records and their sheets in a browser, without a rig."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import typer

from sweeprig.cli.session import with_options
from sweeprig.cli.web_page import PageOptions, beside, stay


@dataclass(frozen=True)
class AloneOptions(PageOptions):
    """What `page` takes."""

    page: Annotated[bool, typer.Option("--page", hidden=True)] = True
    place: Annotated[
        str,
        typer.Option(
            "--records",
            help="Where the records are, if not in the usual place: a folder, or the address of a database.",
        ),
    ] = ""


@with_options(AloneOptions)
def page(asked: AloneOptions) -> None:
    """Show the records and their sheets in a browser, until Enter or Ctrl-C. To show a sweep: sweep --page."""
    with beside(asked, asked.place) as here:
        here.nothing()
        stay(here)


def add_to(app: typer.Typer) -> None:
    """Add the commands of this module."""
    app.command()(page)
