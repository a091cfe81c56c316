"""`sheet`: the sheet of captures or CSV files, and their exports."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sweeprig.cli import options as opt
from sweeprig.cli.console import console
from sweeprig.cli.session import records_place
from sweeprig.errors import SweeprigError

if TYPE_CHECKING:
    from sweeprig.bench.review.by_number import NamedCapture
    from sweeprig.bench.review.review import Choices


def sheet(
    files: Annotated[
        list[str],
        typer.Argument(help="Captures (.sweep), CSVs with time_s,signal_v ..., or numbers of records."),
    ],
    html: Annotated[bool, typer.Option("--html", help="Write the sheet as HTML (the default).")] = False,
    pdf: Annotated[bool, typer.Option("--pdf", help="Write the sheet as PDF, A4.")] = False,
    text: Annotated[
        bool,
        typer.Option("--text", help="Print the result in ten lines at most, to paste or read aloud."),
    ] = False,
    csv: Annotated[bool, typer.Option("--csv", help="Write all readings over time as CSV.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Write the result as JSON.")] = False,
    mdf: Annotated[
        bool,
        typer.Option(
            "--mdf",
            help="Write all readings over time in the file format ASAM MDF 4.10, for measuring programs.",
        ),
    ] = False,
    out: Annotated[Path | None, typer.Option("--out", help="Folder; default: beside each file.")] = None,
    profile: opt.ProfileName = None,
    starts: opt.StartsOption = None,
    sense: opt.SenseOption = None,
    track_ohm: opt.TrackOhm = None,
    guard: opt.Guard = None,
    place: opt.RecordsPlace = "",
) -> None:
    """Write the sheet of a capture or a CSV, or export it."""
    from sweeprig.bench.review.review import Choices
    from sweeprig.bench.review.sheets import check_targets

    asked = {"html": html, "pdf": pdf, "csv": csv, "json": as_json, "mdf": mdf}
    kinds = tuple(kind for kind, wanted in asked.items() if wanted)
    if not kinds and not text:
        kinds = ("html",)
    choices, failed = Choices(profile, starts, sense, guard, track_ohm), list[SweeprigError]()
    named = [one for name in files for one in _named(name, records_place(place), failed)]
    check_targets([one.path for one in named], out, kinds)
    for number, one in enumerate(named):
        try:
            _write(one, choices, kinds, out, text=text, first=not number)
        except SweeprigError as error:
            failed.append(error)
    if len(files) == 1 and failed:
        raise failed[0]
    for one_error in failed:
        console.error(one_error)
    if failed:
        console.say(f"{len(files) - len(failed)} of {len(files)} done.")
        raise typer.Exit(failed[0].exit_code)


def _named(text: str, place: str, failed: list[SweeprigError]) -> list[NamedCapture]:
    """Return the capture that a text names; [] where there is none, its error among the failed."""
    from sweeprig.bench.review.by_number import named_captures

    try:
        return named_captures([text], place)
    except SweeprigError as error:
        failed.append(error)
        return []


def _write(
    one: NamedCapture, choices: Choices, kinds: tuple[str, ...], out: Path | None, *, text: bool, first: bool
) -> None:
    from sweeprig.bench.review.sheets import write_files

    outcome = one.review(choices)
    if text:
        from sweeprig.report.text_sheet import text_sheet

        for line in [*([] if first else [""]), *text_sheet(outcome).splitlines()]:
            console.show(line)
    for path in write_files(outcome, one.path, kinds, out):
        console.show(str(path))


def add_to(app: typer.Typer) -> None:
    """Add the commands."""
    app.command()(sheet)
