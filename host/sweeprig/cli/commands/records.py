"""`sweeprig records`: what was swept before."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sweeprig.cli import options as opt
from sweeprig.cli.console import console
from sweeprig.cli.helping import WholeGroup
from sweeprig.cli.session import records_place, with_options

if TYPE_CHECKING:
    from sweeprig.records.rows import Record

records = typer.Typer(
    cls=WholeGroup,
    help="List, show, correct and export earlier sweeps; histories and batches.",
    no_args_is_help=True,
)

Place = opt.RecordsPlace
Key = Annotated[str, typer.Argument(help="A record's number, or the report number on its sheet.")]
Sensor = Annotated[str, typer.Argument(help="A sensor's label or serial number.")]


class Format(StrEnum):
    """What an export is written as."""

    CSV = "csv"
    JSON = "json"


@dataclass(frozen=True)
class Wanted:
    """Which records: where they are, and what they have to be of."""

    place: Place = ""
    job: Annotated[str | None, typer.Option("--job", help="Only of this job.")] = None
    sensor: Annotated[
        str | None, typer.Option("--sensor", help="Only of this sensor: label or serial number.")
    ] = None
    verdict: Annotated[str | None, typer.Option("--verdict", help="Only pass, fail or undecided.")] = None
    since: Annotated[str | None, typer.Option("--since", help="Only from this date on, as 2031-03-01.")] = (
        None
    )
    batch: Annotated[str | None, typer.Option("--batch", help="Only of this batch.")] = None

    def find(self, *, limit: int | None = None, full: bool = False) -> list[Record]:
        """Return them, newest first; warn of those that cannot be read."""
        from sweeprig.bench.shop.records import verdict_named
        from sweeprig.records.store import open_store

        verdict = verdict_named(self.verdict)
        with open_store(records_place(self.place), create=False) as store:
            found = store.find(
                job=self.job, sensor=self.sensor, verdict=verdict, since=self.since, batch=self.batch,
                limit=limit, full=full,
            )  # fmt: skip
        for line in store.aside:
            console.warn(line)
        return found


@dataclass(frozen=True)
class ListOptions(Wanted):
    """What `records list` takes."""

    limit: Annotated[
        int, typer.Option("--limit", min=1, max=1_000_000, help="At most this many, newest first.")
    ] = 50
    as_json: opt.AsJson = False


@records.command("list")
@with_options(ListOptions)
def list_(asked: ListOptions) -> None:
    """List records, newest first."""
    from sweeprig.bench.shop.records import record_json, table_lines

    found = asked.find(limit=asked.limit + 1, full=True)
    shown = found[: asked.limit]
    if asked.as_json:
        console.show_json([record_json(r) for r in shown])
        return
    for line in table_lines(shown, console.width) if shown else ["No matching record."]:
        console.show(line)
    if len(found) > asked.limit:
        console.say(f"More records exist; --limit shows more than {asked.limit}.")


@records.command()
def show(key: Key, place: Place = "", as_json: opt.AsJson = False) -> None:
    """Show one record in full."""
    from dataclasses import asdict

    from sweeprig.bench.shop.records import record_json, show_lines
    from sweeprig.records.store import open_store

    with open_store(records_place(place), create=False) as store:
        record = store.get(key)
        corrected = store.amendments(record.id)
    console.answer(
        as_json,
        lambda: {**record_json(record), "amendments": [asdict(a) for a in corrected]},
        lambda: show_lines(record, [a.line for a in corrected]),
    )


@records.command()
def amend(
    key: Key,
    label: Annotated[str | None, typer.Option("--label", help="Your label for the sensor.")] = None,
    job: Annotated[str | None, typer.Option("--job", help="Job or order.")] = None,
    serial: Annotated[str | None, typer.Option("--serial", help="Serial number of the sensor.")] = None,
    part: Annotated[str | None, typer.Option("--part", help="Part number or description.")] = None,
    operator: Annotated[str | None, typer.Option("--operator", help="New name of who did the work.")] = None,
    notes: Annotated[str | None, typer.Option("--notes", help="Anything else.")] = None,
    by: Annotated[
        str,
        typer.Option("--by", help="Your name, as the one who corrects; default: the configured operator."),
    ] = "",
    place: Place = "",
) -> None:
    """Correct what was typed for a record; the old values are kept, with name and time."""
    from sweeprig.bench.shop.records import amended_by, wanted_changes
    from sweeprig.capture.folder import local_now
    from sweeprig.cli.session import settings
    from sweeprig.records.store import open_store

    changes = wanted_changes(
        {"label": label, "job": job, "serial": serial, "part": part, "operator": operator, "notes": notes}
    )
    who = amended_by(by or settings()[0].operator)
    with open_store(records_place(place), create=False) as store:
        made = store.amend(key, changes, by=who, at=local_now().isoformat(timespec="seconds"))
    for one in made:
        console.show(one.line)
    if not made:
        console.show("Nothing to change: the record already has this value.")


@records.command()
def history(
    sensor: Sensor,
    place: Place = "",
    limit: Annotated[
        int | None, typer.Option("--limit", min=1, max=1_000_000, help="How many to show, the newest.")
    ] = None,
    as_json: opt.AsJson = False,
) -> None:
    """Show one sensor's records, oldest first, and how its closed and open throttle changed."""
    from dataclasses import asdict

    from sweeprig.bench.shop.records import record_json, table_lines
    from sweeprig.bench.shop.trends import counted, trend, trend_lines
    from sweeprig.records.store import open_store

    with open_store(records_place(place), create=False) as store:
        found = store.history(sensor, limit=limit, full=True)
    for line in store.aside:
        console.warn(line)
    taken, said = counted(found)
    trends = [trend(taken, end) for end in ("closed", "open")]
    if as_json:
        console.show_json(
            {
                "records": [record_json(r) for r in found],
                "trend": {t.end: asdict(t) for t in trends},
                "trend_note": said or None,
            }
        )
        return
    note = [f"  ! {said}"] if said else []
    for line in [*table_lines(found, console.width), "", *note, *trend_lines(trends)]:
        console.show(line)


