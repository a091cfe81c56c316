"""`sweeprig compare`: two captures or records, before and after."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sweeprig.cli import options as opt
from sweeprig.cli.console import console
from sweeprig.cli.session import records_place

if TYPE_CHECKING:
    from sweeprig.bench.review.compare import Side


def _side(text: str, place: str, profile: str | None) -> Side:
    """Return one side: a file where there is one of that name, else a record."""
    from sweeprig.bench.review.compare import side_of_outcome, side_of_record

    path = Path(text)
    if path.suffix.lower() in (".sweep", ".csv") or path.is_file():
        from sweeprig.bench.review.review import Choices, review_file

        return side_of_outcome(review_file(path, Choices(profile)), path.name)
    from sweeprig.records.store import open_store

    with open_store(records_place(place), create=False) as store:
        return side_of_record(store.get(text))


def _before_and_after(sensor: str, place: str) -> list[Side]:
    from sweeprig.bench.review.compare import side_of_record
    from sweeprig.errors import InputError
    from sweeprig.records.store import open_store

    with open_store(records_place(place), create=False) as store:
        found = store.history(sensor, limit=2, full=True)
    for line in store.aside:
        console.warn(line)
    if len(found) < 2:
        raise InputError(
            "There is only one record of this sensor.", seen=sensor, limit="two", next_step="sweep it again"
        )
    return [side_of_record(r) for r in found]


def compare(
    first: Annotated[str, typer.Argument(help="A capture, a CSV, or a record's number.")] = "",
    second: Annotated[str, typer.Argument(help="The later one.")] = "",
    sensor: Annotated[str, typer.Option("--sensor", help="Instead: this sensor's last two records.")] = "",
    profile: opt.ProfileName = None,
    place: opt.RecordsPlace = "",
    as_json: opt.AsJson = False,
) -> None:
    """Compare two captures, before and after: ends, margins and findings, and which changes are larger than their ±."""
    from sweeprig.bench.review.compare import compare as compare_sides
    from sweeprig.bench.review.compare import compare_json
    from sweeprig.bench.review.compare_text import compare_lines
    from sweeprig.errors import InputError

    if bool(sensor) == bool(first and second):
        raise InputError(
            "Two captures or one sensor must be named.",
            seen=" ".join(t for t in (first, second, sensor) if t) or "nothing",
            next_step="name two files or records, or --sensor LABEL",
        )
    sides = (
        _before_and_after(sensor, place) if sensor else [_side(t, place, profile) for t in (first, second)]
    )
    result = compare_sides(*sides)
    console.answer(as_json, lambda: compare_json(result), lambda: compare_lines(result, console.width))


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(compare)
