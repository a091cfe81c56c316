"""A capture while it runs: gives messages as they come, writes every byte to the journal, and records why it ended."""

from __future__ import annotations

import time
import uuid
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from sweeprig.capture.assemble import capture_of_bytes, capture_of_journal
from sweeprig.capture.folder import local_now
from sweeprig.capture.held import not_kept
from sweeprig.capture.journal import Journal, JournalHead
from sweeprig.capture.locks import let_go, remove
from sweeprig.capture.model import Capture, SweepSetup
from sweeprig.capture.writer import Disk
from sweeprig.errors import (
    CaptureFileError,
    CaptureNotKeptError,
    LinkError,
    PortLostError,
)
from sweeprig.link.client import RigClient, no_records
from sweeprig.link.messages import Message, Records

SILENT_S = 3.0  # a stream that brings nothing for so long has ended
POLL_S = 0.1
MOST_IN_MEMORY = 256 << 20  # bytes: more than an hour of a stream; a longer capture is in its journal alone


def start_capture(
    client: RigClient,
    setup: SweepSetup,
    *,
    folder: Path,
    n_windows: int | None = None,
    calibration: Mapping[str, Any] | None = None,
    versions: Mapping[str, str] | None = None,
    clock: Callable[[], float] = time.monotonic,
    now: Callable[[], datetime] = local_now,
    disk: Disk | None = None,
    key: str = "",
) -> LiveCapture:
    """Start streaming with a journal in `folder`; `n_windows` None goes on until it is stopped.

    `key` tells this journal from all others; "" draws one.
    Use it in a `with`: left by an exception, it leaves the journal for `recover`.
    Raises LinkError, CaptureFileError.
    """
    rig = client.hello()
    client.quiet()
    when = now()
    head = JournalHead(
        created=when.isoformat(timespec="seconds"),
        rig=rig,
        setup=setup,
        window=int(rig["window"]),
        conversion_hz=float(rig["conversion_hz"]),
        n_windows=n_windows,
        versions=versions,
        key=key or uuid.uuid4().hex,
        calibration=calibration,
    )
    journal = Journal(folder, head, stem=f"capture-{when:%Y%m%d-%H%M%S}", clock=clock, disk=disk)
    kept = Kept(journal, head)
    client.on_bytes = kept.write
    try:
        client.start(setup.hookup)
    except BaseException:
        client.on_bytes = None
        journal.close()
        remove(journal.path)
        raise
    return LiveCapture(client, kept, n_windows=n_windows, clock=clock)


class Kept:
    """What the board sent: in the journal, and in memory as well, for a disk that takes no more."""

    def __init__(self, journal: Journal, head: JournalHead) -> None:
        self.journal = journal
        self.error: CaptureFileError | None = None  # of the journal
        self._head = head
        self._parts: list[bytes] = []
        self._n_bytes = 0

    def write(self, data: bytes) -> None:
        """Take bytes. Raises CaptureFileError where neither the disk nor the memory takes them."""
        self._n_bytes += len(data)
        if self._n_bytes <= MOST_IN_MEMORY:
            self._parts.append(data)
        elif self._parts:
            self._parts = []
        if self.error is None:
            try:
                self.journal.write(data)
            except CaptureFileError as exc:
                self.error = exc
        if self.error is not None and not self._parts:
            raise self.error

    def from_memory(
        self, error: CaptureFileError, *, ended: str, coaching: tuple[str, ...]
    ) -> CaptureNotKeptError:
        """Return the error of a capture that is in memory alone, with the capture."""
        capture = capture_of_bytes(self._head, b"".join(self._parts), ended=ended)
        return not_kept(error, replace(capture, coaching=coaching, journal=str(self.journal.path)))


class LiveCapture:
    """A capture that runs. `messages()` never raises for a lost board: it ends, and `ended` says why."""

    def __init__(
        self, client: RigClient, kept: Kept, *, n_windows: int | None, clock: Callable[[], float]
    ) -> None:
        self.ended = ""  # complete | stopped | unplugged | silent; "" while it runs
        self.n_records = 0
        self.error: LinkError | None = None  # that ended it
        self._client = client
        self._kept = kept
        self._journal = kept.journal
        self._n_windows = n_windows
        self._clock = clock
        self._last = -1
        self._finished = False

    @property
    def n_windows(self) -> int:
        """Windows gone by since the stream began, those lost included."""
        return self._last + 1

    @property
    def n_lost(self) -> int:
        """Records missing so far."""
        return self.n_windows - self.n_records

    @property
    def seconds(self) -> float:
        """Time gone by as the record index tells it [s]."""
        return self.n_windows * self._client.window_s

    def messages(self, poll_s: float = POLL_S) -> Iterator[list[Message]]:
        """Yield what comes, [] where nothing came for `poll_s` [s], until the capture has ended."""
        heard = self._clock()
        while not self.ended:
            try:
                messages = self._client.poll(poll_s)
            except LinkError as exc:
                self.error, self.ended = exc, "unplugged"
                return
            n_before = self.n_records
            messages = [fresh for message in messages if (fresh := self._count(message)) is not None]
            if self.n_records > n_before:
                heard = self._clock()
            elif self._clock() - heard > SILENT_S * self._client.patience:
                self.ended = "silent"
            yield messages

    def stop(self) -> None:
        """End at the operator's wish; `messages` yields no more."""
        self.ended = self.ended or "stopped"

    def finish(self, coaching: tuple[str, ...] = ()) -> Capture:
        """Stop the stream and return the capture; its journal stays until `write_capture` removes it.

        Raises the LinkError that ended the capture where not one record came, CaptureNotKeptError, with the capture,
        where the disk was full.
        """
        self.stop()
        self._quieten()
        self._finished = True
        self._release()
        if self._kept.error is not None:
            let_go(self._journal.path)
            raise self._kept.from_memory(self._kept.error, ended=self.ended, coaching=coaching)
        capture = capture_of_journal(self._journal.path, ended=self.ended, coaching=coaching)
        if not len(capture.records):
            remove(self._journal.path)
            raise self.error or _nothing(capture)
        if self._journal.n_refused:
            lost = {"bytes not written to the journal": self._journal.n_refused}
            capture = replace(capture, set_aside={**capture.set_aside, **lost})
        return capture

    def __enter__(self) -> LiveCapture:
        return self

    def __exit__(self, *_: object) -> None:
        self._release()
        if not self._finished:
            let_go(self._journal.path)

    def _count(self, message: Message) -> Message | None:
        """Count records; return those with a higher index than any before. `finish` sorts in repeated and late ones."""
        if not isinstance(message, Records):
            return message
        fresh = message[np.diff(np.maximum.accumulate(message.index), prepend=self._last) > 0]
        if not len(fresh):
            return None
        self._last = int(fresh.index[-1])
        self.n_records += len(fresh)
        if self._n_windows is not None and self.n_windows >= self._n_windows:
            self.ended = "complete"
        return fresh

    def _quieten(self) -> None:
        """Stop the stream if the board is still there."""
        if self.ended == "unplugged":
            return
        try:
            self._client.stop()
        except PortLostError as exc:
            self.error = exc
            self.ended = "unplugged" if self.ended != "complete" else self.ended
        except LinkError as exc:
            self.error = exc

    def _release(self) -> None:
        self._client.on_bytes = None
        self._journal.close()


def _nothing(capture: Capture) -> LinkError:
    return no_records(" | ".join(capture.board_text[-3:]) or "nothing")
