"""A motor-driven sweep at the terminal: a line for each leg, the angle while it runs; Ctrl-C switches the motor off."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from sweeprig.cli.asking import asking, books
from sweeprig.cli.console import console
from sweeprig.cli.sounds import sound_verdict
from sweeprig.cli.sweeping import NOTHING_SAVED
from sweeprig.cli.views.face import Stop, stop_on_interrupt
from sweeprig.cli.views.screen import read_keys, single_keys
from sweeprig.cli.views.sweep_face import JUDGING

if TYPE_CHECKING:
    from sweeprig.bench.drive.course import Doing, DriveState
    from sweeprig.bench.face import Face
    from sweeprig.bench.sweep.sweep import SweepDone, SweepOrder
    from sweeprig.cli.web_page import Page
    from sweeprig.link.client import RigClient

HANDS_OFF = "HANDS OFF: the motor moves the lever. q or Ctrl-C lets it go."


class DriveFace:
    """Prints a line for each leg, and the angle over it on a terminal."""

    def __init__(self, stop: Stop) -> None:
        self.ended = stop
        self.pressed = read_keys
        self._said: tuple[Doing, int] | None = None

    def show(self, state: DriveState) -> None:
        """Show the latest state."""
        new = (state.doing, state.stroke)
        if new != self._said:
            self._said = new
            console.end_progress()
            console.say(leg_line(state))
        console.progress(angle_line(state))


def leg_line(state: DriveState) -> str:
    """Return the line of a leg."""
    return f"{state.doing}, stroke {state.stroke} of {state.strokes}" if state.stroke else str(state.doing)


def angle_line(state: DriveState) -> str:
    """Return the lever's place in one line."""
    of = "" if state.travel_deg is None else f" of {state.travel_deg:.1f}"
    return f"{leg_line(state)}: {state.angle_deg:z.1f}{of} degrees"


@contextmanager
def drive_face(stop: Stop) -> Iterator[Face[DriveState]]:
    """Watch a driven sweep at the terminal."""
    with single_keys():
        console.say(HANDS_OFF)
        try:
            yield DriveFace(stop)
        finally:
            console.end_progress()


def drive_sweep(
    client: RigClient,
    order: SweepOrder,
    *,
    travel_deg: float | None,
    confirm: list[str] | None,
    bell: bool,
    page: Page,
) -> SweepDone:
    """Let the motor make a sweep, then finish it. Ctrl-C switches the motor off and keeps the strokes made."""
    from sweeprig.bench.drive.sweep import take_driven
    from sweeprig.bench.review.card import against_angle
    from sweeprig.bench.sweep.sweep import finish, finish_unkept
    from sweeprig.errors import CaptureNotKeptError

    page.wait("HANDS OFF", "The motor moves the lever.", title=order.setup.sensor_label)
    with stop_on_interrupt() as stop:
        try:
            capture, path = take_driven(
                client,
                order,
                watch=lambda s: drive_face(stop),
                travel_deg=travel_deg,
                ask=asking(confirm),
                books=books(),
            )
        except CaptureNotKeptError as lost:
            return finish_unkept(lost, order)
        except KeyboardInterrupt:
            raise KeyboardInterrupt(NOTHING_SAVED) from None
    if capture.ended != "complete":
        console.say(f"The sweep ended early ({capture.ended}); the data is kept in {path}.")
    page.wait("DONE", "The verdict follows.", title=order.setup.sensor_label)
    console.progress(JUDGING)
    done = finish(capture, path, order)
    words = against_angle(done.outcome)
    if words:
        console.say(f"{words[:1].upper()}{words[1:]}.")
    if bell:
        sound_verdict(client, done.outcome.judgement.verdict)
    return done
