"""Fetches the sweeps that a board has kept: verifies, writes and judges each; removes it only when it is safe here."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from sweepboard import flash_page
from sweeprig.bench.field.kept import Kept, capture_of, found_at, read_pages
from sweeprig.bench.field.order import FieldOrder, read_order
from sweeprig.bench.field.send import REPLY_S, check_can_keep
from sweeprig.bench.review.choices import versions
from sweeprig.bench.session import calibration_for
from sweeprig.bench.sweep.sweep import SweepDone, SweepOrder, finish, sheet_paths
from sweeprig.calibration.store import calibration_to_dict
from sweeprig.capture.file import read_capture, write_capture
from sweeprig.capture.folder import file_stem, local_now, ready_folder
from sweeprig.capture.model import Capture
from sweeprig.errors import (
    BoardRefusedError,
    BoardSilentError,
    CaptureFileError,
    LinkError,
    PortLostError,
    ProfileError,
    RecordsError,
)
from sweeprig.judge.profile import load_profile
from sweeprig.link.client import RigClient
from sweeprig.link.messages import Kept as KeptPages

TRIES = 3  # at pages that did not come
MOST_POLLS = 100  # with something else in them
GO_ON = "plug the rig in and collect again: nothing is lost on the board, nothing is written here twice"


@dataclass(frozen=True)
class Listed:
    """One kept sweep as the board lists it, not fetched yet."""

    number: int
    n_pages: int
    word: str  # how it ended; cut where it has no end
    unwanted: bool


@dataclass(frozen=True)
class OnBoard:
    """What is on a board."""

    state: Mapping[str, Any]
    order: FieldOrder | None
    sweeps: tuple[Listed, ...]


@dataclass(frozen=True)
class Collected:
    """What became of one kept sweep."""

    kept: Kept
    path: Path | None  # of its capture; None where it could not be made
    done: SweepDone | None  # None where it was here already, or was not wanted
    problem: str = ""
    removed: bool = False


def look(client: RigClient) -> OnBoard:
    """Return what is on the board. Raises LinkError, CaptureFileError."""
    check_can_keep(client.hello())
    try:
        state = client.command("kept", timeout_s=REPLY_S)
    except BoardRefusedError as exc:
        if exc.seen != "not-now":
            raise
        return OnBoard({}, None, ())
    order, sweeps = None, []
    for number in state["numbers"]:
        about = client.command("kept_about", timeout_s=REPLY_S, number=number)
        head = _object(about["head"])
        if "order" in head and "sweep" not in head:
            order = _order(str(head["order"])) if number == state["order"] else order
        else:
            word = str(_object(about["end"]).get("word", "cut"))
            sweeps.append(Listed(int(number), int(about["pages"]), word, bool(about["unwanted"])))
    return OnBoard(state, order, tuple(sweeps))


def _object(text: Any) -> dict[str, Any]:
    import json

    try:
        found = json.loads(str(text))
    except ValueError:
        return {}
    return found if isinstance(found, dict) else {}


def _order(text: str) -> FieldOrder:
    try:
        return read_order(text)
    except (ValueError, KeyError, TypeError, AttributeError) as exc:
        raise CaptureFileError(
            "The order on the board is not from this program.",
            seen=f"{type(exc).__name__}: {exc!s:.120}",
            next_step="collect with the version of sweeprig that sent it",
        ) from exc


def fetch(client: RigClient, listed: Listed, progress: Callable[[int, int], None]) -> Kept:
    """Return a kept sweep, verified. Raises CaptureFileError where it is damaged, LinkError."""
    pages: list[bytes] = []
    while len(pages) < listed.n_pages:
        pages += _some_pages(client, listed.number, len(pages))
        progress(len(pages), listed.n_pages)
    return read_pages(listed.number, pages)


def _some_pages(client: RigClient, number: int, first: int) -> tuple[bytes, ...]:
    """Return the pages from `first` on that one message holds, their CRC and place checked."""
    for _ in range(TRIES):
        client.command("kept_pages", timeout_s=REPLY_S, number=number, first=first)
        for _ in range(MOST_POLLS):
            messages = client.poll(REPLY_S / TRIES)
            for message in messages:
                if isinstance(message, KeptPages) and _are(message.pages, number, first):
                    return message.pages
            if not messages:
                break
    raise LinkError(
        "Pages of a kept sweep are missing.",
        seen=f"sweep {number}, page {first}, asked for {TRIES} times",
        next_step="collect again; nothing is lost on the board",
    )


def _are(pages: tuple[bytes, ...], number: int, first: int) -> bool:
    opened = flash_page.opened_page(pages[0])
    return opened is not None and opened[1:3] == (number, first)


def collect(
    client: RigClient,
    base: SweepOrder,
    *,
    remove: bool = False,
    progress: Callable[[str], None] = lambda _: None,
    now: Callable[[], datetime] = local_now,
) -> Iterator[Collected]:
    """Yield each kept sweep once it is on disk and judged; with `remove` it is then deleted on the board.

    `base` says where to write and what to keep. A sweep that is here already is not written or judged again.
    """
    there = look(client)
    if not there.sweeps:
        return
    if there.order is None:
        raise CaptureFileError(
            "The sweeps on the board have no order.",
            seen=f"{len(there.sweeps)} sweeps",
            next_step="collect with the version of sweeprig that sent it",
        )
    ready_folder(base.folder)
    for listed in there.sweeps:
        try:
            one = _one(client, there, listed, base, remove=remove, progress=progress, now=now)
        except (PortLostError, BoardSilentError) as exc:
            raise type(exc)(exc.what, seen=exc.seen, limit=exc.limit, next_step=GO_ON) from exc
        yield one


def _one(
    client: RigClient,
    there: OnBoard,
    listed: Listed,
    base: SweepOrder,
    *,
    remove: bool,
    progress: Callable[[str], None],
    now: Callable[[], datetime],
) -> Collected:
    order = there.order
    assert order is not None
    kept = fetch(client, listed, lambda n, of: progress(f"sweep {listed.number}: {n} of {of} pages"))
    path = path_of(base.folder, order, str(there.state["area"]), listed.number)
    try:
        capture = _capture(client, there, kept, base, now())
    except CaptureFileError as exc:
        return Collected(kept, None, None, str(exc))
    if not _is_here(path, capture):
        path = Path(write_capture(path, capture).path)
    done = None if kept.unwanted or _is_judged(path, base) else _judge(path, base)
    removed = remove and _is_here(path, capture)
    if removed:
        client.command("keep_forget", timeout_s=REPLY_S, number=listed.number)
    return Collected(kept, path, done, removed=removed)


def _judge(path: Path, base: SweepOrder) -> SweepDone:
    """Judge the capture that is safe on disk, as the bench does."""
    capture = read_capture(path)
    return finish(capture, path, replace(base, setup=capture.setup))


def _is_judged(path: Path, base: SweepOrder) -> bool:
    """Return whether it was judged before: the wanted sheets and record are there."""
    sheets = sheet_paths(path, base.sheet)
    if not all(sheet.is_file() for sheet in sheets):
        return False
    return bool(sheets) if base.records_url is None else _has_record(path, base.records_url)


def _has_record(path: Path, records_url: str) -> bool:
    from sweeprig.records.store import open_store

    try:
        with open_store(records_url) as store:
            store.get(read_capture(path).sha256)
    except RecordsError:
        return False
    return True


def path_of(folder: Path, order: FieldOrder, area: str, number: int) -> Path:
    """Return the capture's path: always the same for the same kept sweep, so that collecting twice makes one file."""
    label = order.setup.sensor_label or order.setup.serial or order.setup.job or "sweep"
    return folder / f"{file_stem(label, order.sent)}-kept-{area[:6]}-{number}.sweep"


def _is_here(path: Path, capture: Capture) -> bool:
    """Return whether the file at `path` holds these records, read back whole."""
    import numpy as np

    try:
        stored = read_capture(path)
    except CaptureFileError:
        return False
    pairs = zip(vars(stored.records).values(), vars(capture.records).values(), strict=True)
    return all(np.array_equal(a, b) for a, b in pairs) and len(stored.snapshots) == len(capture.snapshots)


def _capture(client: RigClient, there: OnBoard, kept: Kept, base: SweepOrder, now: datetime) -> Capture:
    order = there.order
    assert order is not None
    when, how = found_at(kept, there.state, now)
    calibration = calibration_to_dict(calibration_for(client, base.calibrations))
    profile = _profile(order)
    return capture_of(
        kept,
        order,
        rig=client.hello(),
        when=when,
        how=how,
        calibration=calibration,
        versions=versions(),
        profile=profile,
    )


def _profile(order: FieldOrder) -> tuple[str, str]:
    """Return text and digest of the order's profile if it has not changed since sending; else empty ones."""
    try:
        profile = load_profile(order.setup.profile)
    except ProfileError:
        return "", ""
    same = profile.sha256 == order.setup.profile_sha256
    return (profile.text, profile.sha256) if same else ("", "")
