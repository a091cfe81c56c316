"""The wiggle test with a rig: a long capture whose events are told while they come."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from sweeprig.bench.hookup.cautions import IDLE, Ask, refused
from sweeprig.bench.readings import live
from sweeprig.bench.readings.live import Volts
from sweeprig.bench.review.review import Choices, review_capture
from sweeprig.bench.wiggle.model import Happening, Wiggled
from sweeprig.bench.wiggle.wiggle import LiveSearch, wiggle_of
from sweeprig.capture.live import start_capture
from sweeprig.capture.marks import mark_text
from sweeprig.capture.model import Capture, SweepSetup
from sweeprig.capture.sweep import n_windows_of
from sweeprig.errors import InterlockError, LinkError
from sweeprig.judge.outcome import Outcome
from sweeprig.link.client import RigClient

BUZZ_MS = 120
EVENT_SHOWN_S = 1.0  # [s] of the rig's time for which the light tells of an event
SLOW_EVERY_MS = 200
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
    volts: Volts,
    search: LiveSearch,
    *,
    folder: Path,
    seconds: float,
    on_new: Callable[[list[Happening]], None],
    on_look: Callable[[], None],
    stop: Callable[[], bool],
) -> Capture:
    """Capture for `seconds` of the rig's time; call `on_new` with events as they are found.

    The rig's button goes on to the next place. The marks are kept in the capture. Raises LinkError where not one
    record came.
    """
    folder.mkdir(parents=True, exist_ok=True)
    client = volts.client
    wanted = n_windows_of(seconds, client.window_s)
    with start_capture(client, volts.setup, folder=folder, n_windows=wanted) as running:
        if live.has(client, "monitor"):  # a tapped start has put them off
            live.switch(client, "slow", every_ms=SLOW_EVERY_MS)
        waiting: list[live.Message] = []
        try:
            for events in running.events():
                waiting += events
                on_look()
                if _enough(waiting, client.window_s) or running.ended:
                    _search(volts, search, waiting, on_new)
                    waiting = []
                if stop():
                    running.stop()
        except KeyboardInterrupt:
            running.stop()
        return running.finish(coaching=tuple(mark_text(m) for m in search.marks))


def _enough(events: list[live.Message], window_s: float) -> bool:
    n = sum(len(e) for e in events if isinstance(e, live.Records))
    return n * window_s >= LOOK_EVERY_S


def _search(
    volts: Volts, search: LiveSearch, events: list[live.Message], on_new: Callable[[list[Happening]], None]
) -> None:
    chunk = volts.chunk(events)
    for _ in chunk.marks:
        search.next_place()
    if chunk.trace is not None:
        new = search.feed(chunk.trace)
        if new:
            on_new(new)


def reviewed_wiggle(capture: Capture, choices: Choices | None = None) -> tuple[Outcome, Wiggled]:
    """Return outcome and events of a finished wiggle capture."""
    outcome = review_capture(capture, choices)
    return outcome, wiggle_of(outcome)
