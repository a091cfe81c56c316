"""One timed sweep from the operator's order to the sheet and the record."""

from __future__ import annotations

import re
import shlex
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path

from sweeprig.bench.hookup.cautions import Ask, JobBook, Unattended
from sweeprig.bench.hookup.lead_book import LeadBook
from sweeprig.bench.hookup.power_watch import PowerWatch, power_watch
from sweeprig.bench.hookup.prepare import SLOW_EVERY_MS, prepare_hookup, switch_off
from sweeprig.bench.readings import live
from sweeprig.bench.readings.coach import Advice
from sweeprig.bench.review.review import Choices, review_capture
from sweeprig.bench.sweep.live_coach import LiveCoach
from sweeprig.capture.file import write_capture
from sweeprig.capture.model import Capture, Starts, SweepSetup
from sweeprig.capture.sweep import Progress, run_sweep
from sweeprig.errors import FileError, RecordsError
from sweeprig.judge.outcome import Outcome
from sweeprig.judge.profile import load_profile
from sweeprig.link.client import RigClient
from sweeprig.link.messages import Message
from sweeprig.trim.model import Trim
from sweeprig.trim.nominal import nominal_trim
from sweeprig.trim.store import load_trim, trim_to_dict

SNAPSHOT_SPREAD = 150  # codes inside one window, or from one to the next: 0.2 V; a fast hand makes 50
MOST_STEM = 60  # characters of a label in the name of a file: file systems take 255 bytes, encrypted ones 143


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


def file_stem(setup: SweepSetup, when: datetime) -> str:
    """Return a name for the files of one sweep: the sensor's label and the time."""
    label = re.sub(r"[^A-Za-z0-9]+", "-", setup.sensor_label or setup.serial or "sweep").strip("-").lower()
    return f"{label[:MOST_STEM].rstrip('-') or 'sweep'}-{when:%Y%m%d-%H%M%S}"


def free_path(folder: Path, stem: str, suffix: str) -> Path:
    """Return a path in `folder` that no file has yet."""
    path = folder / f"{stem}{suffix}"
    number = 2
    while path.exists():
        path = folder / f"{stem}-{number}{suffix}"
        number += 1
    return path


def trim_for(client: RigClient, trims: Path) -> Trim:
    """Return the stored trim of this rig, or the nominal one of its build."""
    rig = client.hello()
    return load_trim(str(rig["uid"]), folder=trims) or nominal_trim(rig)


def ready_folder(folder: Path) -> Path:
    """Make a folder for captures and try to write into it, before anything is switched on. Raises FileError."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError as exc:
        raise FileError(
            f"Captures cannot be written into {folder}.",
            seen=exc.strerror or str(exc),
            limit="a folder that this user may write into",
            next_step="choose another one with --out, or with `sweeprig config set captures FOLDER`",
        ) from exc
    return folder


def look_closely(client: RigClient) -> None:
    """Ask for conversions around sudden changes and for the slow readings, where the rig has them."""
    if live.has(client, "snapshots"):
        live.switch(client, "snapshots", spread=SNAPSHOT_SPREAD, jump=SNAPSHOT_SPREAD)
    if live.has(client, "monitor"):
        live.switch(client, "slow", every_ms=SLOW_EVERY_MS)


def take(
    client: RigClient,
    order: SweepOrder,
    *,
    progress: Callable[[Progress], None],
    stop: Callable[[], bool],
    ask: Ask | None = None,
    books: tuple[JobBook, LeadBook] | None = None,
    before: Callable[[], None] = lambda: None,
    advise: Callable[[Advice], None] = lambda _: None,
) -> tuple[Capture, Path]:
    """Capture a sweep into a file; the journal is on disk before the analysis begins.

    The hookup is made ready first: `ask` confirms what a job has not confirmed yet (None: only what
    `setup.confirmed` says counts). `before` runs when the sensor is fed, just before the capture. `advise` gets the
    coaching of a sweep that starts at closed throttle; what was done stands in the capture.
    Raises SafetyError where the hookup or the interlock refuses and, with the capture kept, where the supply is
    overloaded once the lever moves; LinkError; KeyboardInterrupt where `stop` says so before the capture begins.
    """
    ready_folder(order.folder)
    trim = trim_for(client, order.trims)
    jobs, leads = books if books is not None else (None, None)
    setup = prepare_hookup(
        client,
        order.setup,
        load_profile(order.setup.profile),
        ask or Unattended(order.setup.confirmed),
        trim=trim,
        book=jobs,
        leads=leads,
    )
    power = power_watch(client, setup, trim)
    coach = LiveCoach(client, setup, trim, advise) if setup.starts == Starts.CLOSED else None
    try:
        before()
        if stop():
            raise KeyboardInterrupt
        look_closely(client)
        capture = run_sweep(
            client,
            setup,
            folder=order.folder,
            progress=progress,
            stop=lambda: bool(power.overloaded) or stop(),
            on_events=lambda events: _follow(events, power, coach),
        )
    finally:
        switch_off(client)
    done = coach.done if coach else ()
    capture = replace(capture, trim=trim_to_dict(trim), coaching=done, setup=power.noted(capture.setup))
    path = free_path(order.folder, file_stem(order.setup, datetime.now()), ".sweep")
    capture = write_capture(path, capture)
    power.check(path)
    return capture, path


def _follow(events: list[Message], power: PowerWatch, coach: LiveCoach | None) -> None:
    power.feed(events)
    if coach is not None:
        coach.feed(events)


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
