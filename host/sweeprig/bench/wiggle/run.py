"""The wiggle test with a rig: a long capture that shows dropouts and jumps as they happen."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

from sweeprig.analysis.wiggle import FAR_END, Happening
from sweeprig.bench.face import Face
from sweeprig.bench.hookup.cautions import IDLE, Ask, refused
from sweeprig.bench.readings import live
from sweeprig.bench.readings.live import Chunk
from sweeprig.bench.readings.search import LiveSearch, joined
from sweeprig.bench.session import Session
from sweeprig.capture.marks import PLACES, MarkAt, mark_text
from sweeprig.capture.model import Capture, SweepSetup, Trace
from sweeprig.errors import InterlockError, LinkError
from sweeprig.link.client import RigClient

BUZZ_MS = 120
EVENT_SHOWN_S = 1.0  # [s] of the rig's time for which the light tells of an event
LOOK_EVERY_S = 0.2  # [s] of the rig's time between two searches


def check_idle(setup: SweepSetup, ask: Ask) -> None:
    """Raise where recording at idle is asked for without the recorded override and its confirmation."""
    if not setup.override.strip():
        raise InterlockError(
            "Recording at idle needs a reason for the sheet.",
            seen="no --override",
            limit='--override "REASON"',
            next_step=f'add --override "REASON" and --confirm {IDLE.key}: {IDLE.text}',
        )
    if not ask.confirm(IDLE):
        raise refused(IDLE)
    ask.say(f"Confirmed: {IDLE.text}")


class Signals:
    """Light and buzzer of the rig, whichever are fitted; a rig that does not answer stops no capture.

    The light blinks slowly while the test runs, fast for a while after each event, and is off in the end.
    """

    def __init__(self, client: RigClient) -> None:
        self._client = client
        self._light = live.has(client, "light")
        self._buzzer = live.has(client, "buzzer")
        self._fast_since_s: float | None = None  # [s] of the rig's time; None: no event is being shown

    def __enter__(self) -> Signals:
        self._set_light("slow")
        return self

    def __exit__(self, *_: object) -> None:
        self._set_light("off")

    def event(self, now_s: float) -> None:
        """Say that something was seen; `now_s` is the rig's time [s]."""
        if self._fast_since_s is None:
            self._set_light("fast")
        self._fast_since_s = now_s
        if self._buzzer:
            with suppress(LinkError):
                live.switch(self._client, "buzzer", ms=BUZZ_MS)

    def tick(self, now_s: float) -> None:
        """Let the light blink slowly again once the last event has been shown for long enough."""
        if self._fast_since_s is not None and now_s - self._fast_since_s >= EVENT_SHOWN_S:
            self._fast_since_s = None
            self._set_light("slow")

    def _set_light(self, mode: str) -> None:
        if self._light:
            with suppress(LinkError):
                live.switch(self._client, "light", mode=mode)


class WiggleFace(Face[LiveSearch], Protocol):
    """Shows the search and every event. Its keys: 1 2 3 name a place, space goes to the next one, q ends."""

    def tell(self, new: list[Happening]) -> None:
        """Say that something was seen."""


@dataclass
class _Test:
    """One running test: gathers chunks, searches them for events, shows these, and obeys keys and button."""

    s: Session
    face: WiggleFace
    search: LiveSearch
    signals: Signals
    quits: bool = False
    waiting: list[Trace] = field(default_factory=list)

    def take(self, chunk: Chunk) -> None:
        """Take what one poll brought."""
        for mark in chunk.marks:
            self.search.pressed(mark.index * self.s.client.window_s)
        if chunk.trace is not None:
            self.waiting.append(chunk.trace)
        if sum(t.t_s.size for t in self.waiting) * self.s.client.window_s >= LOOK_EVERY_S:
            self.find()
        self.signals.tick(self.search.seconds)
        self.face.show(self.search)
        for key in self.face.pressed():
            self._key(key)

    def find(self) -> None:
        """Search the chunks that wait; show the events that are new."""
        new = self.search.feed(joined(self.waiting)) if self.waiting else []
        self.waiting.clear()
        if new:
            self.signals.event(self.search.seconds)
            self.face.tell(new)

    def marks(self) -> tuple[str, ...]:
        """Return the places and their times, for the capture."""
        self.find()
        return tuple(mark_text(m) for m in self.search.marks)

    def stop(self) -> bool:
        """Return whether it is to end."""
        return self.quits or self.face.ended()

    def _key(self, key: str) -> None:
        if key in "123":
            self.search.mark(PLACES[int(key) - 1])
        elif key in " \r\n":
            self.search.next_place()
        elif key == "q":
            self.quits = True


def run_wiggle(
    s: Session, face: WiggleFace, *, folder: Path, marks: Sequence[MarkAt] = ()
) -> tuple[Capture, Path]:
    """Capture for the setup's seconds of the rig's time and show events as they come; return the capture and its file.

    The rig's button goes on to the next place. The marks are kept in the capture. Raises LinkError where not one
    record came, HookupError, with the capture kept, where the supply was overloaded.
    """
    search = LiveSearch(s.profile, far_end=s.setup.task == FAR_END, marks=list(marks))
    with Signals(s.client) as signals:
        test = _Test(s, face, search, signals)
        capture = s.capture(folder, on_chunk=test.take, stop=test.stop, coaching=test.marks)
    return s.keep(capture, folder, f"wiggle {s.setup.sensor_label or s.setup.serial}")
