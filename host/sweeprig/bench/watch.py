"""The live reading of a session: every poll updates one state, which is shown until somebody or something ends it."""

from __future__ import annotations

from typing import Protocol

from sweeprig.bench.face import Face
from sweeprig.bench.hookup.prepare import ask_slow
from sweeprig.bench.readings.live import streaming
from sweeprig.bench.readings.watch import Watcher, WatchState
from sweeprig.bench.session import Session

COLUMNS = 200  # slices of the strip; a narrow view takes fewer
QUIT = "q"


class Guide(Protocol):
    """Adds instructions to what is shown, and knows when the reading is where it should be."""

    def adorn(self, state: WatchState) -> WatchState:
        """Return the state with the instruction added."""

    def reached(self, state: WatchState) -> bool:
        """Return whether the watch can end."""


class Unguided:
    """Adds no instruction and never ends the watch."""

    def adorn(self, state: WatchState) -> WatchState:
        """Return the state as it is."""
        return state

    def reached(self, _state: WatchState) -> bool:
        """Return False: only the operator or the time ends it."""
        return False


def run_watch(
    s: Session,
    watcher: Watcher,
    face: Face[WatchState],
    *,
    seconds: float = 0.0,
    guide: Guide | None = None,
) -> bool:
    """Show the reading until `seconds` of the rig's time are over (0: without end), `guide` ends it, or q is pressed.

    Returns False where `face` ended it.

    Raises HookupError once the supply was overloaded and is off, InterlockError once the engine runs; LinkError.
    """
    guided = guide or Unguided()
    with streaming(s.client, s.setup.hookup):
        ask_slow(s.client)
        while not face.ended():
            chunk = s.poll()
            if chunk.trace is not None:
                watcher.feed(chunk.trace)
                state = guided.adorn(watcher.state(columns=COLUMNS))
                face.show(state)
                if guided.reached(state) or (seconds and state.seconds >= seconds):
                    return True
            if QUIT in face.pressed():
                return True
    return False
