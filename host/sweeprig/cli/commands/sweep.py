"""`sweep` and `review`: capture and judge, or judge again from a file."""

from __future__ import annotations

import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sweeprig.cli import options as opt
from sweeprig.cli.asking import ConfirmKeys, DriveOption, Override, ask_drive
from sweeprig.cli.commands.recover import report_recovered
from sweeprig.cli.console import EXIT_OF_VERDICT, console
from sweeprig.words import Hookup, Sense, Setting, Starts

if TYPE_CHECKING:
    from sweeprig.bench.readings.coach import Advice
    from sweeprig.bench.shop.config import Config
    from sweeprig.bench.shop.places import Places
    from sweeprig.bench.sweep.sweep import SweepDone, SweepOrder
    from sweeprig.capture.model import Capture, SweepSetup
    from sweeprig.capture.sweep import Progress
    from sweeprig.judge.outcome import Outcome
    from sweeprig.link.client import RigClient


def settings() -> tuple[Config, Places]:
    """Return the configuration and the places in force."""
    from sweeprig.bench.shop.config import load_config
    from sweeprig.bench.shop.places import find_places

    places = find_places()
    return load_config(places.config_file), places


@contextmanager
def stop_on_interrupt() -> Iterator[Callable[[], bool]]:
    """Turn the first Ctrl-C into a wish to stop, so that what came is kept."""
    asked = []
    before = signal.signal(signal.SIGINT, lambda *_: asked.append(True))
    try:
        yield lambda: bool(asked)
    finally:
        signal.signal(signal.SIGINT, before)


def count_down(seconds: int, sleep: Callable[[float], None]) -> None:
    """Give the operator time to take the lever. `sleep` is the rig's: without a word it would end the supply."""
    for left in range(seconds, 0, -1):
        console.progress(f"Lever at the start position. Sweep begins in {left} ...")
        sleep(1.0)
    console.end_progress()


def progress_line(p: Progress) -> str:
    """Return one line of a running capture."""
    done = min(1.0, p.seconds / p.wanted_s) if p.wanted_s else 0.0
    bar = "#" * round(done * 12)
    lost = f"  {p.n_lost} LOST" if p.n_lost else ""
    return f"  [{bar:12}] {p.seconds:5.1f} of {p.wanted_s:.1f} s{lost}"


def show_outcome(
    outcome: Outcome, *, as_json: bool, budget: bool, files: dict[str, Any], monte_carlo: bool = False
) -> None:
    """Print an outcome as text or as one JSON object."""
    if as_json:
        from sweeprig.bench.review.result import to_result

        console.show_json({**to_result(outcome), **files})
        return
    from sweeprig.cli.views.outcome import budget_lines, drawn_lines, outcome_lines

    for line in outcome_lines(outcome) + (budget_lines(outcome) if budget else []):
        console.show(line)
    if monte_carlo:
        for line in drawn_lines(outcome):
            console.show(line)


def take_sweep(
    client: RigClient,
    order: SweepOrder,
    *,
    confirm: list[str] | None = None,
    countdown: int = 0,
    whole: bool = False,
) -> SweepDone:
    """Make the hookup ready, capture with progress on the screen, then finish.

    Ctrl-C keeps and judges what came. Raises KeyboardInterrupt where nothing had come, and with `whole` always.
    """
    from sweeprig.bench.sweep.sweep import finish

    capture, path = _take(client, order, confirm, countdown)
    if capture.ended != "complete":
        console.say(f"The capture ended early ({capture.ended}); what came is kept in {path}.")
    if whole and capture.ended == "stopped":
        raise KeyboardInterrupt
    return finish(capture, path, order)


def _take(
    client: RigClient, order: SweepOrder, confirm: list[str] | None, countdown: int
) -> tuple[Capture, Path]:
    from sweeprig.bench.sweep.sweep import take
    from sweeprig.cli.asking import asking, books
    from sweeprig.errors import BoardSilentError

    said: list[str] = [""]

    def advise(advice: Advice) -> None:
        said[0] = f"   {advice.line}"

    with stop_on_interrupt() as stop:
        try:
            taken = take(
                client,
                order,
                progress=lambda p: console.progress(progress_line(p) + said[0]),
                stop=stop,
                ask=asking(confirm),
                books=books(),
                before=lambda: count_down(countdown, client.rest),
                advise=advise,
            )
        except BoardSilentError:
            if stop():  # before the first record: the board had no time to send one
                raise KeyboardInterrupt from None
            raise
    console.end_progress()
    return taken


def make_setup(config: Config, values: dict[str, Any]) -> SweepSetup:
    """Return the setup from the options, with the configuration's defaults."""
    from sweeprig.capture.model import SweepSetup
    from sweeprig.link.clean import clean_text

    chosen = {key: value for key, value in values.items() if value is not None}
    chosen.setdefault("profile", config.profile)
    if not chosen.get("operator"):
        chosen["operator"] = config.operator
    chosen = {key: clean_text(value) if type(value) is str else value for key, value in chosen.items()}
    return SweepSetup(**chosen)


