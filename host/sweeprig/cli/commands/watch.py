"""`watch`: the live reading, large, between its rails."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import typer

from sweeprig.cli import options as opt
from sweeprig.cli.console import console
from sweeprig.cli.rehearsing import with_keys
from sweeprig.cli.session import RigOptions, with_options
from sweeprig.cli.sweeping import is_simulated, title_of
from sweeprig.cli.web_page import PageOptions, beside
from sweeprig.words import Sense, Starts


@dataclass(frozen=True)
class WatchOptions(RigOptions, PageOptions):
    """What `watch` takes."""

    seconds: Annotated[
        float,
        typer.Option("--seconds", min=0.0, max=86400.0, help="End after this time [s]; 0: until Ctrl-C."),
    ] = 0.0
    starts: opt.StartsOption = Starts.ANYWHERE
    sense: opt.SenseOption = Sense.UNKNOWN
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object a line, ten a second.")] = (
        False
    )


@with_options(WatchOptions)
def watch(asked: WatchOptions) -> None:
    """Show the live reading, large, with its margins to ground and supply. Ends with Ctrl-C or q."""
    from sweeprig.bench.readings.watch import Watcher
    from sweeprig.bench.watch import run_watch
    from sweeprig.cli.views.live import plain_line
    from sweeprig.cli.views.watch import watch_face

    setup = asked.setup(starts=asked.starts, sense=asked.sense)
    with beside(asked) as page, asked.session(setup) as s:
        watcher = Watcher(
            s.profile,
            starts_closed=setup.starts is Starts.CLOSED,
            given_sense=setup.sense,
            title=title_of(s),
            hint=with_keys("q or Ctrl-C ends", rehearsal=bool(s.client.hello().get("rehearsal"))),
        )
        shown = watch_face(as_json=asked.as_json)
        with page.reading(shown, simulated=is_simulated(s), end="End") as face:
            run_watch(s, watcher, face, seconds=asked.seconds)
    console.say(plain_line(watcher.state()).strip())


def add_to(app: typer.Typer) -> None:
    """Add the commands of this module."""
    app.command()(watch)
