"""One sweep from the operator's order to the sheet and the database record."""

from __future__ import annotations

import shlex
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, cast

from sweeprig.bench.face import Face
from sweeprig.bench.hookup.cautions import Ask
from sweeprig.bench.review.choices import Choices
from sweeprig.bench.session import Books, Session, session
from sweeprig.bench.shop.captures import keep
from sweeprig.bench.sweep.pace import SweepPlan
from sweeprig.bench.sweep.prompts import SweepState
from sweeprig.bench.sweep.run import plan_of, record_guided
from sweeprig.capture.folder import ready_folder
from sweeprig.capture.model import Capture, SweepSetup
from sweeprig.errors import CaptureNotKeptError, ExportError, RecordsError
from sweeprig.link.client import RigClient

if TYPE_CHECKING:
    from sweeprig.judge.outcome import Outcome


@dataclass(frozen=True)
class SweepOrder:
    """What the operator asked for."""

    setup: SweepSetup
    folder: Path
    calibrations: Path
    choices: Choices = field(default_factory=Choices)
    sheet: str = "html"  # html | pdf | both | none
    records_url: str | None = None  # None keeps no record
    batch: str = ""  # of a series
    timed: bool = False  # a capture of exactly `setup.seconds`; else the strokes end it
    strokes: int | None = None  # that end it; None: the profile's
    records_captures: str = ""  # where a copy of the capture is kept too


@dataclass(frozen=True)
class SweepDone:
    """What came of it."""

    outcome: Outcome
    capture_file: Path | None  # None: no file holds it
    sheets: tuple[Path, ...]
    record: int | None = None
    problem: str = ""  # what could not be saved, why, and what to do
    journal: Path | None = None  # what the disk has of a capture that no file holds
    not_saved: tuple[str, ...] = ()  # of capture, sheet, record: those that were wanted and are not there

    @property
    def is_filed(self) -> bool:
        """Whether the capture and the sheets that were wanted are in files; a record can be added later."""
        return not {"capture", "sheet"} & set(self.not_saved)


Watch = Callable[[Session, SweepPlan], AbstractContextManager[Face[SweepState]]]
"""Gives who watches one sweep, once the rig is ready and it is known what will be asked for."""


def take(
    client: RigClient,
    order: SweepOrder,
    *,
    watch: Watch,
    ask: Ask | None = None,
    books: Books | None = None,
    before: Callable[[], None] = lambda: None,
) -> tuple[Capture, Path]:
    """Capture a sweep into a file; the journal is on disk before the analysis begins.

    `before` runs when the sensor is powered, just before the capture; what was done is in the capture.
    Raises SafetyError where the hookup or the interlock refuses and, with the capture kept, where the supply is
    overloaded once the lever moves; LinkError; KeyboardInterrupt where it is ended before it begins.
    """
    ready_folder(order.folder)
    with session(client, order.setup, calibrations=order.calibrations, ask=ask, books=books) as s:
        plan = plan_of(s, seconds=order.setup.seconds if order.timed else None, strokes=order.strokes)
        if plan.too_short and ask is not None:
            ask.say(plan.too_short)
        before()
        with watch(s, plan) as face:
            capture, _ = record_guided(s, order.folder, plan, face)
        if capture is None:
            raise KeyboardInterrupt
        return s.keep(capture, order.folder)


def write_sheets(outcome: Outcome, capture_file: Path, kind: str) -> tuple[Path, ...]:
    """Write the sheet beside the capture; return what was written."""
    from sweeprig.bench.review.sheets import write_files

    return write_files(outcome, capture_file, _kinds(kind))


def sheet_paths(capture_file: Path, kind: str) -> tuple[Path, ...]:
    """Return what write_sheets writes."""
    from sweeprig.bench.review.sheets import target_of

    return tuple(target_of(capture_file, one, None) for one in _kinds(kind))


def _kinds(kind: str) -> tuple[str, ...]:
    return {"none": (), "both": ("html", "pdf")}.get(kind, (kind,))


def finish_unkept(lost: CaptureNotKeptError, order: SweepOrder) -> SweepDone:
    """Analyse and judge a capture that is in memory alone; without a capture file there is no sheet and no record."""
    from sweeprig.bench.review.review import review_capture

    outcome = review_capture(cast(Capture, lost.capture), order.choices)
    journal = Path(lost.journal) if lost.journal else None
    return SweepDone(
        outcome,
        None,
        (),
        problem=f"NOTHING WAS KEPT{' BUT THE JOURNAL' if journal else ''}. {lost}",
        journal=journal,
        not_saved=_missing(
            capture=True, sheet=bool(_kinds(order.sheet)), record=order.records_url is not None
        ),
    )


def finish(capture: Capture, path: Path, order: SweepOrder) -> SweepDone:
    """Analyse, judge, write the sheet, keep the record."""
    from sweeprig.bench.review.review import review_capture

    outcome = review_capture(capture, order.choices)
    sheets, unwritten = _sheets_of(outcome, path, order.sheet)
    record, problem = keep_record(outcome, path, order)
    lost = _missing(sheet=bool(unwritten), record=bool(problem) and record is None)
    told = " ".join(t for t in (unwritten, problem) if t)
    return SweepDone(outcome, path, sheets, record, told, not_saved=lost)


def _ended(exc: Exception) -> str:
    """Return an error's text as a sentence, for a text that goes on behind it."""
    return f"{str(exc).rstrip('.')}."


def _missing(**parts: bool) -> tuple[str, ...]:
    return tuple(name for name, is_missing in parts.items() if is_missing)


def _sheets_of(outcome: Outcome, path: Path, kind: str) -> tuple[tuple[Path, ...], str]:
    """Return the sheets written and "", or () and the reason: an unwritten sheet must not hide the verdict."""
    try:
        return write_sheets(outcome, path, kind), ""
    except ExportError as exc:
        return (), f"NO SHEET WAS WRITTEN. {_ended(exc)} Later: sweeprig sheet {shlex.quote(str(path))}"


def keep_record(outcome: Outcome, path: Path, order: SweepOrder) -> tuple[int | None, str]:
    """Return the record's number and "", or None and the reason: a lost record must not hide the verdict."""
    if order.records_url is None:
        return None, ""
    from sweeprig.records.store import open_store

    later = f"Later: sweeprig records add {shlex.quote(str(path))}"
    later += f" --batch {shlex.quote(order.batch)}" if order.batch else ""
    try:
        with open_store(order.records_url) as store:
            number = store.add(outcome, path, batch=order.batch)
            return number, keep(store, path, order.records_captures)
    except RecordsError as exc:
        return None, f"NO RECORD IS SAVED. {_ended(exc)} {later}"
    except KeyboardInterrupt:  # of an operator who waits for the records, not for the sweep
        return None, f"NO RECORD IS SAVED. Ctrl-C was pressed while they were waited for. {later}"
    except Exception as exc:  # noqa: BLE001 - whatever a database does, the verdict is shown
        return None, f"NO RECORD IS SAVED. {type(exc).__name__}: {exc!s:.200}. {later}"
