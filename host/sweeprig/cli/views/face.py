"""Faces (bench/face.py) for the terminal: a full-screen view, or plain lines. Ctrl-C ends the run; its data is kept."""

from __future__ import annotations

import signal
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Generic, TypeVar

from sweeprig.cli.outlets import lost_output
from sweeprig.cli.views.screen import Screen, read_keys, single_keys

FRAME_S = 0.05  # [s] of the operator's clock between two frames: a fast simulated rig is no faster to look at

State = TypeVar("State")
Stop = Callable[[], bool]
Lines = Callable[[State, int, int], list[str]]  # state, columns, rows


@contextmanager
def stop_on_interrupt() -> Iterator[Stop]:
    """In the block, the first Ctrl-C only makes `stop()` return True, so that the data is kept."""
    asked: list[bool] = []
    before = signal.signal(signal.SIGINT, lambda *_: asked.append(True))
    try:
        yield lambda: bool(asked)
    finally:
        signal.signal(signal.SIGINT, before)


class ScreenFace(Generic[State]):
    """A view that fills the terminal's alternate screen."""

    def __init__(self, screen: Screen, lines: Lines[State], stop: Stop) -> None:
        self.screen = screen
        self.ended = stop
        self._lines = lines
        self._drawn = 0.0

    def show(self, state: State) -> None:
        """Draw a frame where it is time."""
        moment = time.monotonic()
        if moment - self._drawn >= FRAME_S:
            self._drawn = moment
            self.screen.draw(self._lines(state, *self.screen.size))

    def pressed(self) -> str:
        """Return the keys pressed since the last call."""
        return read_keys()


class LineFace(Generic[State]):
    """A line every `every_s` of the time that `seconds` reads from the state; no keys."""

    def __init__(
        self, line: Callable[[State], None], stop: Stop, *, every_s: float, seconds: Callable[[State], float]
    ) -> None:
        self.ended = stop
        self._line, self._every_s, self._seconds = line, every_s, seconds
        self._shown = -1.0

    def show(self, state: State) -> None:
        """Print a line where it is time."""
        now = self._seconds(state)
        if now - self._shown >= self._every_s:
            self._shown = now
            self._line(state)

    def pressed(self) -> str:
        """Return no keys."""
        return ""


@contextmanager
def screen_face(lines: Lines[State]) -> Iterator[ScreenFace[State]]:
    """Give a face that fills the terminal, takes single keys and obeys Ctrl-C."""
    with stop_on_interrupt() as stop, Screen() as screen, single_keys():
        yield ScreenFace(screen, lines, stop)


@contextmanager
def line_face(
    line: Callable[[State], None], *, every_s: float, seconds: Callable[[State], float]
) -> Iterator[LineFace[State]]:
    """Give a face that prints lines and obeys Ctrl-C."""
    with stop_on_interrupt() as stop:
        over = lambda: stop() or lost_output() is not None  # noqa: E731  # nobody reads the lines any more
        yield LineFace(line, over, every_s=every_s, seconds=seconds)
