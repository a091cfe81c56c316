"""`watch`: the live reading, large, between its rails."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TYPE_CHECKING, Annotated

import typer

from sweeprig.cli import options as opt
from sweeprig.cli.asking import ConfirmKeys, DriveOption, Override, ask_drive, asking, books
from sweeprig.cli.commands.sweep import make_setup, settings, stop_on_interrupt
from sweeprig.cli.console import colour_wanted, console
from sweeprig.words import Hookup, Sense, Setting, Starts

if TYPE_CHECKING:
    from sweeprig.bench.readings.watch import Watcher, WatchState
    from sweeprig.bench.session import Session

FRAME_S = 0.1  # [s] of the rig's time between two frames
LINE_S = 1.0  # ... between two lines where there is no screen

Show = Callable[["WatchState"], None]


def watch(
    port: opt.Port = "",
    seconds: Annotated[
        float, typer.Option("--seconds", min=0.0, help="End after this [s]; 0: Ctrl-C.")
    ] = 0.0,
    profile: opt.ProfileName = None,
    hookup: opt.HookupOption = Hookup.POWERED,
    starts: opt.StartsOption = Starts.ANYWHERE,
    sense: opt.SenseOption = Sense.UNKNOWN,
    setting: opt.SettingOption = Setting.BENCH,
    job: opt.Job = "",
    track_ohm: opt.TrackOhm = None,
    confirm: ConfirmKeys = None,
    drive: DriveOption = "",
    override: Override = "",
    as_json: Annotated[
        bool, typer.Option("--json", help="Print one JSON object a line, ten a second.")
    ] = False,
) -> None:
    """Show the live reading large, between its rails, with margins and the last seconds. Ends with Ctrl-C or q."""
    from sweeprig.bench.board.rig import opened_rig
    from sweeprig.bench.readings.watch import Watcher
    from sweeprig.bench.session import session

    config, places = settings()
    values = {"profile": profile, "hookup": hookup, "sense": sense, "setting": setting.value, "job": job,
              "track_ohm": track_ohm, "override": override, "starts": starts,
              "vehicle_drive": ask_drive(drive, setting.value)}  # fmt: skip
    setup = make_setup(config, values)
    with (
        opened_rig(port or config.port) as client,
        session(client, setup, trims=places.trims, ask=asking(confirm), books=books()) as s,
    ):
        watcher = Watcher(
            s.profile,
            starts_closed=starts is Starts.CLOSED,
            told_sense=setup.sense,
            title=f"{s.profile.name}, {setup.hookup}",
            hint="q or Ctrl-C ends",
        )
        run_view(s, watcher, seconds=seconds, as_json=as_json)
    console.say(_last_words(watcher.state()))


def _last_words(state: WatchState) -> str:
    from sweeprig.cli.views.live import plain_line

    return plain_line(state).strip()


def run_view(
    s: Session,
    watcher: Watcher,
    *,
    seconds: float,
    as_json: bool = False,
    adorn: Callable[[WatchState], WatchState] = lambda s: s,
    done: Callable[[WatchState], bool] = lambda _s: False,
    on_keys: Callable[[str], None] = lambda _k: None,
) -> bool:
    """Stream until `seconds` of the rig's time are over (0: without end), `done`, q or Ctrl-C; False for Ctrl-C."""
    from sweeprig.cli.views.screen import Screen, is_terminal, read_keys, single_keys

    if as_json:
        return _loop(s, watcher, _show_json, seconds, FRAME_S, adorn, done, lambda: "", on_keys)
    if not is_terminal():
        return _loop(s, watcher, _show_line, seconds, LINE_S, adorn, done, lambda: "", on_keys)
    with Screen() as screen, single_keys():
        return _loop(s, watcher, _drawer(screen), seconds, FRAME_S, adorn, done, read_keys, on_keys)


def _show_json(state: WatchState) -> None:
    from sweeprig.bench.readings.watch import state_json

    console.show_json(state_json(state), indent=None)


def _show_line(state: WatchState) -> None:
    from sweeprig.cli.views.live import plain_line

    console.show(plain_line(state))


def _drawer(screen: object) -> Show:
    from sweeprig.cli.views.live import view_lines
    from sweeprig.cli.views.screen import Screen

    assert isinstance(screen, Screen)
    colour = colour_wanted()
    drawn = [0.0]

    def draw(state: WatchState) -> None:
        moment = time.monotonic()  # a fast simulated rig must not draw faster than anybody can see
        if moment - drawn[0] >= FRAME_S / 2:
            drawn[0] = moment
            columns, rows = screen.size
            screen.draw(view_lines(state, columns, rows, colour=colour))

    return draw


def _loop(
    s: Session,
    watcher: Watcher,
    show: Show,
    seconds: float,
    every_s: float,
    adorn: Callable[[WatchState], WatchState],
    done: Callable[[WatchState], bool],
    keys: Callable[[], str],
    on_keys: Callable[[str], None],
) -> bool:
    from sweeprig.bench.readings.live import streaming

    shown = -1.0
    with streaming(s.client, s.setup.hookup), stop_on_interrupt() as stop:
        while not stop():
            chunk = s.look(FRAME_S)
            if chunk.trace is not None:
                watcher.feed(chunk.trace)
                state = adorn(watcher.state(columns=200))
                if state.seconds - shown >= every_s:
                    shown = state.seconds
                    show(state)
                if done(state) or (seconds and state.seconds >= seconds):
                    return True
            pressed = keys()
            on_keys(pressed)
            if "q" in pressed:
                return True
    return False


def add_to(app: typer.Typer) -> None:
    """Add the commands of this module."""
    app.command()(watch)
