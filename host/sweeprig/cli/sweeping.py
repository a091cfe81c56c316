"""A sweep at the terminal: confirmed, shown while it runs; the card printed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from sweeprig.cli.asking import asking, books
from sweeprig.cli.console import EXIT_OF_VERDICT, colour_wanted, console
from sweeprig.cli.sounds import sound_verdict
from sweeprig.cli.views.face import Stop, stop_on_interrupt
from sweeprig.cli.views.sweep_face import JUDGING, sweep_face
from sweeprig.cli.web_page import ALONE, Page

if TYPE_CHECKING:
    from pathlib import Path

    from sweeprig.bench.session import Session
    from sweeprig.bench.sweep.sweep import SweepDone, SweepOrder
    from sweeprig.capture.model import Capture
    from sweeprig.judge.outcome import Outcome
    from sweeprig.link.client import RigClient


NOTHING_SAVED = "nothing was saved"
finished: list[SweepDone] = []  # sweeps that were printed by this process: the guide goes on from the last


def take_sweep(
    client: RigClient,
    order: SweepOrder,
    *,
    confirm: list[str] | None = None,
    countdown: int = 0,
    must_complete: bool = False,
    bell: bool = True,
    page: Page = ALONE,
) -> SweepDone:
    """Make the hookup ready, capture with the screen of a sweep, then finish.

    A timed sweep is counted down. Ctrl-C keeps and judges what was recorded. Raises KeyboardInterrupt where that is
    nothing, and with `must_complete` always. `bell` sounds steps and verdict. Where no file can be written the
    verdict is made from memory.
    """
    from sweeprig.bench.sweep.sweep import finish, finish_unkept
    from sweeprig.errors import CaptureNotKeptError

    try:
        capture, path = _take(client, order, confirm, countdown if order.timed else 0, bell, page)
    except CaptureNotKeptError as lost:
        return finish_unkept(lost, order)
    if capture.ended != "complete":
        console.say(f"The capture ended early ({capture.ended}); the data is kept in {path}.")
    if must_complete and capture.ended == "stopped":
        raise KeyboardInterrupt
    page.wait("DONE", "The verdict follows.", title=capture.setup.sensor_label)
    console.progress(JUDGING)
    done = finish(capture, path, order)
    if bell:
        sound_verdict(client, done.outcome.judgement.verdict)
    return done


def _take(
    client: RigClient, order: SweepOrder, confirm: list[str] | None, countdown: int, bell: bool, page: Page
) -> tuple[Capture, Path]:
    from sweeprig.bench.sweep.sweep import take
    from sweeprig.errors import BoardSilentError

    with stop_on_interrupt() as stop:
        try:
            return take(
                client,
                order,
                watch=lambda s, _plan: page.sweep(
                    sweep_face(stop, title_of(s), bell=bell), title_of(s), simulated=is_simulated(s)
                ),
                ask=asking(confirm),
                books=books(),
                before=lambda: count_down(countdown, client.rest, stop),
            )
        except KeyboardInterrupt:
            raise KeyboardInterrupt(NOTHING_SAVED) from None
        except BoardSilentError:
            if stop():  # before the first record: the board had no time to send one
                raise KeyboardInterrupt(NOTHING_SAVED) from None
            raise


def title_of(s: Session) -> str:
    """Return the title on the screen of a sweep."""
    named = s.setup.sensor_label or s.setup.serial
    simulated = "SIMULATED, " if is_simulated(s) else ""
    return f"{simulated}{named or s.profile.name}, {s.setup.hookup}"


def is_simulated(s: Session) -> bool:
    """Return whether the sensor is a simulated one."""
    return bool(s.client.hello().get("simulated"))


def count_down(seconds: int, sleep: Callable[[float], None], stop: Stop) -> None:
    """Give the operator time to take the lever. `sleep` is the client's `rest`: it keeps the rig's supply on."""
    for left in range(seconds, 0, -1):
        if stop():
            break
        console.progress(f"Lever at the start position. Sweep begins in {left} ...")
        sleep(1.0)
    console.end_progress()


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


def show_card(
    outcome: Outcome,
    *,
    record: int | None = None,
    sheet: Path | None = None,
    hand_over: str = "",
    not_saved: Sequence[str] = (),
    capture: str = "",
) -> None:
    """Print the card: the verdict is last. `hand_over`: the next step after a pass where there is no sheet.

    `capture`: how a next step names it where it has no record.
    """
    import shlex
    import shutil

    from sweeprig.bench.review.card import card_of
    from sweeprig.cli.views.card import card_lines

    width = shutil.get_terminal_size((80, 24)).columns
    named = shlex.quote(capture) if capture else ""  # "": nothing was saved
    card = card_of(outcome, hand_over, capture=named if record is None else str(record))
    named_sheet = console.named(sheet) if sheet else ""
    for line in card_lines(
        card, width, record=record, sheet=named_sheet, not_saved=not_saved, colour=colour_wanted()
    ):
        console.show(line)


def print_done(
    done: SweepDone, *, as_json: bool, full: bool = False, budget: bool = False, monte_carlo: bool = False
) -> None:
    """Print the card, with `full` all numbers before it, and the files."""
    finished.append(done)
    if as_json or full or budget or monte_carlo:
        files = files_of(done)
        show_outcome(done.outcome, as_json=as_json, budget=budget, files=files, monte_carlo=monte_carlo)
    say_files(done, sheets=done.sheets if as_json else done.sheets[1:])
    if not as_json:
        console.show("")
        show_card(
            done.outcome,
            record=done.record,
            sheet=done.sheets[0] if done.sheets else None,
            hand_over=without_sheet(done),
            not_saved=done.not_saved,
            capture=str(done.capture_file or ""),
        )


def files_of(done: SweepDone) -> dict[str, Any]:
    """Return what JSON says of the files of a sweep; only what is there is named."""
    paths = (done.capture_file, done.sheets[0] if done.sheets else None, done.journal)
    keys = ("capture_file", "sheet_file", "journal_file")
    named = {key: str(path) if path else None for key, path in zip(keys, paths, strict=True)}
    return {**named, "not_saved": list(done.not_saved), "problem": done.problem}


def status_of(done: SweepDone) -> int:
    """Return the exit status: the verdict's, but 4 where the capture or its sheet could not be written."""
    from sweeprig.errors import FileError

    if not done.is_filed:
        return FileError.exit_code
    return EXIT_OF_VERDICT[done.outcome.judgement.verdict]


def without_sheet(done: SweepDone) -> str:
    """Return the next step after a pass where no sheet has the numbers for the controller; "" where one has."""
    if done.sheets:
        return ""
    if done.capture_file is not None:
        return numbers_by(str(done.capture_file))
    again = "recover the journal or sweep again" if done.journal else "sweep again"
    return f"Free some space, then {again}, to have a sheet."


def numbers_by(file: str) -> str:
    """Return how to have the numbers for the controller of a capture."""
    import shlex

    return f"For the numbers for the controller: sweeprig sheet {shlex.quote(file)}"


def say_files(done: SweepDone, *, sheets: Sequence[Path] | None = None) -> None:
    """Name what was written, and warn of the record that could not be kept."""
    if done.problem:
        console.warn(done.problem)
    console.say()
    if done.capture_file is not None:
        console.say(f"Capture: {console.named(done.capture_file)}")
    if done.journal is not None:
        console.say(f"Journal: {console.named(done.journal)}")
    for path in done.sheets if sheets is None else sheets:
        console.say(f"Sheet:   {console.named(path)}")
