"""`sweep --series`: a batch of sensors without touching the keyboard more than needed; `gauge`: the gauge study."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sweeprig.cli import options as opt
from sweeprig.cli.console import colour_wanted, console

if TYPE_CHECKING:
    from sweeprig.bench.batch.series import Batch, Entry
    from sweeprig.bench.sweep.sweep import SweepDone, SweepOrder
    from sweeprig.bench.sweep.trigger import Trigger
    from sweeprig.cli.views.screen import Screen
    from sweeprig.link.client import RigClient

QUIT = "\x04"  # Ctrl-D; a typed q may begin a serial number
HINT = (
    "Scan or type the serial number, then Enter; Enter alone counts on.",
    "Space or the rig's button repeats the sensor on the bench; Ctrl-D ends.",
)
BELL_S = 0.25  # [s] between two bells


class Desk:
    """Screen, keys and sounds of a series. Without a terminal: a line each, serial numbers from standard input."""

    def __init__(self, client: RigClient, screen: Screen | None, *, sleep: Callable[[float], None]) -> None:
        self._client = client
        self._screen = screen
        self._sleep = sleep
        self._above: list[str] = []

    def wait(self, batch: Batch) -> bool:
        """Wait for the next sensor; False where the series is to end."""
        if not sys.stdin.isatty():
            line = sys.stdin.readline()
            batch.next_sensor(line)
            return bool(line)
        from sweeprig.cli.views.screen import read_keys

        shown = None
        while True:
            keys = read_keys()
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

    def look(self, batch: Batch, trigger: Trigger) -> None:
        """Show how the running sweep stands."""
        text = f"{batch.serial}   sweep {batch.attempt}   {trigger.line}"
        if self._screen is None:
            console.progress(text)
            return
        width, _ = self._screen.size
        self._screen.draw(
            [line[:width] for line in ["", f"  {text}", "", f"  signal {trigger.lever.level_v:z.3f} V"]]
        )

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
            self.say(["The lever did not move; nothing was kept."])
            return
        from sweeprig.cli.views.verdict import verdict_lines

        entry = batch.entries[-1]
        ends = "   ".join(_end_text(entry, end) for end in ("closed", "open"))
        details = [f"  {entry.serial}   {ends}   ({len(batch.entries)} swept)"]
        details += [f"  {done.record_problem}"] if done.record_problem else []
        self.sound(entry.verdict)
        if self._screen is None:
            self.say([f"{entry.verdict.upper():10} {details[0].strip()}   {entry.reason}", *details[1:]])
            return
        width, height = self._screen.size
        self._above = verdict_lines(
            entry.verdict, entry.reason, details, width, height - 4, colour=colour_wanted()
        )

    def _draw(self, below: list[str]) -> None:
        if self._screen is not None:
            width, height = self._screen.size
            self._screen.draw([*self._above, "", *(line[:width] for line in below)][-height:])

    def sound(self, verdict: str) -> None:
        """Sound the rig's buzzer where it is fitted, and the terminal's bell as often."""
        from sweeprig.bench.batch.series_run import SOUNDS
        from sweeprig.bench.readings import live
        from sweeprig.errors import LinkError

        has_buzzer = live.has(self._client, "buzzer")
        for at, ms in enumerate(SOUNDS.get(verdict, ())):
            if at:
                self._sleep(BELL_S + ms / 1000)
            if has_buzzer:
                with suppress(LinkError):
                    live.switch(self._client, "buzzer", ms=ms)
            console.bell()


def _end_text(entry: Entry, end: str) -> str:
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
def _screen() -> Iterator[Screen | None]:
    """Give the other screen and single keys where both ends are a terminal."""
    from sweeprig.cli.views.screen import Screen, is_terminal, single_keys

    if not (is_terminal() and sys.stdin.isatty()):
        yield None
        return
    with single_keys(), Screen() as screen:
        yield screen


def run_series(
    client: RigClient,
    order: SweepOrder,
    *,
    name: str = "",
    confirm: list[str] | None = None,
    as_json: bool = False,
    sleep: Callable[[float], None] = time.sleep,
) -> None:
    """Sweep sensors until the operator ends the series; print the batch in the end."""
    from datetime import datetime

    from sweeprig.bench.batch.batch import batch_json, batch_lines
    from sweeprig.bench.batch.series import Batch

    batch = Batch(name or f"{datetime.now():%Y%m%d-%H%M}")
    with _screen() as screen:
        desk = Desk(client, screen, sleep=sleep)
        with suppress(KeyboardInterrupt):
            while desk.wait(batch):
                _one(client, order, batch, desk, confirm)
    if as_json:
        console.show_json(batch_json(batch.name, batch.entries))
        return
    for line in batch_lines(batch.name, batch.entries):
        console.show(line)


def _one(client: RigClient, order: SweepOrder, batch: Batch, desk: Desk, confirm: list[str] | None) -> None:
    """Sweep one sensor; what goes wrong with it is said and the series goes on, a lost rig ends it."""
    from sweeprig.bench.batch.series_run import sweep_one
    from sweeprig.cli.asking import asking, books
    from sweeprig.cli.commands.sweep import stop_on_interrupt
    from sweeprig.cli.console import error_text
    from sweeprig.errors import LinkError, SweeprigError

    try:
        with stop_on_interrupt() as stop:
            done = sweep_one(
                client,
                order,
                batch,
                on_look=lambda trigger: desk.look(batch, trigger),
                stop=stop,
                ask=asking(confirm),
                books=books(),
            )
    except LinkError:
        raise
    except SweeprigError as error:
        desk.say(error_text(error).splitlines())
        return
    desk.result(batch, done)


def gauge(
    file: Annotated[Path | None, typer.Argument(help="CSV with part, operator and value_v.")] = None,
    batch: Annotated[str, typer.Option("--batch", help="Instead: the records of this batch.")] = "",
    end: Annotated[str, typer.Option("--end", help="With --batch: closed or open.")] = "closed",
    tolerance: Annotated[
        float | None,
        typer.Option("--tolerance", min=0.0, help="Width of the tolerance [V], for 6 GRR against it."),
    ] = None,
    place: Annotated[str, typer.Option("--records", help="With --batch: where the records are.")] = "",
    as_json: opt.AsJson = False,
) -> None:
    """Gauge study: how much of the spread is the rig's and the operators', and how much the sensors'."""
    from sweeprig.bench.batch import gauge_data as data
    from sweeprig.bench.batch.gauge import study
    from sweeprig.errors import InputError

    if (file is None) == (not batch):
        raise InputError("A gauge study needs one source.", next_step="name a CSV, or --batch NAME")
    if file is not None:
        readings = data.some(data.readings_of_csv(file), source=str(file))
    else:
        readings = data.some(data.readings_of_records(_batch(place, batch), end), source=f"batch {batch}")
    found = study(data.table(readings))
    if as_json:
        console.show_json(data.gauge_json(found, tolerance))
        return
    for line in data.gauge_lines(found, tolerance):
        console.show(line)


def _batch(place: str, name: str) -> list[Any]:
    from sweeprig.cli.commands.records import place_of
    from sweeprig.records.store import open_store

    with open_store(place_of(place), create=False) as store:
        return store.find(batch=name)[::-1]


def add_to(app: typer.Typer) -> None:
    """Add the commands."""
    app.command()(gauge)
