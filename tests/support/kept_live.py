"""What a board has kept, beside what a host gets of the same sweep live."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from sweepboard import pack, wire
from sweeprig.bench.field.collect import Collected
from sweeprig.bench.field.kept import Kept
from sweeprig.bench.review.result import to_result
from sweeprig.bench.review.review import review_capture
from sweeprig.bench.sweep.run import cut_to
from sweeprig.bench.sweep.trigger import LEAD_S
from sweeprig.capture.assemble import capture_of_bytes
from sweeprig.capture.journal import JournalHead
from sweeprig.judge.outcome import Outcome

ANSWERS = (wire.REPLY, wire.HELLO, wire.STATUS)
Messages = list[tuple[int, int, bytes]]  # kind, index, payload


def content(messages: Messages, first: int, last: int) -> bytes:
    """Return what a stream says from one window to another as one row of frames, a record in each.

    How many records share a packet depends on when a host or a memory takes them; every other byte is compared.
    """
    found = []
    for kind, index, data in messages:
        size = wire.RECORD_SIZE if kind == wire.RECORDS else max(1, len(data))
        found += [
            (index + at // size, kind, data[at : at + size]) for at in range(0, max(1, len(data)), size)
        ]
    there = sorted(f for f in found if first <= f[0] <= last and f[2])
    return b"".join(wire.encode(kind, i, index, data) for i, (index, kind, data) in enumerate(there))


def kept_messages(one: Kept) -> Messages:
    return list(pack.entries(one.data, wire.WINDOW))


def reach(one: Kept) -> tuple[int, int]:
    """Return the first and the last window of a kept sweep."""
    rows = [(index, len(data)) for kind, index, data in kept_messages(one) if kind == wire.RECORDS]
    return min(index for index, _ in rows), max(index + n // wire.RECORD_SIZE - 1 for index, n in rows)


def kept_content(one: Kept) -> bytes:
    return content(kept_messages(one), *reach(one))


def live_content(live: bytes, one: Kept) -> bytes:
    """Return what came live, answers left out, from the first to the last window of a kept sweep."""
    opened = [wire.open_message(run) for run in live.split(b"\0") if run]
    messages = [(m[0], m[3], bytes(m[4])) for m in opened if m is not None and m[0] not in ANSWERS]
    return content(messages, *reach(one))


def judged_live(live: bytes, one: Collected) -> Outcome:
    """Judge what came live, from the start to the end of a kept sweep, as the bench does."""
    assert one.done is not None
    ours = one.done.outcome.capture
    assert ours is not None
    head = JournalHead(
        "2000-01-01T00:00:00+00:00",
        ours.rig,
        ours.setup,
        ours.window,
        ours.conversion_hz,
        calibration=ours.calibration,
    )
    capture = capture_of_bytes(head, live, ended="complete")
    capture = replace(capture, records=capture.records[capture.records.index <= ours.records.index[-1]])
    return review_capture(cut_to(capture, one.kept.head["start"] * capture.window_s - LEAD_S))


def judged(outcome: Outcome) -> dict[str, Any]:
    """Return the result without what tells one file from another."""
    apart = {"created", "capture", "source", "made_at", "capture_sha256"}
    return {k: v for k, v in to_result(outcome).items() if k not in apart}
