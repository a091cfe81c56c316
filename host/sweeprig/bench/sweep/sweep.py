"""One timed sweep from the operator's order to the sheet and the record."""

from __future__ import annotations

import shlex
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from sweeprig.bench.hookup.cautions import Ask
from sweeprig.bench.readings.coach import Advice, Coach
from sweeprig.bench.readings.live import Chunk
from sweeprig.bench.review.review import Choices, review_capture
from sweeprig.bench.session import Books, session
from sweeprig.capture.folder import ready_folder
from sweeprig.capture.model import Capture, Starts, SweepSetup
from sweeprig.capture.sweep import Progress
from sweeprig.errors import RecordsError
from sweeprig.judge.outcome import Outcome
from sweeprig.link.client import RigClient


@dataclass(frozen=True)
class SweepOrder:
    """What the operator asked for."""

    setup: SweepSetup
    folder: Path
    trims: Path
    choices: Choices = field(default_factory=Choices)
    sheet: str = "html"  # html | pdf | both | none
    records_url: str | None = None  # None keeps no record
    batch: str = ""  # of a series


@dataclass(frozen=True)
class SweepDone:
    """What came of it."""

    outcome: Outcome
    capture_file: Path
    sheets: tuple[Path, ...]
    record: int | None = None
    record_problem: str = ""  # why no record could be kept


def take(
    client: RigClient,
    order: SweepOrder,
    *,
    progress: Callable[[Progress], None],
    stop: Callable[[], bool],
    ask: Ask | None = None,
    books: Books | None = None,
    before: Callable[[], None] = lambda: None,
    advise: Callable[[Advice], None] = lambda _: None,
) -> tuple[Capture, Path]:
    """Capture a sweep into a file; the journal is on disk before the analysis begins.

    `before` runs when the sensor is fed, just before the capture. `advise` gets the coaching of a sweep that starts
    at closed throttle; what was done stands in the capture. Raises SafetyError where the hookup or the interlock
    refuses and, with the capture kept, where the supply is overloaded once the lever moves; LinkError;
    KeyboardInterrupt where `stop` says so before the capture begins.
    """
    ready_folder(order.folder)
    with session(client, order.setup, trims=order.trims, ask=ask, books=books) as s:
        before()
        coach = Coach(s.profile) if s.setup.starts == Starts.CLOSED else None

        def coached(chunk: Chunk) -> None:
            if coach is not None and chunk.trace is not None:
                advise(coach.feed(chunk.trace))

        done = (lambda: coach.done) if coach is not None else tuple
        capture = s.record(order.folder, on_look=coached, stop=stop, progress=progress, coaching=done)
        return s.keep(capture, order.folder)


def write_sheets(outcome: Outcome, capture_file: Path, kind: str) -> tuple[Path, ...]:
    """Write the sheet beside the capture; return what was written."""
    from sweeprig.bench.review.sheets import write_files

    kinds = {"none": (), "both": ("html", "pdf")}.get(kind, (kind,))
    return write_files(outcome, capture_file, kinds)


def finish(capture: Capture, path: Path, order: SweepOrder) -> SweepDone:
    """Analyse, judge, write the sheet, keep the record."""
    outcome = review_capture(capture, order.choices)
    sheets = write_sheets(outcome, path, order.sheet)
    record, problem = keep_record(outcome, path, order)
    return SweepDone(outcome, path, sheets, record, problem)


def keep_record(outcome: Outcome, path: Path, order: SweepOrder) -> tuple[int | None, str]:
    """Return the record's number and "", or None and why there is none: the verdict is shown all the same."""
    if order.records_url is None:
        return None, ""
    from sweeprig.records.store import open_store

    try:
        with open_store(order.records_url) as store:
            return store.add(outcome, path, batch=order.batch), ""
    except RecordsError as exc:
        return None, f"NO RECORD WAS KEPT. {exc} Later: sweeprig records add {shlex.quote(str(path))}"
