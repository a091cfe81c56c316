"""From a journal to a capture: the same way for a finished capture and for one that a crash left behind."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from sweeprig.capture.journal import JournalHead, read_journal
from sweeprig.capture.model import Capture
from sweeprig.capture.plausible import MOST_INDEX, are_possible, is_possible
from sweeprig.link.clean import clean_text
from sweeprig.link.decoder import Decoder
from sweeprig.link.identification import is_boot
from sweeprig.link.messages import (
    BadFrame,
    BoardText,
    Gap,
    Hello,
    Mark,
    Message,
    Records,
    Reply,
    SlowReading,
    Snapshot,
)

MOST_LINES = 1000  # of the board's text that are kept: the first and the last
MOST_LINE = 400  # characters
_T = TypeVar("_T")


def capture_of_journal(path: Path, *, ended: str, coaching: Sequence[str] = ()) -> Capture:
    """Return the capture in a journal, `journal` set.

    Raises CaptureFileError where the first line is damaged.
    """
    head, data = read_journal(path)
    capture = capture_of_bytes(head, data, ended=ended)
    kept, n_more = _capped(coaching)
    aside = {**capture.set_aside, "lines of instructions": n_more} if n_more else capture.set_aside
    return replace(capture, journal=str(path), coaching=kept, set_aside=aside)


def capture_of_bytes(head: JournalHead, data: bytes, *, ended: str) -> Capture:
    """Return the capture in the bytes that a board sent after `start`, so its first window has the index 0."""
    decoder = Decoder()
    heard = decoder.feed(data)
    heard += decoder.flush_text()
    messages, restarted = _one_stream(heard)
    records, contradicted, counted = _records_of(messages, head)
    snapshots = _all(messages, Snapshot)
    sound = tuple(s for s in snapshots if is_possible(s))
    lines, n_more = _capped([e.line for e in _all(heard, BoardText)])
    ended = "restarted" if restarted or contradicted else ended
    stop = head.n_windows if ended == "complete" else None
    aside = {
        **counted,
        "snapshots with impossible codes": len(snapshots) - len(sound),
        "lines of the board's text": n_more,
    }
    return Capture(
        records=records,
        rig=head.rig,
        setup=head.setup,
        created=head.created,
        window=head.window,
        conversion_hz=head.conversion_hz,
        stop_index=stop,
        gaps=() if contradicted else tuple(_all(messages, Gap)),
        snapshots=sound,
        slow=tuple(_all(messages, SlowReading)),
        marks=tuple(_all(messages, Mark)),
        board_text=lines,
        calibration=head.calibration,
        versions=dict(head.versions or {}),
        journal_key=head.key,
        ended=ended,
        bad_frames=len(_all(messages, BadFrame)),
        set_aside=dict(item for item in aside.items() if item[1]),
    )


def _records_of(messages: Sequence[Message], head: JournalHead) -> tuple[Records, bool, dict[str, int]]:
    """Return the records, whether two of the same index differ, and counts of what was sorted or left out."""
    records, contradicted, counted = in_order(Records.concatenate(_all(messages, Records)))
    good = are_possible(records, head.window) & (records.index >= 0)
    stop = MOST_INDEX if head.n_windows is None else head.n_windows
    counted["records with impossible codes"] = int(np.count_nonzero(~good))
    return records[good & (records.index < stop)], contradicted, counted


def _all(messages: Sequence[Message], kind: type[_T]) -> list[_T]:
    return [e for e in messages if isinstance(e, kind)]


def _capped(lines: Sequence[str]) -> tuple[tuple[str, ...], int]:
    """Return the first and the last lines, and how many lines between them are left out."""
    half = MOST_LINES // 2
    kept = lines if len(lines) <= MOST_LINES else [*lines[:half], *lines[-half:]]
    return tuple(clean_text(line, MOST_LINE) for line in kept), len(lines) - len(kept)


def _one_stream(heard: Sequence[Message]) -> tuple[Sequence[Message], bool]:
    """Return the messages after the answer to `start`, up to the board's next hello, and whether there was one."""
    first = next((i for i, e in enumerate(heard) if isinstance(e, Reply) and "window" in e.data), 0)
    stop = next((i for i in range(first, len(heard)) if _identifies(heard[i])), len(heard))
    return heard[first:stop], stop < len(heard)


def _identifies(message: Message) -> bool:
    return isinstance(message, Hello) or (isinstance(message, BoardText) and is_boot(message.line))


def in_order(records: Records) -> tuple[Records, bool, dict[str, int]]:
    """Return the records sorted by index, whether two of the same index differ, and counts of repeated and late ones.

    Records that came twice or in another order are sorted in. Two records of the same index that differ come from two
    streams: everything from the second one on is left out.
    """
    if (np.diff(records.index) > 0).all():
        return records, False, {}
    order = np.argsort(records.index, kind="stable")
    by_index = records[order]
    new = np.diff(by_index.index, prepend=by_index.index[:1] - 1) > 0
    differs = _differs(by_index, by_index[new][np.cumsum(new) - 1])
    if differs.any():
        return in_order(records[: int(order[differs].min())])[0], True, {}
    late = np.count_nonzero(np.diff(np.maximum.accumulate(records.index)) == 0)
    twice = int(np.count_nonzero(~new))
    counted = {"records received twice": twice, "records received late": int(late) - twice}
    return by_index[new], False, counted


def _differs(records: Records, others: Records) -> NDArray[np.bool_]:
    pairs = zip(vars(records).values(), vars(others).values(), strict=True)
    different = [(a != b).any(axis=tuple(range(1, a.ndim))) for a, b in pairs]
    either: NDArray[np.bool_] = np.any(different, axis=0)
    return either
