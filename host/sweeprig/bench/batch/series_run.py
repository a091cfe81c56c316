"""One sweep of a series with a rig: the capture runs, the trigger cuts it, and the outcome is an entry."""

from __future__ import annotations

from contextlib import AbstractContextManager, suppress
from dataclasses import replace
from typing import Protocol

from sweeprig.bench.batch.batch import entry_of
from sweeprig.bench.batch.series import Batch, Entry
from sweeprig.bench.face import Face
from sweeprig.bench.hookup.cautions import Ask
from sweeprig.bench.session import Books, session
from sweeprig.bench.sweep.prompts import SweepState
from sweeprig.bench.sweep.run import plan_of, record_guided
from sweeprig.bench.sweep.sweep import SweepDone, SweepOrder, finish, finish_unkept
from sweeprig.bench.sweep.trigger import Trigger
from sweeprig.capture.folder import ready_folder
from sweeprig.errors import CaptureNotKeptError, LinkError, SweeprigError
from sweeprig.link.client import RigClient


class Desk(Protocol):
    """The screen of a series: the operator names the next sensor there and sees each result."""

    def wait(self, batch: Batch) -> bool:
        """Wait for the next sensor; False where the series is to end."""

    def running(self, batch: Batch) -> AbstractContextManager[Face[SweepState]]:
        """Return the face that watches while one sensor is swept."""

    def refused(self, error: SweeprigError) -> None:
        """Show why one sensor could not be swept."""

    def result(self, batch: Batch, done: SweepDone | None) -> None:
        """Show the result of one sensor; None: the lever did not move."""


def run_series(
    client: RigClient, order: SweepOrder, batch: Batch, desk: Desk, *, ask: Ask, books: Books
) -> bool:
    """Sweep sensors until the desk or Ctrl-C ends it. An error with one sensor is shown; a lost rig ends the series.

    Returns whether captures and sheets of all of them are in files.
    """
    all_saved = True
    with suppress(KeyboardInterrupt):
        while desk.wait(batch):
            try:
                with desk.running(batch) as face:
                    done = sweep_one(client, order, batch, face, ask=ask, books=books)
            except LinkError:
                raise
            except SweeprigError as error:
                desk.refused(error)
            else:
                all_saved = all_saved and (done is None or done.is_filed)
                desk.result(batch, done)
    return all_saved


def sweep_one(
    client: RigClient,
    order: SweepOrder,
    batch: Batch,
    face: Face[SweepState],
    *,
    ask: Ask | None = None,
    books: Books | None = None,
) -> SweepDone | None:
    """Sweep the sensor on the bench; None where it was stopped before the lever moved.

    The supply is on only during the sweep, so that sensors are changed without it. Raises SafetyError, LinkError.
    """
    order = replace(order, setup=replace(order.setup, serial=batch.serial), batch=batch.name)
    ready_folder(order.folder)
    lost: CaptureNotKeptError | None = None
    with session(client, order.setup, calibrations=order.calibrations, ask=ask, books=books) as s:
        if face.ended():
            return None
        capture, prompts = record_guided(
            s, order.folder, plan_of(s, seconds=None, strokes=order.strokes), face
        )
        if capture is None:
            return None
        try:
            capture, path = s.keep(capture, order.folder)
        except CaptureNotKeptError as exc:
            lost = exc
    done = finish(capture, path, order) if lost is None else finish_unkept(lost, order)
    batch.add(entry_of_done(done, batch, prompts.trigger))
    return done


def entry_of_done(done: SweepDone, batch: Batch, trigger: Trigger) -> Entry:
    """Return the entry of a finished sweep."""
    return entry_of(
        done.outcome,
        serial=batch.serial,
        attempt=batch.attempt,
        ended=trigger.ended or "stopped",
        capture_file=str(done.capture_file or ""),
    )
