"""A timed sweep, and what to do about sweeps that a crash cut off."""

from __future__ import annotations

import shlex
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from sweeprig.capture import file, journal
from sweeprig.capture.assemble import capture_of_journal
from sweeprig.capture.atomic import clear_parts
from sweeprig.capture.folder import free_path, local_now
from sweeprig.capture.kept import kept_as
from sweeprig.capture.live import LiveCapture, start_capture
from sweeprig.capture.locks import let_go, remove, rename
from sweeprig.capture.model import Capture, SweepSetup
from sweeprig.capture.salvage import capture_like, n_whole
from sweeprig.capture.writer import Disk
from sweeprig.errors import CaptureFileError, InputError
from sweeprig.link.client import RigClient
from sweeprig.link.messages import Message

UNUSABLE = ".journal-unusable"
PLACE = "THE-JOURNAL"  # stands for its new name in a reason
_NOTHING = "Next: it holds no data: sweep again."
_BEHIND = (
    "Behind it are {} whole records, kept; the rig, calibration and set-up that they need were in that line."
    f" Next: with a capture of the same rig, build and hookup: sweeprig recover {PLACE} --like CAPTURE.sweep"
)


@dataclass(frozen=True)
class Progress:
    """How far a capture has come."""

    seconds: float  # [s] by the record index
    wanted_s: float  # [s]
    n_records: int
    n_lost: int


def run_sweep(
    client: RigClient,
    setup: SweepSetup,
    *,
    folder: Path,
    progress: Callable[[Progress], None] | None = None,
    stop: Callable[[], bool] | None = None,
    on_messages: Callable[[list[Message]], None] | None = None,
    calibration: Mapping[str, Any] | None = None,
    versions: Mapping[str, str] | None = None,
    clock: Callable[[], float] = time.monotonic,
    now: Callable[[], datetime] = local_now,
    coaching: Callable[[], tuple[str, ...]] = tuple,
    endless: bool = False,
    disk: Disk | None = None,
) -> Capture:
    """Capture `setup.seconds` as the board's record index tells them; the host's clock has no say in it.

    Ctrl-C or `stop` returning True keeps what came (`ended` "stopped"), as does a board that goes away
    ("unplugged") or falls silent ("silent"). The capture's `journal` stays on disk until `write_capture` has
    put it into a file. Raises LinkError where not one record came, CaptureFileError where the journal cannot
    be written. `endless` goes on until it is stopped. `coaching` is asked in the end what was asked for and seen.
    """
    n_windows = None if endless else n_windows_of(setup.seconds, client.window_s)
    live = start_capture(
        client, setup, folder=folder, n_windows=n_windows, calibration=calibration, versions=versions,
        clock=clock, now=now,
        disk=disk,
    )  # fmt: skip
    with live:
        try:
            for messages in live.messages():
                if on_messages is not None:
                    on_messages(messages)
                if progress is not None:
                    progress(_progress(live, setup.seconds))
                if stop is not None and stop():
                    live.stop()
        except KeyboardInterrupt:
            live.stop()
        return live.finish(coaching())


def _progress(live: LiveCapture, wanted_s: float) -> Progress:
    return Progress(live.seconds, wanted_s, live.n_records, live.n_lost)


def n_windows_of(seconds: float, window_s: float) -> int:
    """Return the windows in `seconds` [s]. Raises InputError for a length that does not fit."""
    if not 0 < seconds <= 86400:  # a day; the index itself wraps after 49
        raise InputError(
            "The length of the sweep is out of range.",
            seen=f"{seconds} s",
            limit="more than 0 and at most 86400 s",
            next_step="choose another --seconds",
        )
    return max(1, round(seconds / window_s))


def recover(
    place: Path,
    *,
    on_unusable: Callable[[Path, str], None] | None = None,
    on_unsaved: Callable[[Path, CaptureFileError], None] | None = None,
) -> list[Path]:
    """Turn journals that a crash left in a folder, or the one named, into capture files; return their paths.

    They stand beside the journal, `ended` "recovered". A journal that another program works on is left alone. One
    that is no journal, or has not a single record, is renamed and reported once, to `on_unusable` with the
    reason. What a crash left of a file that was being written is
    removed, and so is a journal whose capture is in a file. A file of another kind is left as it is:
    InputError. Where a capture cannot be written its journal stays: it goes to `on_unsaved` with the error, and
    without that CaptureFileError is raised.
    """
    if not place.exists():
        return []
    if not place.is_dir() and place.suffix != journal.SUFFIX:
        raise InputError(
            f"{place} is not a journal of a capture.",
            seen=place.suffix or "no ending",
            limit=f"a folder, or a file that ends in {journal.SUFFIX}",
            next_step="name the journal, or the folder that holds it",
        )
    clear_parts(place if place.is_dir() else place.parent)
    found = [_recovered(path, on_unusable, on_unsaved) for path in journal.left_behind(place)]
    return [path for path in found if path is not None]


def _recovered(
    path: Path,
    on_unusable: Callable[[Path, str], None] | None,
    on_unsaved: Callable[[Path, CaptureFileError], None] | None,
) -> Path | None:
    try:
        return _recover_one(path, on_unusable)
    except CaptureFileError as exc:
        if on_unsaved is None:
            raise
        on_unsaved(path, exc)
    return None


def _recover_one(path: Path, on_unusable: Callable[[Path, str], None] | None) -> Path | None:
    try:
        capture, reason = _what_is_in(path)
        if capture is not None and kept_as(path.parent, capture) is not None:
            remove(path)
            return None
        if capture is not None:
            return Path(file.write_capture(path.with_suffix(file.SUFFIX), capture).path)
        aside = rename(path, free_path(path.parent, path.stem, UNUSABLE))
        reason = reason.replace(PLACE, shlex.quote(str(aside)))
    finally:
        let_go(path)
    if on_unusable is not None:
        on_unusable(aside, reason)
    return None


def _what_is_in(path: Path) -> tuple[Capture | None, str]:
    """Return the capture of a journal, or None and why there is none that a file could hold."""
    try:
        capture = capture_of_journal(path, ended="recovered")
        if not len(capture.records):
            return None, "no record in it"
        file.checked_pack(capture, str(path))
    except CaptureFileError as exc:
        return None, f"{exc} {_BEHIND.format(n) if (n := n_whole(path)) else _NOTHING}"
    except (*file.DAMAGE, MemoryError) as exc:
        return None, f"{type(exc).__name__}: {exc!s:.200}"
    return capture, ""


def recover_like(path: Path, like: Path) -> Path:
    """Write what a journal holds behind its damaged lines, read with the first line of a capture; return its file.

    The journal stays as it is. Raises InputError, CaptureFileError.
    """
    if path.suffix not in (journal.SUFFIX, UNUSABLE) or not path.is_file():
        raise InputError(
            f"{path} is not a journal of a capture.",
            seen=path.suffix or "no ending",
            limit=f"a file that ends in {journal.SUFFIX} or {UNUSABLE}",
            next_step="name the journal",
        )
    capture = capture_like(path, file.read_capture(like), like.name)
    return Path(file.write_capture(path.with_suffix(file.SUFFIX), capture).path)
