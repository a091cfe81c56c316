"""A journal with both copies of its head damaged: its records are counted, or read with another capture's head."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path

from sweeprig.capture.assemble import capture_of_bytes
from sweeprig.capture.journal import JournalHead, bytes_of, read_journal
from sweeprig.capture.model import Capture
from sweeprig.errors import CaptureFileError, InputError
from sweeprig.link.decoder import Decoder
from sweeprig.link.messages import Records, Reply


def n_whole(path: Path) -> int:
    """Return how many whole records a file holds, whatever comes before them."""
    return sum(len(m) for m in Decoder().feed(bytes_of(path)) if isinstance(m, Records))


def capture_like(path: Path, like: Capture, name: str) -> Capture:
    """Return what a journal holds behind its damaged lines, with rig, calibration and set-up of `like`, named `name`.

    What belongs to the one sensor of `like` is left out. Raises InputError where the journal is not damaged or has
    another window, CaptureFileError where it has no record.
    """
    _must_be_damaged(path)
    setup = replace(
        like.setup,
        job="", sensor_label="", part="", serial="", operator="", notes="", override="", customer="", vehicle="",
        confirmed=(),
        prepared=(f"The journal's first line was damaged: rig, calibration and set-up are those of {name}.",),
    )  # fmt: skip
    written = datetime.fromtimestamp(path.stat().st_mtime).astimezone()
    head = JournalHead(
        written.isoformat(timespec="seconds"), like.rig, setup, like.window, like.conversion_hz,
        versions=like.versions, calibration=like.calibration,
    )  # fmt: skip
    data = bytes_of(path)
    _must_be_of_window(data, like.window, name)
    capture = capture_of_bytes(head, data, ended="recovered")
    if not len(capture.records):
        raise CaptureFileError(
            f"{path} holds not one whole record.", seen=f"{len(data)} bytes", next_step="sweep again"
        )
    return capture


def _must_be_damaged(path: Path) -> None:
    try:
        read_journal(path)
    except CaptureFileError:
        return
    raise InputError(
        f"The first line of {path} is whole.",
        seen="--like",
        limit="a journal whose first line is damaged",
        next_step="leave --like out",
    )


def _must_be_of_window(data: bytes, window: int, name: str) -> None:
    """Raise InputError where the board, at the start of the stream, named another window."""
    told = [m.data["window"] for m in Decoder().feed(data) if isinstance(m, Reply) and "window" in m.data]
    if told and told[0] != window:
        raise InputError(
            f"{name} is of another rig.",
            seen=f"window {window}",
            limit=f"window {told[0]}, as in the journal",
            next_step="name a capture of the same rig, build and hookup",
        )
