"""The live reading at a terminal: the view that fills it, a line a second, or JSON ten times a second."""

from __future__ import annotations

from contextlib import AbstractContextManager
from typing import TYPE_CHECKING

from sweeprig.cli.console import colour_wanted, console
from sweeprig.cli.views.face import line_face, screen_face
from sweeprig.cli.views.live import plain_line, view_lines
from sweeprig.cli.views.screen import is_terminal

if TYPE_CHECKING:
    from sweeprig.bench.face import Face
    from sweeprig.bench.readings.watch import WatchState

FRAME_S = 0.1  # [s] of the rig's time between two JSON objects
LINE_S = 1.0  # ... between two lines where there is no screen


def watch_face(*, as_json: bool = False) -> AbstractContextManager[Face[WatchState]]:
    """Return the face for a live reading."""
    if as_json:
        return line_face(_json, every_s=FRAME_S, seconds=_seconds)
    if not is_terminal():
        return line_face(lambda s: console.show(plain_line(s)), every_s=LINE_S, seconds=_seconds)
    colour = colour_wanted()
    return screen_face(lambda s, columns, rows: view_lines(s, columns, rows, colour=colour))


def _seconds(state: WatchState) -> float:
    return state.seconds


def _json(state: WatchState) -> None:
    from sweeprig.bench.readings.watch import state_json

    console.show_json(state_json(state), indent=None)
