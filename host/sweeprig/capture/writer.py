"""Writing to a disk that may be slow: a queue of limited size, and a thread that empties it."""

from __future__ import annotations

import os
import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Disk:
    """The calls to the operating system that a writer makes; a test may replace them."""

    write: Callable[[int, memoryview], int] = field(default_factory=lambda: os.write)
    sync: Callable[[int], None] = field(default_factory=lambda: os.fsync)
    patience_s: float = (
        0.05  # [s] that `put` waits at most for the bytes to be written; then it returns all the same
    )
    most_waiting: int = 64 << 20  # bytes: more than half an hour of a stream

    def put(self, handle: int, data: bytes) -> None:
        """Write all of `data`."""
        view = memoryview(data)
        while view:
            view = view[self.write(handle, view) :]


class Writer:
    """Writes bytes to an open file in a thread of its own, in order; `put` never waits for the disk."""

    def __init__(self, handle: int, disk: Disk) -> None:
        self.n_refused = 0  # bytes dropped because the queue was full
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
        """Queue bytes; with `sync` the file is synchronised after them. Raises the OSError of an earlier write."""
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
        """Write everything in the queue, however long that takes, and end the thread."""
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
