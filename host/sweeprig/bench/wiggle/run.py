"""The wiggle test with a rig: a long capture whose events are told while they come."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from sweeprig.bench.hookup.cautions import IDLE, Ask, refused
from sweeprig.bench.readings import live
from sweeprig.bench.readings.live import Chunk
from sweeprig.bench.review.review import Choices, review_capture
from sweeprig.bench.session import Session
from sweeprig.bench.wiggle.model import Happening, Wiggled
from sweeprig.bench.wiggle.wiggle import LiveSearch, joined, wiggle_of
from sweeprig.capture.marks import mark_text
from sweeprig.capture.model import Capture, SweepSetup, Trace
from sweeprig.errors import InterlockError, LinkError
from sweeprig.judge.outcome import Outcome
from sweeprig.link.client import RigClient

BUZZ_MS = 120
EVENT_SHOWN_S = 1.0  # [s] of the rig's time for which the light tells of an event
LOOK_EVERY_S = 0.2  # [s] of the rig's time between two searches


def check_idle(setup: SweepSetup, ask: Ask) -> None:
    """Raise where recording at idle is asked for without the recorded override and its confirmation."""
    if not setup.override.strip():
        raise InterlockError(
            "Recording at idle needs a reason that stands on the sheet.",
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

    def look(self, now_s: float) -> None:
        """Go back to waiting once the last event has been shown for long enough."""
        if self._fast_since_s is not None and now_s - self._fast_since_s >= EVENT_SHOWN_S:
            self._fast_since_s = None
            self._set_light("slow")

    def _set_light(self, mode: str) -> None:
        if self._light:
            with suppress(LinkError):
                live.switch(self._client, "light", mode=mode)


def run_wiggle(
    s: Session,
    search: LiveSearch,
    *,
    folder: Path,
    on_new: Callable[[list[Happening]], None],
    on_look: Callable[[], None],
    stop: Callable[[], bool],
) -> Capture:
    """Capture for the setup's seconds of the rig's time; call `on_new` with events as they are found.

    The rig's button goes on to the next place. The marks are kept in the capture. Raises LinkError where not one
    record came.
    """
    waiting: list[Trace] = []

    def look(chunk: Chunk) -> None:
        on_look()
        for _ in chunk.marks:
            search.next_place()
        if chunk.trace is not None:
            waiting.append(chunk.trace)
        if sum(t.t_s.size for t in waiting) * s.client.window_s >= LOOK_EVERY_S:
            tell()

    def tell() -> None:
        new = search.feed(joined(waiting)) if waiting else []
        waiting.clear()
        if new:
            on_new(new)

    def marks() -> tuple[str, ...]:
        tell()
        return tuple(mark_text(m) for m in search.marks)

    return s.record(folder, on_look=look, stop=stop, coaching=marks)


def reviewed_wiggle(capture: Capture, choices: Choices | None = None) -> tuple[Outcome, Wiggled]:
    """Return outcome and events of a finished wiggle capture."""
    outcome = review_capture(capture, choices)
    return outcome, wiggle_of(outcome)
