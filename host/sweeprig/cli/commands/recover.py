"""`recover`: captures that a crash or a power cut left unfinished."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from sweeprig.cli.console import console
from sweeprig.cli.session import report_lent, report_recovered, settings


def recover(
    place: Annotated[
        Path | None,
        typer.Argument(
            metavar="place", help="A folder of captures, or one .journal file; default: your captures."
        ),
    ] = None,
    like: Annotated[
        Path | None,
        typer.Option(
            "--like",
            help="For a .journal file whose first line is damaged: a capture of the same rig, build and hookup.",
        ),
    ] = None,
) -> None:
    """Save an interrupted capture from its .journal file; `sweep` and `wiggle` do this by themselves."""
    from sweeprig.bench.shop.config import captures_folder
    from sweeprig.errors import InputError

    place = place or captures_folder(*settings())
    if not place.exists():
        raise InputError(f"{place} does not exist.", next_step="name a folder of captures, or one .journal")
    if like is not None:
        report_lent(place, like)
    elif not report_recovered(place, needed=True):
        console.say(f"Nothing to recover in {place}.")


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(recover)
