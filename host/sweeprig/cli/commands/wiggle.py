"""`wiggle`: move plugs and harness, hear and count what breaks, and know where it was."""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sweeprig.cli import options as opt
from sweeprig.cli.asking import ConfirmKeys, DriveOption, Override, ask_drive, asking, books
from sweeprig.cli.commands.recover import report_recovered
from sweeprig.cli.commands.sweep import make_order, make_setup, settings, stop_on_interrupt
from sweeprig.cli.console import EXIT_OF_VERDICT, colour_wanted, console, folded, strong
from sweeprig.words import Hookup, Setting, Starts

if TYPE_CHECKING:
    from sweeprig.bench.session import Session
    from sweeprig.bench.sweep.sweep import SweepOrder
    from sweeprig.bench.wiggle.model import Happening
    from sweeprig.bench.wiggle.run import Signals
    from sweeprig.bench.wiggle.wiggle import LiveSearch
    from sweeprig.capture.marks import MarkAt
    from sweeprig.capture.model import Capture
    from sweeprig.cli.views.screen import Screen
    from sweeprig.link.client import RigClient

FRAME_S = 0.1  # [s] of the operator's clock between two frames


def wiggle(
    port: opt.Port = "",
    seconds: Annotated[
        float, typer.Option("--seconds", min=1.0, max=3600.0, help="Length [s]; Ctrl-C ends it before.")
    ] = 60.0,
    profile: opt.ProfileName = None,
    hookup: opt.HookupOption = Hookup.POWERED,
    setting: opt.SettingOption = Setting.BENCH,
    far_end: Annotated[
        bool, typer.Option("--far-end", help="Channel B taps the same signal wire at the controller.")
    ] = False,
    marks: Annotated[
        str, typer.Option("--marks", help="Places by time, as 0:plug,20:bulkhead; else by key or button.")
    ] = "",
    at_idle: Annotated[
        bool,
        typer.Option("--at-idle", help="Record with the engine idling; needs --override and --confirm idle."),
    ] = False,
    label: opt.Label = "",
    job: opt.Job = "",
    part: opt.Part = "",
    serial: opt.Serial = "",
    operator: opt.Operator = "",
    notes: opt.Notes = "",
    track_ohm: opt.TrackOhm = None,
    out: opt.Out = None,
    sheet: opt.SheetKind = None,
    confirm: ConfirmKeys = None,
    drive: DriveOption = "",
    override: Override = "",
    as_json: opt.AsJson = False,
) -> None:
    """Count events while harness and plugs are moved. Keys 1 plug, 2 bulkhead, 3 controller end; q ends it."""
    from sweeprig.bench.board.rig import opened_rig
    from sweeprig.bench.wiggle.model import parse_marks, within
    from sweeprig.bench.wiggle.run import check_idle
    from sweeprig.bench.wiggle.wiggle import FAR_END, TASK
    from sweeprig.capture.folder import ready_folder

    config, _ = settings()
    values = {"seconds": seconds, "profile": profile, "hookup": hookup, "starts": Starts.ANYWHERE,
              "setting": setting.value, "sensor_label": label, "job": job, "part": part, "serial": serial,
              "operator": operator, "notes": notes, "track_ohm": track_ohm, "override": override,
              "task": FAR_END if far_end else TASK,
              "vehicle_drive": ask_drive(drive, setting.value)}  # fmt: skip
    setup = make_setup(config, values)
    typed, late = within(parse_marks(marks), seconds)
    if late:
        console.warn(late)
    if at_idle:
        check_idle(setup, asking(confirm))
    order = make_order(setup, out, sheet, None)
    report_recovered(ready_folder(order.folder))
    with opened_rig(port or config.port) as client:
        capture, path = _capture(client, order, typed, confirm)
    _finish(capture, path, order, as_json=as_json)


def _capture(
    client: RigClient, order: SweepOrder, typed: list[MarkAt], confirm: list[str] | None
) -> tuple[Capture, Path]:
    from sweeprig.bench.session import session
    from sweeprig.bench.wiggle.run import Signals
    from sweeprig.bench.wiggle.wiggle import FAR_END, LiveSearch

    name = order.setup.sensor_label or order.setup.serial
    with session(client, order.setup, trims=order.trims, ask=asking(confirm), books=books()) as s:
        search = LiveSearch(s.profile, far_end=s.setup.task == FAR_END, marks=list(typed))
        with Signals(client) as signals, _Face(s.setup.seconds) as face:
            capture = _run(s, order, search, signals, face)
        return s.keep(capture, order.folder, f"wiggle {name}")


