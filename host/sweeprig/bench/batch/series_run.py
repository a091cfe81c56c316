"""One sweep of a series with a rig: the capture runs, the trigger cuts it, and the outcome is an entry."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager, suppress
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Protocol

from sweeprig.bench.batch.batch import entry_of
from sweeprig.bench.batch.series import Batch, Entry
from sweeprig.bench.hookup.cautions import Ask
from sweeprig.bench.readings.coach import Coach
from sweeprig.bench.readings.live import Chunk
from sweeprig.bench.session import Books, Session, session
from sweeprig.bench.sweep.pace import plan_sweep
from sweeprig.bench.sweep.sweep import SweepDone, SweepOrder, finish
from sweeprig.bench.sweep.trigger import Phase, Trigger
from sweeprig.capture.folder import ready_folder
from sweeprig.capture.locks import remove
from sweeprig.capture.model import Capture
from sweeprig.errors import LinkError, SweeprigError
from sweeprig.link.client import RigClient

# what the buzzer sounds [ms]; the terminal's bell sounds as often: told apart without looking
SOUNDS = {"pass": (80,), "fail": (500, 500, 500), "undecided": (200, 200)}


class Desk(Protocol):
    """Where a series is worked: who says which sensor is next and sees what comes of it."""

    def wait(self, batch: Batch) -> bool:
        """Wait for the next sensor; False where the series is to end."""

    def running(self) -> AbstractContextManager[Callable[[], bool]]:
        """Give what says, while one sensor is swept, that it is to stop."""

    def look(self, batch: Batch, trigger: Trigger) -> None:
        """Show how the running sweep stands."""

    def refused(self, error: SweeprigError) -> None:
        """Show what kept one sensor from being swept."""

    def result(self, batch: Batch, done: SweepDone | None) -> None:
        """Show what came of one sensor; None: the lever did not move."""


def run_series(
    client: RigClient, order: SweepOrder, batch: Batch, desk: Desk, *, ask: Ask, books: Books
) -> None:
    """Sweep sensors until the desk or Ctrl-C ends it; what goes wrong with one is said, a lost rig ends it."""
    with suppress(KeyboardInterrupt):
        while desk.wait(batch):
            try:
                with desk.running() as stop:
                    done = sweep_one(
                        client,
                        order,
                        batch,
                        on_look=partial(desk.look, batch),
                        stop=stop,
                        ask=ask,
                        books=books,
                    )
            except LinkError:
                raise
            except SweeprigError as error:
                desk.refused(error)
            else:
                desk.result(batch, done)


def sweep_one(
    client: RigClient,
    order: SweepOrder,
    batch: Batch,
    *,
    on_look: Callable[[Trigger], None],
    stop: Callable[[], bool],
    ask: Ask | None = None,
    books: Books | None = None,
) -> SweepDone | None:
    """Sweep the sensor on the bench; None where it was stopped before the lever moved.

    The supply is on only during the sweep, so that sensors are changed without it. Raises SafetyError, LinkError.
    """
    order = replace(order, setup=replace(order.setup, serial=batch.serial), batch=batch.name)
    ready_folder(order.folder)
    with session(client, order.setup, trims=order.trims, ask=ask, books=books) as s:
        if stop():
            return None
        capture, trigger = _capture(s, order.folder, on_look=on_look, stop=stop)
        if not trigger.start_s and not s.power.overloaded:
            remove(Path(capture.journal))
            return None
        capture, path = s.keep(capture, order.folder)
    done = finish(capture, path, order)
    batch.add(entry_of_done(done, batch, trigger))
    return done


def entry_of_done(done: SweepDone, batch: Batch, trigger: Trigger) -> Entry:
    """Return the entry of a finished sweep."""
    return entry_of(
        done.outcome,
        serial=batch.serial,
        attempt=batch.attempt,
        ended=trigger.ended or "stopped",
        capture_file=str(done.capture_file),
    )


def _capture(
    s: Session, folder: Path, *, on_look: Callable[[Trigger], None], stop: Callable[[], bool]
) -> tuple[Capture, Trigger]:
    hookup = str(s.setup.hookup)
    plan = plan_sweep(s.profile, shortest_dropout_s=s.volts.front_end.shortest_dropout_s(hookup))
    trigger, coach = Trigger(s.profile, plan), Coach(s.profile, needed=plan.strokes)

    def follow(chunk: Chunk) -> None:
        if chunk.trace is not None:
            coach.feed(chunk.trace)
            trigger.feed(chunk.trace)
        on_look(trigger)

    capture = s.record(
        folder,
        on_look=follow,
        stop=lambda: trigger.phase is Phase.OVER or stop(),
        coaching=lambda: coach.done,
        endless=True,
    )
    if trigger.phase is Phase.OVER:
        capture = replace(capture, ended="complete")
    return cut_to(capture, trigger.keep_from_s), trigger


def cut_to(capture: Capture, from_s: float) -> Capture:
    """Return the capture from a time [s] on; what came before, with its snapshots and gaps, is left out."""
    first = max(0, int(from_s / capture.window_s))
    records = capture.records[capture.records.index >= first]
    seconds = (records.index[-1] - records.index[0] + 1) * capture.window_s if len(records) else 0.0
    return replace(
        capture,
        records=records,
        first_index=max(first, capture.first_index),
        setup=replace(capture.setup, seconds=round(float(seconds), 3)),
        gaps=tuple(g for g in capture.gaps if g.index >= first),
        snapshots=tuple(s for s in capture.snapshots if s.index >= first),
        slow=tuple(s for s in capture.slow if s.index >= first),
        marks=tuple(m for m in capture.marks if m.index >= first),
    )
