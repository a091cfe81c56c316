"""The live reading of a session: every look folded into one state, shown until somebody or something ends it."""

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
    """Adds to what is shown, and knows when it has what it wants."""

    def adorn(self, state: WatchState) -> WatchState:
        """Return the state with what to do."""

    def reached(self, state: WatchState) -> bool:
        """Return whether it is enough."""


class Unguided:
    """Adds nothing and wants nothing."""

    def adorn(self, state: WatchState) -> WatchState:
        """Return the state."""
        return state

    def reached(self, _state: WatchState) -> bool:
        """Return that there is no end."""
        return False


def run_watch(
    s: Session,
    watcher: Watcher,
    face: Face[WatchState],
    *,
    seconds: float = 0.0,
    guide: Guide | None = None,
) -> bool:
    """Stream until `seconds` of the rig's time are over (0: without end), the guide has it, or q; False: `face` ended.

    Raises HookupError once the supply was overloaded and is off, InterlockError once the engine runs; LinkError.
    """
    guided = guide or Unguided()
    with streaming(s.client, s.setup.hookup):
        ask_slow(s.client)
        while not face.ended():
            chunk = s.look()
            if chunk.trace is not None:
                watcher.feed(chunk.trace)
                state = guided.adorn(watcher.state(columns=COLUMNS))
                face.show(state)
                if guided.reached(state) or (seconds and state.seconds >= seconds):
                    return True
            if QUIT in face.pressed():
                return True
    return False