def _run(s: Session, order: SweepOrder, search: LiveSearch, signals: Signals, face: _Face) -> Capture:
    from sweeprig.bench.wiggle.run import run_wiggle

    with stop_on_interrupt() as stop:
        return run_wiggle(
            s,
            search,
            folder=order.folder,
            on_new=lambda new: _tell(new, search, signals, face),
            on_look=lambda: _look(search, signals, face),
            stop=lambda: stop() or face.wants_to_end,
        )


def _look(search: LiveSearch, signals: Signals, face: _Face) -> None:
    signals.look(search.seconds)
    face.look(search)


def _tell(new: list[Happening], search: LiveSearch, signals: Signals, face: _Face) -> None:
    signals.event(search.seconds)
    face.bell()
    for h in new:
        face.line(h.line)


@dataclass
class _Face:
    """What the operator sees: a view on a terminal, plain lines elsewhere."""

    wanted_s: float
    wants_to_end: bool = False
    _screen: Screen | None = None
    _stack: list[object] = field(default_factory=list)
    _drawn: float = 0.0
    _bell_wanted: bool = True

    def __enter__(self) -> _Face:
        from contextlib import ExitStack

        from sweeprig.cli.views.screen import Screen, is_terminal, single_keys

        self._bell_wanted = settings()[0].bell
        if is_terminal():
            stack = ExitStack()
            self._screen = stack.enter_context(Screen())
            stack.enter_context(single_keys())
            self._stack.append(stack)
        return self

    def __exit__(self, *_: object) -> None:
        from contextlib import ExitStack

        for stack in self._stack:
            assert isinstance(stack, ExitStack)
            stack.close()
        self._stack.clear()

    def bell(self) -> None:
        """Sound the terminal's bell."""
        if self._bell_wanted and self._screen is not None:
            self._screen.bell()
        elif self._bell_wanted:
            console.bell()

    def line(self, text: str) -> None:
        """Show one event as a line where there is no view."""
        if self._screen is None:
            console.say(text)

    def look(self, search: LiveSearch) -> None:
        """Take keys, draw a frame where it is time."""
        from sweeprig.capture.marks import PLACES
        from sweeprig.cli.views.screen import read_keys

        if self._screen is None:
            return
        for key in read_keys():
            if key in "123":
                search.mark(PLACES[int(key) - 1])
            elif key in " \r\n":
                search.next_place()
            elif key == "q":
                self.wants_to_end = True
        moment = time.monotonic()
        if moment - self._drawn >= FRAME_S:
            from sweeprig.cli.views.wiggle import wiggle_lines

            self._drawn = moment
            columns, rows = self._screen.size
            self._screen.draw(wiggle_lines(search, self.wanted_s, columns, rows, colour=colour_wanted()))


def _finish(capture: Capture, path: Path, order: SweepOrder, *, as_json: bool) -> None:
    from sweeprig.bench.sweep.sweep import keep_record, write_sheets
    from sweeprig.bench.wiggle.model import summary_lines, wiggle_json
    from sweeprig.bench.wiggle.run import reviewed_wiggle

    outcome, found = reviewed_wiggle(capture, order.choices)
    sheets = write_sheets(outcome, path, order.sheet)
    _, problem = keep_record(outcome, path, order)
    if problem:
        console.warn(problem)
    if as_json:
        from sweeprig.bench.review.result import to_result

        files = {"capture_file": str(path), "sheet_file": str(sheets[0]) if sheets else None}
        console.show_json({**to_result(outcome), "wiggle": wiggle_json(found), **files})
    else:
        lines = summary_lines(found)
        console.show(strong(lines[0]))
        for text in lines[1:]:
            console.show(folded(text, "    "))
        for f in outcome.judgement.findings:
            console.show("")
            console.show(folded(f"  {f.code}, cause {f.cause}: {f.evidence}", "    "))
            console.show(folded(f"    next: {f.next_step}", "          "))
    console.say()
    console.say(f"Capture: {path}")
    for sheet_path in sheets:
        console.say(f"Sheet:   {sheet_path}")
    raise typer.Exit(EXIT_OF_VERDICT[outcome.judgement.verdict])


def add_to(app: typer.Typer) -> None:
    """Add the commands of this module."""
    app.command()(wiggle)
