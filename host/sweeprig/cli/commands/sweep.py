"""`sweep` and `review`: capture and judge, or judge again from a file."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Annotated

import typer

from sweeprig.cli import options as opt
from sweeprig.cli.asking import asking, books
from sweeprig.cli.console import EXIT_OF_VERDICT, console
from sweeprig.cli.driving import drive_sweep
from sweeprig.cli.session import SensorOptions, needs, records_place, report_recovered, settings, with_options
from sweeprig.cli.sweeping import numbers_by, print_done, show_card, show_outcome, status_of, take_sweep
from sweeprig.cli.web_page import Page, PageOptions, beside, rounds, shared_desk
from sweeprig.words import Sense, Starts

if TYPE_CHECKING:
    from pathlib import Path

    from sweeprig.bench.sweep.sweep import SweepDone, SweepOrder
    from sweeprig.errors import SweeprigError
    from sweeprig.judge.outcome import Outcome
    from sweeprig.link.client import RigClient

COUNTDOWN = 3  # [s] before a sweep of a fixed time; own choice, no source


@dataclass(frozen=True)
class SweepOptions(SensorOptions, PageOptions):
    """What `sweep` takes."""

    seconds: opt.SweepSeconds = None
    strokes: opt.Strokes = None
    starts: opt.StartsOption = Starts.CLOSED
    sense: opt.SenseOption = Sense.UNKNOWN
    kind: opt.KindOption = None
    guard: opt.Guard = None
    countdown: Annotated[
        int | None,
        typer.Option(
            min=0, max=30, help=f"With --seconds: length of the countdown [s]; default: {COUNTDOWN}."
        ),
    ] = None
    series: Annotated[
        bool,
        typer.Option("--series", help="Sweep a batch: each sweep starts on movement and ends by itself."),
    ] = False
    batch: Annotated[str, typer.Option("--batch", help="With --series: the batch's name.")] = ""
    driven: Annotated[
        bool,
        typer.Option(
            "--driven",
            help="The rig's own motor moves the lever (driven build of the rig only); measures linearity and"
            " hysteresis as well.",
        ),
    ] = False
    travel: Annotated[
        float | None,
        typer.Option(
            "--travel",
            help="With --driven: how far the motor opens the lever [degrees]; if not given, up to the stop.",
        ),
    ] = None
    full: opt.Full = False
    budget: opt.Budget = False
    monte_carlo: opt.MonteCarlo = False


@with_options(SweepOptions)
def sweep(asked: SweepOptions) -> None:
    """Test a sensor from stop to stop, judge it and write the sheet. Start with the lever at closed throttle."""
    from sweeprig.capture.folder import ready_folder

    _check_end(asked)
    needs("--countdown", asked.countdown is not None, "--seconds", asked.seconds is not None)
    needs("--batch", asked.batch != "", "--series", asked.series)
    kind = asked.kind.value if asked.kind else ""
    setup = asked.setup(seconds=asked.seconds, starts=asked.starts, sense=asked.sense, sensor_kind=kind)
    timed = asked.seconds is not None
    order = replace(asked.order(setup, asked.guard), timed=timed, strokes=asked.strokes)
    report_recovered(ready_folder(order.folder))
    with beside(asked) as page:
        if asked.series:
            with asked.rig() as client:
                _series(client, order, asked, page)
            return
        done = rounds(page, lambda: _once(asked, order, page), lambda done: _print(done, asked))
    raise typer.Exit(status_of(done))


def _check_end(asked: SweepOptions) -> None:
    """Raise InputError where both strokes and time are to end the sweep."""
    from sweeprig.errors import InputError

    if asked.strokes is not None and asked.seconds is not None:
        raise InputError(
            "--strokes and --seconds cannot both end a sweep.",
            seen=f"--strokes {asked.strokes} --seconds {asked.seconds:g}",
            limit="one of them",
            next_step="leave one out",
        )
    _check_driven(asked)


def _check_driven(asked: SweepOptions) -> None:
    """Raise InputError where an option does not go with the motor, HookupError off the bench."""
    from sweeprig.errors import InputError

    if asked.driven:
        from sweeprig.bench.drive.motor import check_place

        check_place(asked.hookup, asked.place)
    others = {
        "--seconds": asked.seconds is not None,
        "--series": asked.series,
        f"--starts {asked.starts}": asked.starts not in (None, Starts.CLOSED),
    }
    named = [option for option, is_given in others.items() if is_given]
    if asked.driven and named:
        raise InputError(
            f"{' and '.join(named)} cannot be used with --driven: the motor makes whole strokes from the closed end.",
            seen=f"--driven {' '.join(named)}",
            limit="--driven, with --strokes or --travel",
            next_step="leave one out",
        )
    needs("--travel", asked.travel is not None, "--driven", asked.driven)


def _once(asked: SweepOptions, order: SweepOrder, page: Page) -> SweepDone:
    bell = settings()[0].bell
    with asked.rig() as client:
        if asked.driven:
            return drive_sweep(
                client, order, travel_deg=asked.travel, confirm=asked.confirm, bell=bell, page=page
            )
        count = COUNTDOWN if asked.countdown is None else asked.countdown
        return take_sweep(client, order, confirm=asked.confirm, countdown=count, bell=bell, page=page)


def _print(done: SweepDone, asked: SweepOptions) -> None:
    print_done(
        done, as_json=asked.as_json, full=asked.full, budget=asked.budget, monte_carlo=asked.monte_carlo
    )


def _series(client: RigClient, order: SweepOrder, asked: SweepOptions, page: Page) -> None:
    """Sweep sensors until the operator ends the series; print the batch in the end."""
    from sweeprig.bench.batch.batch import batch_json
    from sweeprig.bench.batch.series import Batch
    from sweeprig.bench.batch.series_run import run_series
    from sweeprig.bench.batch.text import batch_lines
    from sweeprig.capture.folder import local_now
    from sweeprig.cli.views.desk import series_desk
    from sweeprig.errors import FileError

    batch = Batch(asked.batch or f"{local_now():%Y%m%d-%H%M}")
    simulated = bool(client.hello().get("simulated"))
    with series_desk(client) as desk:
        shared = shared_desk(desk, page, simulated=simulated)
        all_saved = run_series(client, order, batch, shared, ask=asking(asked.confirm), books=books())
    console.answer(
        asked.as_json,
        lambda: batch_json(batch.name, batch.entries),
        lambda: batch_lines(batch.name, batch.entries, console.width),
    )
    if not all_saved:
        raise typer.Exit(FileError.exit_code)


def review(
    file: Annotated[
        str, typer.Argument(help="A capture (.sweep), a CSV with time_s,signal_v ..., or a record's number.")
    ],
    profile: opt.ReviewProfile = None,
    starts: opt.StartsOption = None,
    sense: opt.SenseOption = None,
    track_ohm: opt.TrackOhm = None,
    time_unit: opt.TimeUnitOption = None,
    guard: opt.Guard = None,
    sheet_file: opt.SheetFile = None,
    sheet: opt.OldSheetFile = None,
    budget: opt.Budget = False,
    monte_carlo: opt.MonteCarlo = False,
    place: opt.RecordsPlace = "",
    as_json: opt.ResultJson = False,
) -> None:
    """Judge a capture or a CSV again, without the rig."""
    from sweeprig.bench.review.by_number import named_captures
    from sweeprig.bench.review.review import Choices
    from sweeprig.bench.review.sheets import check_target

    sheet = sheet_file or sheet
    (named,) = named_captures([file], records_place(place))
    if sheet is not None:
        check_target(sheet, named.path)
    outcome = named.review(Choices(profile, starts, sense, guard, track_ohm, time_unit=time_unit))
    unwritten = _written(outcome, sheet)
    sheet = None if unwritten else sheet
    files = {"capture_file": str(named.path), "sheet_file": str(sheet) if sheet else None}
    show_outcome(outcome, as_json=as_json, budget=budget, files=files, monte_carlo=monte_carlo)
    if not as_json:
        console.show("")
        show_card(
            outcome,
            record=named.record.id if named.record else None,
            sheet=sheet,
            hand_over="" if sheet else numbers_by(file),
            not_saved=("sheet",) if unwritten else (),
            capture=str(named.path),
        )
    if unwritten:
        raise unwritten
    raise typer.Exit(EXIT_OF_VERDICT[outcome.judgement.verdict])


def _written(outcome: Outcome, sheet: Path | None) -> SweeprigError | None:
    """Write the sheet that is wanted; return why it could not be: the verdict is shown all the same."""
    from sweeprig.bench.review.sheets import write_html
    from sweeprig.errors import ExportError

    try:
        if sheet is not None:
            write_html(outcome, sheet)
    except ExportError as exc:
        return exc
    return None


def add_to(app: typer.Typer) -> None:
    """Add the commands of this module."""
    app.command()(sweep)
    app.command()(review)
