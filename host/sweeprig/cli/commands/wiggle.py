"""`wiggle`: move plugs and harness, hear and count what breaks, and know where it was."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import typer

from sweeprig.cli.asking import asking
from sweeprig.cli.console import console, folded, strong
from sweeprig.cli.rehearsing import SIMULATED
from sweeprig.cli.session import SensorOptions, report_recovered, settings, with_options
from sweeprig.cli.sweeping import files_of, is_simulated, say_files, status_of, title_of
from sweeprig.cli.views.sweep_face import JUDGING
from sweeprig.cli.web_page import PageOptions, beside, rounds
from sweeprig.words import Starts

if TYPE_CHECKING:
    from sweeprig.analysis.wiggle import Wiggled
    from sweeprig.bench.sweep.sweep import SweepDone


@dataclass(frozen=True)
class WiggleOptions(SensorOptions, PageOptions):
    """What `wiggle` takes."""

    seconds: Annotated[
        float, typer.Option("--seconds", min=1.0, max=3600.0, help="Length [s]; Ctrl-C ends it earlier.")
    ] = 60.0
    far_end: Annotated[
        bool,
        typer.Option(
            "--far-end",
            help="The rig's second signal lead (B) is on the same wire too, at the controller's end.",
        ),
    ] = False
    marks: Annotated[
        str,
        typer.Option(
            "--marks", help="Places by time [s], as 0:plug,20:bulkhead; if not given, by key or button."
        ),
    ] = ""
    at_idle: Annotated[
        bool,
        typer.Option("--at-idle", help="Record with the engine idling; needs --override and --confirm idle."),
    ] = False


@with_options(WiggleOptions)
def wiggle(asked: WiggleOptions) -> None:
    """Find a bad connection: move harness and plugs, see the dropouts.

    Press 1 while you move the sensor's plug, 2 at the bulkhead (where the harness goes through the wall to the engine),
    3 at the controller's end.
    """
    from sweeprig.analysis.wiggle import FAR_END, TASK
    from sweeprig.bench.sweep.sweep import finish, finish_unkept
    from sweeprig.bench.wiggle.run import check_idle, run_wiggle
    from sweeprig.bench.wiggle.text import REST_HALF_WAY, parse_marks, within
    from sweeprig.capture.folder import ready_folder
    from sweeprig.cli.views.wiggle import wiggle_face
    from sweeprig.errors import CaptureNotKeptError
    from sweeprig.judge.wiggle import wiggle_of

    task = FAR_END if asked.far_end else TASK
    setup = asked.setup(seconds=asked.seconds, starts=Starts.ANYWHERE, task=task)
    marks, late = within(parse_marks(asked.marks), asked.seconds)
    if late:
        console.warn(late)
    if not asked.at_idle:
        console.say(REST_HALF_WAY)
    if asked.at_idle:
        check_idle(setup, asking(asked.confirm))
    order = asked.order(setup)
    report_recovered(ready_folder(order.folder))

    def once() -> SweepDone:
        config = settings()[0]
        simulated = (asked.port or config.port).startswith(SIMULATED)
        face_here = wiggle_face(asked.seconds, bell=config.bell, simulated=simulated)
        try:
            with (
                asked.session(setup) as s,
                page.wiggle(face_here, asked.seconds, title_of(s), simulated=is_simulated(s)) as face,
            ):
                capture, path = run_wiggle(s, face, folder=order.folder, marks=marks)
        except CaptureNotKeptError as lost:
            return finish_unkept(lost, order)
        page.wait("DONE", "The verdict follows.")
        console.progress(JUDGING)
        return finish(capture, path, order)

    with beside(asked) as page:
        done = rounds(page, once, lambda done: _show(done, wiggle_of(done.outcome), as_json=asked.as_json))
    raise typer.Exit(status_of(done))


def _show(done: SweepDone, found: Wiggled, *, as_json: bool) -> None:
    from sweeprig.bench.review.result import to_result
    from sweeprig.bench.wiggle.text import wiggle_json

    outcome = done.outcome
    if as_json:
        console.show_json({**to_result(outcome), "wiggle": wiggle_json(found), **files_of(done)})
    else:
        _show_lines(done, found)
    say_files(done)


def _show_lines(done: SweepDone, found: Wiggled) -> None:
    from sweeprig.bench.wiggle.text import summary_lines

    capture = done.outcome.capture
    lines = summary_lines(found, capture.ended if capture else "complete")
    console.show(strong(lines[0]))
    for text in lines[1:]:
        console.show(folded(text, "    "))
    for f in done.outcome.judgement.findings:
        console.show("")
        console.show(folded(f"  {f.code}, cause {f.cause}: {f.evidence}", "    "))
        console.show(folded(f"    next: {f.next_step}", "          "))


def add_to(app: typer.Typer) -> None:
    """Add the commands of this module."""
    app.command()(wiggle)