def make_order(setup: SweepSetup, out: Path | None, sheet: str | None, guard: float | None) -> SweepOrder:
    """Return the order of one sweep, with the configuration's folders."""
    from sweeprig.bench.review.review import Choices
    from sweeprig.bench.shop.config import captures_folder, check_value
    from sweeprig.bench.sweep.sweep import SweepOrder

    config, places = settings()
    kind = check_value("sheet", sheet, "the command line") if sheet else config.sheet
    records = (config.records_url or str(places.records)) if config.keep_records else None
    return SweepOrder(
        setup,
        out or captures_folder(config, places),
        places.trims,
        Choices(guard_factor=guard),
        kind,
        records,
    )


def sweep(
    port: opt.Port = "",
    seconds: opt.Seconds = 5.0,
    profile: opt.ProfileName = None,
    hookup: opt.HookupOption = Hookup.POWERED,
    starts: opt.StartsOption = Starts.CLOSED,
    sense: opt.SenseOption = Sense.UNKNOWN,
    setting: opt.SettingOption = Setting.BENCH,
    kind: opt.KindOption = None,
    label: opt.Label = "",
    job: opt.Job = "",
    part: opt.Part = "",
    serial: opt.Serial = "",
    operator: opt.Operator = "",
    notes: opt.Notes = "",
    track_ohm: opt.TrackOhm = None,
    guard: opt.Guard = None,
    out: opt.Out = None,
    sheet: opt.SheetKind = None,
    countdown: Annotated[int, typer.Option(min=0, max=30, help="Seconds to count down.")] = 3,
    confirm: ConfirmKeys = None,
    drive: DriveOption = "",
    override: Override = "",
    series: Annotated[
        bool,
        typer.Option("--series", help="Sweep a batch: each sweep starts on movement and ends by itself."),
    ] = False,
    batch: Annotated[str, typer.Option("--batch", help="With --series: the batch's name.")] = "",
    budget: opt.Budget = False,
    monte_carlo: opt.MonteCarlo = False,
    as_json: opt.AsJson = False,
) -> None:
    """Capture a timed sweep, judge it, write the sheet. Start with the lever at closed throttle."""
    from sweeprig.bench.board.rig import opened_rig
    from sweeprig.capture.folder import ready_folder

    config, _ = settings()
    setup = make_setup(
        config,
        {
            "seconds": seconds, "profile": profile, "hookup": hookup, "starts": starts, "sense": sense,
            "setting": setting.value, "sensor_kind": kind.value if kind else "", "sensor_label": label,
            "job": job, "part": part, "serial": serial,
            "operator": operator, "notes": notes, "track_ohm": track_ohm, "override": override,
            "vehicle_drive": ask_drive(drive, setting.value),
        },
    )  # fmt: skip
    order = make_order(setup, out, sheet, guard)
    report_recovered(ready_folder(order.folder))
    with opened_rig(port or config.port) as client:
        if series:
            from sweeprig.cli.commands.series import run_series

            run_series(client, order, name=batch, confirm=confirm, as_json=as_json)
            return
        done = take_sweep(client, order, confirm=confirm, countdown=countdown)
    show_done(done, as_json=as_json, budget=budget, monte_carlo=monte_carlo)


def show_done(done: SweepDone, *, as_json: bool, budget: bool, monte_carlo: bool = False) -> None:
    """Print the outcome and the files; leave with the verdict's status."""
    sheet = str(done.sheets[0]) if done.sheets else None
    files = {"capture_file": str(done.capture_file), "sheet_file": sheet}
    show_outcome(done.outcome, as_json=as_json, budget=budget, files=files, monte_carlo=monte_carlo)
    if done.record_problem:
        console.warn(done.record_problem)
    console.say()
    console.say(f"Capture: {done.capture_file}")
    for path in done.sheets:
        console.say(f"Sheet:   {path}")
    raise typer.Exit(EXIT_OF_VERDICT[done.outcome.judgement.verdict])


def review(
    file: Annotated[Path, typer.Argument(help="A capture (.sweep) or a CSV with time_s,signal_v ...")],
    profile: opt.ReviewProfile = None,
    starts: opt.StartsOption = None,
    sense: opt.SenseOption = None,
    track_ohm: opt.TrackOhm = None,
    guard: opt.Guard = None,
    sheet: Annotated[Path | None, typer.Option("--sheet", help="Write the sheet (HTML) here.")] = None,
    budget: opt.Budget = False,
    monte_carlo: opt.MonteCarlo = False,
    as_json: opt.AsJson = False,
) -> None:
    """Analyse and judge a capture or a CSV again; nothing but the file is needed."""
    from sweeprig.bench.review.review import Choices, review_file
    from sweeprig.bench.review.sheets import check_target, write_html

    if sheet is not None:
        check_target(sheet, file)
    outcome = review_file(file, Choices(profile, starts, sense, guard, track_ohm))
    if sheet is not None:
        write_html(outcome, sheet)
    files = {"capture_file": str(file), "sheet_file": str(sheet) if sheet else None}
    show_outcome(outcome, as_json=as_json, budget=budget, files=files, monte_carlo=monte_carlo)
    raise typer.Exit(EXIT_OF_VERDICT[outcome.judgement.verdict])


def add_to(app: typer.Typer) -> None:
    """Add the commands of this module."""
    app.command()(sweep)
    app.command()(review)
