"""Where the pages fetch records and captures: one open database, and the last captures that were reviewed."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from contextlib import ExitStack
from typing import TYPE_CHECKING, TypeVar

from sweeprig.records.store import Store, open_store

if TYPE_CHECKING:
    from sweeprig.judge.outcome import Outcome
    from sweeprig.records.rows import Record

MOST_OUTCOMES = 6  # reviewed captures that are kept: some MB each
T = TypeVar("T")


class Shelf:
    """The records at a place, opened when they are first asked for. Safe in any thread: one question at a time."""

    def __init__(self, place: str) -> None:
        self._place = place
        self._lock = threading.Lock()
        self._open = ExitStack()
        self._store: Store | None = None
        self._outcomes: OrderedDict[str, Outcome] = OrderedDict()

    def ask(self, question: Callable[[Store], T]) -> T:
        """Return the answer of the open database. Raises RecordsError where there is none."""
        with self._lock:
            if self._store is None:
                self._store = self._open.enter_context(open_store(self._place, create=False))
            return question(self._store)

    def outcome(self, key: str) -> tuple[Record, Outcome]:
        """Return a record and what its capture comes to. Raises RecordsError, FileError where the capture is gone."""
        from sweeprig.bench.review.by_number import capture_of_record
        from sweeprig.bench.review.review import Choices

        record = self.ask(lambda store: store.get(key))
        with self._lock:
            kept = self._outcomes.get(record.sha256)
        if kept is None:
            kept = self.ask(lambda store: capture_of_record(record, store)).review(Choices())
        with self._lock:
            self._outcomes[record.sha256] = kept
            self._outcomes.move_to_end(record.sha256)
            while len(self._outcomes) > MOST_OUTCOMES:
                self._outcomes.popitem(last=False)
        return record, kept

    def close(self) -> None:
        """Let the database go."""
        with self._lock:
            self._store = None
            self._open.close()
