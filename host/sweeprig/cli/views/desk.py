"""The desk of a series at a terminal: screen, keys and sounds; without a terminal one line for each sensor."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from typing import TYPE_CHECKING

from sweeprig.cli.console import colour_wanted, console, error_text
from sweeprig.cli.sounds import sound_verdict
from sweeprig.cli.views import screen as screens
from sweeprig.cli.views.face import ScreenFace, stop_on_interrupt
from sweeprig.cli.views.sweep import fits, screen_lines
from sweeprig.cli.views.sweep_face import LEVER_KEYS, StepFace, no_keys
from sweeprig.cli.views.verdict import verdict_lines
from sweeprig.lines import fitted

if TYPE_CHECKING:
    from sweeprig.bench.batch.series import Batch, Entry
    from sweeprig.bench.face import Face
    from sweeprig.bench.sweep.prompts import SweepState
    from sweeprig.bench.sweep.sweep import SweepDone
    from sweeprig.errors import SweeprigError
    from sweeprig.link.client import RigClient

QUIT = "\x04"  # Ctrl-D; a typed q may begin a serial number
HINT = (
    "Scan or type the serial number, then Enter; Enter alone takes the next number.",
    "Space or the rig's button repeats the sensor on the bench; Ctrl-D ends.",
)


def unheeded_keys() -> str:
    """Return no keys; in a rehearsal the simulated bench gets them."""
    if screens.LISTENERS:
        screens.read_keys()
    return ""


class Desk:
    """Screen, keys and sounds of a series. Without a terminal: a line each, serial numbers from standard input."""

    def __init__(
        self, client: RigClient, screen: screens.Screen | None, *, sleep: Callable[[float], None]
    ) -> None:
        self._client = client
        self._screen = screen
        self._sleep = sleep
        self._above: list[str] = []
        self.more_keys: Callable[[], str] = no_keys  # pressed elsewhere

    def wait(self, batch: Batch) -> bool:
        """Wait for the next sensor; False where the series is to end."""
        if not sys.stdin.isatty():
            line = sys.stdin.readline()
            batch.next_sensor(line)
            return bool(line)
        shown = None
        while True:
            keys = screens.typed_keys() + self.more_keys()
            if QUIT in keys:
                return False
            if batch.key(keys):
                return True
            if self._button():
                batch.again()
                return True
            if shown != batch.typed:
                shown = batch.typed
                self._draw([f"  serial: {shown}_", *(f"  {h}" for h in HINT)])

    def _button(self) -> bool:
        from sweeprig.link.messages import Mark

        return any(isinstance(e, Mark) for e in self._client.poll(0.05))

    def say(self, lines: list[str]) -> None:
        """Show lines above the next prompt."""
        self._above = lines
        if self._screen is None:
            console.end_progress()
            for line in lines:
                console.say(line)

    def result(self, batch: Batch, done: SweepDone | None) -> None:
        """Show the verdict large and let it be heard."""
        if done is None:
            self.say(["The lever does not move; nothing is saved."])
            return
        entry = batch.entries[-1]
        ends = "   ".join(end_text(entry, end) for end in ("closed", "open"))
        details = [f"  {entry.serial}   {ends}   (sensor {len(batch.entries)} done)"]
        details += [f"  {done.problem}"] if done.problem else []
        self.sound(entry.verdict)
        if self._screen is None:
            self.say([f"{entry.verdict.upper():10} {details[0].strip()}   {entry.reason}", *details[1:]])
            return
        width, height = self._screen.size
        self._above = verdict_lines(
            entry.verdict, entry.reason, details, width, height - 4, colour=colour_wanted()
        )

    def refused(self, error: SweeprigError) -> None:
        """Show why one sensor could not be swept."""
        self.say(error_text(error).splitlines())

    @contextmanager
    def running(self, batch: Batch) -> Iterator[Face[SweepState]]:
        """Obey Ctrl-C while one sensor is swept; other keys wait, since they may be the next serial number."""
        title = f"{batch.serial}   sweep {batch.attempt}"
        with stop_on_interrupt() as stop:
            if self._screen is None or not fits(*self._screen.size):
                yield StepFace(stop, unheeded_keys)
                return
            lines = partial(screen_lines, title=title, hint=LEVER_KEYS if screens.LISTENERS else "")
            face: ScreenFace[SweepState] = ScreenFace(self._screen, lines, stop)
            face.pressed = unheeded_keys  # type: ignore[method-assign]
            yield face

    def _draw(self, below: list[str]) -> None:
        if self._screen is not None:
            width, height = self._screen.size
            lines = [part for line in below for part in fitted(line, width)]
            self._screen.draw([*self._above, "", *lines][-height:])

    def sound(self, verdict: str) -> None:
        """Sound a verdict."""
        sound_verdict(self._client, verdict, self._sleep)


def end_text(entry: Entry, end: str) -> str:
    """Return an end as measured, and beside it as judged where that is another scale."""
    from sweeprig.bench.batch.series import at_supply

    (value, _), (judged, _) = entry.measured(end), entry.judged(end)
    if value is None:
        return f"{end} -"
    other = (
        ""
        if entry.nominal_v is None or judged is None
        else f" ({judged:z.4f} V {at_supply(entry.nominal_v)})"
    )
    return f"{end} {value:z.4f} V{other}"


@contextmanager
def series_desk(client: RigClient, *, sleep: Callable[[float], None] = time.sleep) -> Iterator[Desk]:
    """Give the other screen and single keys where both ends are a terminal."""
    if not (screens.is_terminal() and sys.stdin.isatty()):
        yield Desk(client, None, sleep=sleep)
        return
    with screens.single_keys(), screens.Screen() as screen:
        yield Desk(client, screen, sleep=sleep)