@records.command("batch")
def batch_(
    name: Annotated[str, typer.Argument(help="The batch, as named with sweep --series --batch.")],
    place: Place = "",
    sheet_file: Annotated[
        Path | None,
        typer.Option("--sheet-file", help="Write the batch's sheet here: HTML, or PDF by its ending."),
    ] = None,
    sheet: opt.OldSheetFile = None,
    as_json: opt.AsJson = False,
) -> None:
    """Show the table of a batch again, and how much its sensors differ."""
    from sweeprig.bench.batch.batch import batch_json, entries_of_records
    from sweeprig.bench.batch.text import batch_lines
    from sweeprig.errors import InputError

    found = Wanted(place, batch=name).find(full=True)[::-1]
    if not found:
        raise InputError(
            "There is no record of this batch.", seen=name,
            next_step="check the name; sweeprig records list --json names each record's batch",
        )  # fmt: skip
    entries = entries_of_records(found)
    console.answer(
        as_json, lambda: batch_json(name, entries), lambda: batch_lines(name, entries, console.width)
    )
    sheet = sheet_file or sheet
    if sheet is not None:
        from sweeprig.bench.batch.sheet import batch_sheet
        from sweeprig.bench.review.sheets import write_page
        from sweeprig.cli.session import settings

        write_page(sheet, batch_sheet(name, found, workshop=settings()[0].workshop))
        console.say(f"Sheet: {sheet}")


@dataclass(frozen=True)
class ExportOptions(Wanted):
    """What `records export` takes."""

    out: Annotated[Path | None, typer.Option("--out", help="File to write; default: standard output.")] = None
    kind: Annotated[Format | None, typer.Option("--as", help="Default: by the file's ending, else csv.")] = (
        None
    )


@records.command()
@with_options(ExportOptions)
def export(asked: ExportOptions) -> None:
    """Export records as CSV or JSON. A column name ends in its unit, such as _v; one that ends in _1 has no unit."""
    import json

    from sweeprig.bench.shop.records import record_json, to_csv, write_export
    from sweeprig.link.clean import printable_json

    out = asked.out
    by_name = Format.JSON if out is not None and out.suffix.lower() == ".json" else Format.CSV
    as_json = (asked.kind or by_name) is Format.JSON
    found = asked.find(full=True)[::-1]
    if as_json:
        rows = [record_json(r) for r in found]
        text = printable_json(json.dumps(rows, indent=2, ensure_ascii=False, allow_nan=False)) + "\n"
    else:
        text = to_csv(found)
    if out is None:
        console.show_data(text)
        return
    write_export(out, text)
    console.say(f"{len(found)} records written to {out}, as {'JSON' if as_json else 'CSV'}")


@records.command()
def add(
    files: Annotated[list[Path], typer.Argument(help="Captures (.sweep) or CSVs.")],
    place: Place = "",
    batch: Annotated[str, typer.Option("--batch", help="The batch that they belong to.")] = "",
) -> None:
    """Judge files again and keep their records; a file added twice stays one record."""
    from sweeprig.bench.review.review import take_in
    from sweeprig.records.store import open_store

    with open_store(records_place(place)) as store:
        numbers = take_in(store, files, batch=batch)
    for file, number in zip(files, numbers, strict=True):
        console.show(f"{number:6d}  {file}")


def add_to(app: typer.Typer) -> None:
    """Add the commands of this module."""
    app.add_typer(records, name="records")
