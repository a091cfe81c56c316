"""Bytes on their way to a disk that may be slow: a bounded queue, and a thread of its own that empties it."""

from __future__ import annotations

import os
import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Disk:
    """What a writer needs of the system, and how it waits for it."""

    write: Callable[[int, memoryview], int] = field(default_factory=lambda: os.write)
    sync: Callable[[int], None] = field(default_factory=lambda: os.fsync)
    patience_s: float = 0.05  # [s] that `put` waits for the system to have the bytes; it goes on without
    most_waiting: int = 64 << 20  # bytes: more than half an hour of a stream

    def put(self, handle: int, data: bytes) -> None:
        """Write all of `data`."""
        view = memoryview(data)
        while view:
            view = view[self.write(handle, view) :]


class Writer:
    """Writes into an open file what is put into it, in order; `put` never waits for the disk itself."""

    def __init__(self, handle: int, disk: Disk) -> None:
        self.n_refused = 0  # bytes that found no room
        self._handle = handle
        self._disk = disk
        self._error: OSError | None = None
        self._parts: deque[tuple[bytes, bool]] = deque()
        self._n_waiting = 0
        self._closing = False
        self._changed = threading.Condition()
        self._thread = threading.Thread(target=self._run, name="journal", daemon=True)
        self._thread.start()

    def put(self, data: bytes, *, sync: bool = False) -> None:
        """Take bytes; with `sync` the disk itself is told after them. Raises the OSError of an earlier write."""
        with self._changed:
            if self._n_waiting + len(data) > self._disk.most_waiting:
                self.n_refused += len(data)
            else:
                self._parts.append((data, sync))
                self._n_waiting += len(data)
                self._changed.notify_all()
            self._changed.wait_for(self._is_settled, self._disk.patience_s)
            if self._error is not None:
                raise self._error

    def close(self) -> None:
        """Write what waits, however long that takes, and end the thread."""
        with self._changed:
            self._closing = True
            self._changed.notify_all()
        self._thread.join()

    def _is_settled(self) -> bool:
        return not self._n_waiting or self._error is not None

    def _run(self) -> None:
        try:
            while (part := self._next()) is not None:
                self._write(part[0])
                if part[1]:
                    self._disk.sync(self._handle)
        except OSError as exc:
            with self._changed:
                self._error = exc
                self._changed.notify_all()

    def _next(self) -> tuple[bytes, bool] | None:
        with self._changed:
            self._changed.wait_for(lambda: self._parts or self._closing)
            return self._parts.popleft() if self._parts else None

    def _write(self, data: bytes) -> None:
        self._disk.put(self._handle, data)
        with self._changed:
            self._n_waiting -= len(data)
            self._changed.notify_all()
