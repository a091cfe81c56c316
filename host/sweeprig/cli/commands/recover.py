"""`recover`: captures that a crash or a power cut left unfinished."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from sweeprig.cli.console import console


def recover(
    place: Annotated[
        Path | None,
        typer.Argument(
            metavar="[PATH]", help="A folder of captures, or one .journal; default: your captures."
        ),
    ] = None,
) -> None:
    """Turn journals that a crash left behind into captures; `sweep` and `wiggle` do so in their own folder."""
    from sweeprig.bench.shop.config import captures_folder, load_config
    from sweeprig.bench.shop.places import find_places
    from sweeprig.errors import InputError

    places = find_places()
    place = place or captures_folder(load_config(places.config_file), places)
    if not place.exists():
        raise InputError(f"{place} is not there.", next_step="name a folder of captures, or one .journal")
    if not report_recovered(place):
        console.say(f"Nothing to recover in {place}.")


def report_recovered(place: Path) -> int:
    """Recover what a crash left behind and say so, quiet or not; return how many. What is of no use is told of once."""
    from sweeprig.capture.sweep import recover as recovered

    def tell(aside: Path, reason: str) -> None:
        console.warn(f"A journal of a capture could not be recovered and is kept as {aside}: {reason}")

    found = recovered(place, on_unusable=tell)
    for path in found:
        console.warn(f"A capture that had not been finished was recovered: {path}")
    return len(found)


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(recover)
