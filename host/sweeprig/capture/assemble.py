"""From a journal to a capture: the same way for a finished capture and for one that a crash left behind."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

import numpy as np

from sweeprig.capture.journal import JournalHead, read_journal
from sweeprig.capture.model import Capture
from sweeprig.link.decoder import Decoder
from sweeprig.link.messages import BadFrame, BoardText, Gap, Mark, Message, Records, SlowReading, Snapshot

_T = TypeVar("_T")


def capture_of_journal(path: Path, *, ended: str, coaching: Sequence[str] = ()) -> Capture:
    """Return the capture in a journal, `journal` set.

    Raises CaptureFileError where the first line is not whole.
    """
    head, data = read_journal(path)
    capture = capture_of_bytes(head, data, ended=ended)
    return replace(capture, journal=str(path), coaching=tuple(coaching))


def capture_of_bytes(head: JournalHead, data: bytes, *, ended: str) -> Capture:
    """Return the capture in the bytes that a board sent, from the start of its stream."""
    decoder = Decoder()
    events = decoder.feed(data)
    events += decoder.flush_text()
    records, restarted = _one_stream(Records.concatenate(_all(events, Records)))
    if head.n_windows is not None and len(records):
        records = records[: int(np.searchsorted(records.index, records.index[0] + head.n_windows))]
    return Capture(
        records=records,
        rig=head.rig,
        setup=head.setup,
        created=head.created,
        window=head.window,
        conversion_hz=head.conversion_hz,
        gaps=tuple(_all(events, Gap)),
        snapshots=tuple(_all(events, Snapshot)),
        slow=tuple(_all(events, SlowReading)),
        marks=tuple(_all(events, Mark)),
        board_text=tuple(e.line for e in _all(events, BoardText)),
        trim=head.trim,
        versions=dict(head.versions or {}),
        ended="restarted" if restarted else ended,
        bad_frames=len(_all(events, BadFrame)),
    )


def _all(events: Sequence[Message], kind: type[_T]) -> list[_T]:
    return [e for e in events if isinstance(e, kind)]


def _one_stream(records: Records) -> tuple[Records, bool]:
    """Return the records up to where the index falls back, which it does when the board begins anew."""
    back = np.flatnonzero(np.diff(records.index) <= 0)
    return (records[: int(back[0]) + 1], True) if back.size else (records, False)
