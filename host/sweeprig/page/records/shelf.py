"""Where the pages fetch records and captures: one open database, and what was made of the last captures."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from contextlib import ExitStack
from typing import TypeVar

from sweeprig.page.records import work
from sweeprig.records.store import Store, open_store

MOST_MADE = 8  # sheets and courses that are kept: some 100 kB each
T = TypeVar("T")


class Shelf:
    """The records at a place, opened when they are first asked for. Safe in any thread: one question at a time."""

    def __init__(self, place: str, *, work: Callable[[str, str, str], bytes] = work.ask) -> None:
        self._place = place
        self._work = work
        self._lock = threading.Lock()
        self._working = threading.Lock()
        self._open = ExitStack()
        self._store: Store | None = None
        self._made: OrderedDict[tuple[str, str], bytes] = OrderedDict()

    def ask(self, question: Callable[[Store], T]) -> T:
        """Return the answer of the open database. Raises RecordsError where there is none."""
        with self._lock:
            if self._store is None:
                self._store = self._open.enter_context(open_store(self._place, create=False))
            return question(self._store)

    def made(self, key: str, kind: str) -> bytes:
        """Return the sheet or the course of a record's capture, one at a time. Raises RecordsError, FileError."""
        record = self.ask(lambda store: store.get(key))
        name = (kind, f"{record.sha256} {self.ask(lambda store: store.amendments(record.id))}")
        with self._working:
            if name not in self._made:
                self._made[name] = self._work(self._place, str(record.id), kind)
            self._made.move_to_end(name)
            while len(self._made) > MOST_MADE:
                self._made.popitem(last=False)
            return self._made[name]

    def close(self) -> None:
        """Let the database go."""
        with self._lock:
            self._store = None
            self._open.close()
