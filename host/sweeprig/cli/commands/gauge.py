"""`gauge`: the gauge R&R study."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from sweeprig.cli import options as opt
from sweeprig.cli.console import console
from sweeprig.cli.session import records_place


def gauge(
    file: Annotated[
        Path | None,
        typer.Argument(
            help="CSV with the columns part (which sensor: each single one has its own name or number), operator and"
            " value_v (the reading [V])."
        ),
    ] = None,
    batch: Annotated[str, typer.Option("--batch", help="Instead of a CSV: the records of this batch.")] = "",
    end: Annotated[str, typer.Option("--end", help="With --batch: closed or open.")] = "closed",
    tolerance: Annotated[
        float | None,
        typer.Option(
            "--tolerance",
            help="Highest minus lowest permitted value [V]; the spread of rig and operators is compared with it.",
        ),
    ] = None,
    place: Annotated[str, typer.Option("--records", help="With --batch: location of the records.")] = "",
    as_json: opt.AsJson = False,
) -> None:
    """Repeatability study (gauge R&R study): how much of the spread of readings comes from rig and operators."""
    from sweeprig.bench.batch import gauge_data as data
    from sweeprig.bench.batch.gauge import study
    from sweeprig.errors import InputError

    if (file is None) == (not batch):
        raise InputError("The gauge R&R study needs one source.", next_step="name a CSV, or --batch NAME")
    if tolerance is not None:
        tolerance = data.width(tolerance)
    if file is not None:
        readings = data.some(data.readings_of_csv(file), source=str(file))
    else:
        readings = data.some(data.readings_of_records(_batch(place, batch), end), source=f"batch {batch}")
    found = study(data.table(readings))
    console.answer(
        as_json,
        lambda: data.gauge_json(found, tolerance),
        lambda: data.gauge_lines(found, tolerance, console.width),
    )


def _batch(place: str, name: str) -> list[Any]:
    from sweeprig.records.store import open_store

    with open_store(records_place(place), create=False) as store:
        return store.find(batch=name)[::-1]


def add_to(app: typer.Typer) -> None:
    """Add the commands."""
    app.command()(gauge)
