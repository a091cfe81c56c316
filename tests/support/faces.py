"""Who watches a sweep in a test: sees everything, presses nothing, ends it when told."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any


class Quiet:
    """Keeps what it is shown."""

    def __init__(self, stop: Callable[[], bool] = lambda: False, keys: str = "") -> None:
        self.seen: list[Any] = []
        self.ended = stop
        self._keys = keys

    def show(self, state: Any) -> None:
        self.seen.append(state)

    def pressed(self) -> str:
        keys, self._keys = self._keys, ""
        return keys


def watched_by(face: Quiet) -> Callable[..., Any]:
    """What gives this face to a sweep."""

    @contextmanager
    def watch(*_: object) -> Iterator[Quiet]:
        yield face

    return watch


UNWATCHED = watched_by(Quiet())
