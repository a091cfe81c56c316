"""The face of a sweep at a terminal: a full screen where there is room, else a plain line for each new step."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from typing import TYPE_CHECKING

from sweeprig.cli.console import colour_wanted, console
from sweeprig.cli.views.face import ScreenFace, Stop
from sweeprig.cli.views.screen import LISTENERS, Screen, is_terminal, read_keys, single_keys
from sweeprig.cli.views.sweep import fits, plain_line, screen_lines

if TYPE_CHECKING:
    from sweeprig.bench.face import Face
    from sweeprig.bench.sweep.prompts import Step, SweepState

HINT = "Enter starts without a movement, q or Ctrl-C ends"
RUNNING = "q or Ctrl-C ends"
LEVER_KEYS = "rehearsal: o opens, c closes, h half way"
JUDGING = "DONE: the sweep is saved and judged ..."
REHEARSAL = f"{LEVER_KEYS}; q ends"


class StepFace:
    """Prints a line when there is something new to do."""

    def __init__(self, stop: Stop, keys: Callable[[], str] = read_keys) -> None:
        self.ended = stop
        self.pressed = keys
        self._said: tuple[Step, bool, str] | None = None

    def show(self, state: SweepState) -> None:
        """Print the line of a new step, and once that the signal never rests, or lies at a rail."""
        new = (state.step, state.unrest_s > 0, state.at_rail)
        if new != self._said:
            self._said = new
            console.say(plain_line(state))


class Sounding:
    """Sounds the terminal's bell with each new step, so that nobody has to look."""

    def __init__(self, inner: Face[SweepState]) -> None:
        self.pressed = inner.pressed
        self.ended = inner.ended
        self._inner = inner
        self._step: Step | None = None

    def show(self, state: SweepState) -> None:
        """Show the state; sound where the step is new."""
        if self._step is not None and state.step is not self._step:
            console.bell()
        self._step = state.step
        self._inner.show(state)


def no_keys() -> str:
    """Return no keys."""
    return ""


def hint_of(state: SweepState) -> str:
    """Return the line that names the keys that can be pressed now."""
    if LISTENERS:
        return REHEARSAL
    return HINT if state.waiting else RUNNING


def _lines(title: str, colour: bool, state: SweepState, width: int, height: int) -> list[str]:
    return screen_lines(state, width, height, title=title, hint=hint_of(state), colour=colour)


@contextmanager
def sweep_face(stop: Stop, title: str, *, bell: bool) -> Iterator[Face[SweepState]]:
    """Fill the terminal with the screen of a sweep where it has room; `bell` sounds each new step."""
    lines = partial(_lines, title, colour_wanted())
    with single_keys():
        if is_terminal() and fits(*Screen().size):
            with Screen() as screen:
                face: Face[SweepState] = ScreenFace(screen, lines, stop)
                yield Sounding(face) if bell else face
            console.progress(JUDGING)
        else:
            yield StepFace(stop)
