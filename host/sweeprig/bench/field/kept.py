"""Turns the pages that a board has kept into a capture. Pure; each page is checked by CRC, the whole by its digest."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from sweepboard import flash_page, pack, wire
from sweeprig.bench.field.card import MEANING
from sweeprig.bench.field.order import FieldOrder
from sweeprig.bench.sweep.run import cut_to
from sweeprig.bench.sweep.trigger import LEAD_S
from sweeprig.capture.assemble import capture_of_bytes
from sweeprig.capture.journal import JournalHead
from sweeprig.capture.model import Capture
from sweeprig.errors import CaptureFileError
from sweeprig.words import KEPT

AGAIN = {
    "fast": "moved too fast",
    "few": "too few strokes",
    "unmoved": "nothing moved",
    "memory": "the memory was full",
    "supply": "the supply was overloaded and switched off",
    "engine": "the battery reading shows a running engine",
    "host": "a host connected",
    "button": "ended by the button",
}


SAID = {word: MEANING[word] for word in ("kept", "rail")}


@dataclass(frozen=True)
class Kept:
    """One kept sweep. `end` is None where the power failed before its end."""

    number: int
    head: Mapping[str, Any]
    data: bytes
    end: Mapping[str, Any] | None
    unwanted: bool

    @property
    def word(self) -> str:
        """How it ended, as the light showed it; "cut" where the power failed first."""
        return "cut" if self.end is None else str(self.end.get("word", ""))

    @property
    def said(self) -> str:
        """How it ended, in a sentence."""
        return said_of(self.word)


def said_of(word: str) -> str:
    """Return in words how a sweep ended."""
    if word == "cut":
        return "cut off by the loss of power; the data up to then is complete"
    return SAID.get(word) or f"sweep again: {AGAIN.get(word, word)}"


def read_pages(number: int, pages: Iterable[bytes]) -> Kept:
    """Return what the pages of one item hold. Raises CaptureFileError where one is damaged or the digest differs."""
    parts: dict[int, bytes] = {}
    for sequence, page in enumerate(pages):
        opened = flash_page.opened_page(page)
        if opened is None or opened[1:3] != (number, sequence):
            raise _damaged(number, f"page {sequence} is not what was written")
        parts[opened[0]] = parts.get(opened[0], b"") + opened[3]
    data = parts.get(flash_page.DATA, b"")
    head, end = _object(parts.get(flash_page.HEAD)), _object(parts.get(flash_page.END))
    if head is None:
        raise _damaged(number, "it has no head")
    if end is not None and end.get("sha256") != hashlib.sha256(data).hexdigest():
        raise _damaged(number, "the digest differs")
    return Kept(number, head.get("sweep", head), data, end, flash_page.UNWANTED in parts)


def _object(data: bytes | None) -> dict[str, Any] | None:
    try:
        found = json.loads(data or b"")
    except ValueError:
        return None
    return found if isinstance(found, dict) else None


def _damaged(number: int, seen: str) -> CaptureFileError:
    return CaptureFileError(
        f"The kept sweep {number} is incomplete.",
        seen=seen,
        limit="pages and digest as the board wrote them",
        next_step="collect again; the board keeps it until it is saved here",
    )


def frames(kept: Kept, window: int) -> bytes:
    """Return the bytes that a host would have received live. Raises CaptureFileError."""
    try:
        found = pack.entries(kept.data, window)
        return b"".join(
            wire.encode(kind, i, index, payload) for i, (kind, index, payload) in enumerate(found)
        )
    except ValueError as exc:
        raise _damaged(kept.number, str(exc)) from exc


def found_at(kept: Kept, state: Mapping[str, Any], now: datetime) -> tuple[datetime, str]:
    """Return when a sweep ended and how that is known: the board has no clock, only its time since a start."""
    if kept.end is not None and kept.head.get("boot") == state.get("boot"):
        ago = timedelta(milliseconds=int(state["ms"]) - int(kept.end["ms"]))
        return now - ago, "timed by the board, which ran on until it was collected."
    return now, (
        "the time of the sweep is not known. The time given is that of collecting: the board was off since;"
        " sweeps are in the order in which they were made."
    )


def capture_of(
    kept: Kept,
    order: FieldOrder,
    *,
    rig: Mapping[str, Any],
    when: datetime,
    how: str,
    calibration: Mapping[str, Any] | None,
    versions: Mapping[str, str] | None,
    profile: tuple[str, str] = ("", ""),
) -> Capture:
    """Return the capture in a kept sweep, from the rest before the movement on, as a bench sweep is cut."""
    press, sent = kept.head.get("press", "?"), f"{order.sent:%Y-%m-%d %H:%M}"
    line = f"{KEPT}, no laptop: sweep {press} of order {order.id}; {how} Sent {sent}."
    if kept.word != "kept":
        line += f" {kept.said[0].upper()}{kept.said[1:]}."
    setup = replace(
        order.setup,
        prepared=(line,),
        profile_text=profile[0],
        profile_sha256=profile[1],
        operator=order.setup.operator,
    )
    window = int(rig["window"])
    head = JournalHead(
        created=when.isoformat(timespec="seconds"),
        rig=rig,
        setup=setup,
        window=window,
        conversion_hz=float(rig["conversion_hz"]),
        versions=versions,
        calibration=calibration,
    )
    ended = {"cut": "recovered", "button": "stopped", "host": "stopped"}.get(kept.word, "complete")
    capture = capture_of_bytes(head, frames(kept, window), ended=ended)
    if not len(capture.records):
        raise _damaged(kept.number, "not one record")
    start_s = int(kept.head.get("start", 0)) * capture.window_s
    from_s = max(start_s - LEAD_S, int(capture.records.index[0]) * capture.window_s)
    return cut_to(capture, from_s)
