"""Between the rig's thread and the pages: takes scenes, gives the keys pressed. The rig never waits for a page.

It holds only the newest scene; a page that is too slow misses some. All methods are thread-safe.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from typing import TYPE_CHECKING

from sweeprig.page.model import Scene
from sweeprig.page.phones import Phones

if TYPE_CHECKING:
    from sweeprig.judge.outcome import Outcome

FRAME_S = 0.04  # [s] between two scenes that are kept: more than an eye can follow
MOST_KEYS = 64  # pressed and not yet fetched


class Hub:
    """The newest scene, the phones that see it, and what they pressed."""

    def __init__(self, *, clock: Callable[[], float] = time.monotonic) -> None:
        self.phones = Phones()
        self.last: Outcome | None = None  # whose sheet is given
        self.changed: Callable[[], None] = lambda: (
            None
        )  # told of each new scene, in the thread that showed it
        self._clock = clock
        self._lock = threading.Lock()
        self._pressed = threading.Event()
        self._keys = ""
        self._off = False
        self._number = 0
        self._shown_s = -FRAME_S
        self._scene = Scene("wait", "", "NOT READY YET", "The bench prepares. Look at the terminal.")
        self._body = _packed(self._scene)

    def show(self, scene: Callable[[], Scene], *, now: bool = True) -> None:
        """Show the scene that `scene` returns; without `now` only if the last one is old enough."""
        moment = self._clock()
        if not now and moment - self._shown_s < FRAME_S:
            return
        made = scene()
        body = _packed(made)
        with self._lock:
            self._shown_s, self._scene, self._body = moment, made, body
            self._number += 1
        self.changed()

    @property
    def newest(self) -> tuple[int, bytes]:
        """Number and JSON of the newest scene."""
        with self._lock:
            return self._number, self._body

    @property
    def quiet_s(self) -> float:
        """How long ago [s] the newest scene was shown, while more should come; else 0."""
        with self._lock:
            return self._clock() - self._shown_s if self._scene.kind == "live" else 0.0

    def press(self, cookie: str, key: str) -> str:
        """Take a key from a phone; return why it is refused, or ""."""
        if not self.phones.leads(cookie):
            return "Another phone leads. Take the lead first."
        with self._lock:
            if all(key != a.key for a in self._scene.actions):
                return "This cannot be done now."
            self._keys = (self._keys + key)[:MOST_KEYS]
        self._pressed.set()
        return ""

    def press_off(self) -> str:
        """Note that a phone wants the supply off."""
        with self._lock:
            self._off = True
        self._pressed.set()
        return ""

    def keys(self) -> str:
        """Return the keys pressed since the last call."""
        with self._lock:
            keys, self._keys = self._keys, ""
        return keys

    def off(self) -> bool:
        """Return whether a phone has asked for the supply to be off since the last `begin`."""
        with self._lock:
            return self._off

    def begin(self) -> None:
        """Forget what was pressed in the run before."""
        with self._lock:
            self._off, self._keys = False, ""

    def wait(self, timeout_s: float) -> None:
        """Wait until something is pressed, at most `timeout_s` [s]."""
        self._pressed.wait(timeout_s)
        self._pressed.clear()


def _packed(scene: Scene) -> bytes:
    import msgspec

    return msgspec.json.encode(scene)
