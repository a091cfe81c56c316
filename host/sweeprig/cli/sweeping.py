"""A sweep at the terminal: confirmed, counted down, shown while it runs; the outcome printed."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import typer

from sweeprig.cli.asking import asking, books
from sweeprig.cli.console import EXIT_OF_VERDICT, console
from sweeprig.cli.views.face import Stop, stop_on_interrupt

if TYPE_CHECKING:
    from pathlib import Path

    from sweeprig.bench.readings.coach import Advice
    from sweeprig.bench.sweep.sweep import SweepDone, SweepOrder
    from sweeprig.capture.model import Capture
    from sweeprig.capture.sweep import Progress
    from sweeprig.judge.outcome import Outcome
    from sweeprig.link.client import RigClient


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
                before=lambda: count_down(countdown, client.rest, stop),
                advise=advise,
            )
        except BoardSilentError:
            if stop():  # before the first record: the board had no time to send one
                raise KeyboardInterrupt from None
            raise
    console.end_progress()
    return taken


def count_down(seconds: int, sleep: Callable[[float], None], stop: Stop) -> None:
    """Give the operator time to take the lever. `sleep` is the rig's: without a word it would end the supply."""
    for left in range(seconds, 0, -1):
        if stop():
            break
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


def show_done(done: SweepDone, *, as_json: bool, budget: bool, monte_carlo: bool = False) -> None:
    """Print the outcome and the files; leave with the verdict's status."""
    sheet = str(done.sheets[0]) if done.sheets else None
    files = {"capture_file": str(done.capture_file), "sheet_file": sheet}
    show_outcome(done.outcome, as_json=as_json, budget=budget, files=files, monte_carlo=monte_carlo)
    say_files(done)
    raise typer.Exit(EXIT_OF_VERDICT[done.outcome.judgement.verdict])


def say_files(done: SweepDone) -> None:
    """Name what was written, and warn of the record that could not be kept."""
    if done.record_problem:
        console.warn(done.record_problem)
    console.say()
    console.say(f"Capture: {done.capture_file}")
    for path in done.sheets:
        console.say(f"Sheet:   {path}")
