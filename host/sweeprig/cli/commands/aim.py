"""`aim`: turn an adjustable sensor on its mount, knowing beforehand where both ends will stand."""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sweeprig.cli import guiding
from sweeprig.cli import options as opt
from sweeprig.cli.asking import asking
from sweeprig.cli.console import EXIT_OF_VERDICT, console, strong
from sweeprig.cli.rehearsing import SIMULATED, close_lever, is_rehearsal, say_turned, with_keys
from sweeprig.cli.session import SensorOptions, settings, with_options
from sweeprig.cli.sweeping import files_of, is_simulated, print_done, status_of, take_sweep
from sweeprig.cli.web_page import ALONE, Page, PageOptions, beside, stay
from sweeprig.words import Starts

if TYPE_CHECKING:
    from sweeprig.bench.aim.aim import Ends, Plan
    from sweeprig.bench.sweep.sweep import SweepOrder
    from sweeprig.capture.model import SweepSetup
    from sweeprig.judge.outcome import Outcome
    from sweeprig.judge.profile import Profile


@dataclass(frozen=True)
class AimOptions(SensorOptions, PageOptions):
    """What `aim` takes."""

    mount: Annotated[
        str,
        typer.Option(
            "--mount",
            help="What the sensor sits on: slotted, fixed, electronic-throttle, pedal or stop-screw.",
        ),
    ] = ""
    target: Annotated[
        float | None, typer.Option("--target", help="Closed throttle volts from the vehicle's specification.")
    ] = None
    volts_per_degree: Annotated[
        float | None,
        typer.Option("--volts-per-degree", help="Slope of this sensor, if known [V per degree]."),
    ] = None
    angle: Annotated[
        list[str] | None,
        typer.Option(
            "--angle",
            help="DEGREES=VOLTS: closed throttle read at one angle of the mount. Give it for two"
            " different angles; volts per degree follow from them.",
        ),
    ] = None
    from_file: Annotated[
        Path | None, typer.Option("--from", help="Capture that shows both ends; default: sweep first.")
    ] = None
    plan_only: Annotated[
        bool,
        typer.Option(
            "--plan", help="Only show what turning would do to closed and open throttle; nothing is turned."
        ),
    ] = False
    longest: Annotated[
        float, typer.Option("--longest", min=1.0, max=3600.0, help="Longest time for turning the sensor [s].")
    ] = 600.0
    seconds: opt.SweepSeconds = None


@with_options(AimOptions)
def aim(asked: AimOptions) -> None:
    """Adjust a sensor on its slotted mount: see what turning does to both ends, turn it, confirm with a sweep."""
    from sweeprig.bench.aim.aim import CAUTIONS, check_mount, check_target, plan
    from sweeprig.bench.aim.text import plan_lines
    from sweeprig.capture.folder import ready_folder
    from sweeprig.judge.profile import load_profile

    order = _order(asked)
    profile = load_profile(order.setup.profile)
    if asked.target is not None:
        check_target(asked.target, profile)
    slope = _slope(asked.volts_per_degree, asked.angle)
    check_mount(_mount(asked.mount), profile, target_v=asked.target)
    if asked.from_file is None or not asked.plan_only:
        ready_folder(order.folder)
    with beside(asked) as page:
        ends, asked = _both_ends(asked, order, profile, page)
        proposed = plan(ends, profile, target_v=asked.target, volts_per_degree=slope)
        lines = plan_lines(ends, proposed)
        for line in lines:
            console.say(line)
        page.wait("TO BE TURNED" if proposed.possible else "NO POSITION FITS", proposed.reason, facts=lines)
        if proposed.possible and not _asked_one_by_one(asked):
            for text in CAUTIONS:
                console.say(f"CAUTION: {text}")
        if asked.plan_only or not proposed.possible:
            stay(page)
            _exit_with(ends, proposed, as_json=asked.as_json)
        _sweep_again(_turned(asked, order, ends, proposed, slope, page), order, ends, proposed, page)


def _order(asked: AimOptions) -> SweepOrder:
    """Return the order; where no profile is named and the configured one has no target, that of a slotted mount."""
    from sweeprig.bench.aim.aim import SLOTTED_PROFILE
    from sweeprig.judge.profile import load_profile

    setup = asked.setup(seconds=asked.seconds, starts=Starts.CLOSED)
    if asked.profile is None and asked.target is None and load_profile(setup.profile).aim is None:
        console.say(f"Using profile {SLOTTED_PROFILE}: {setup.profile} gives no target for closed throttle.")
        setup = replace(setup, profile=SLOTTED_PROFILE)
    return replace(asked.order(setup), timed=asked.seconds is not None)


def _mount(mount: str) -> str:
    """Return the mount as given, else as answered at a terminal."""
    from sweeprig.bench.aim.aim import SLOTS_ASKED, Mount

    if mount or not sys.stdin.isatty():
        return mount
    return Mount.SLOTTED if guiding.yes(SLOTS_ASKED, option="--mount") else Mount.FIXED


def _slope(typed: float | None, angles: list[str] | None) -> float | None:
    """Return volts per degree as typed, else as measured by two angles; None where neither was given."""
    from sweeprig.bench.aim.aim import TWO_ANGLES, check_steepness
    from sweeprig.bench.aim.text import parse_angle, per_degree
    from sweeprig.errors import InputError

    if typed is not None:
        check_steepness(typed)
        return typed
    if not angles:
        return None
    if len(angles) != 2:
        raise InputError(
            "Volts per degree need two angles.",
            seen=f"{len(angles)} given",
            limit="two --angle DEGREES=VOLTS",
            next_step=f"add two of them: {TWO_ANGLES}",
        )
    slope = per_degree(parse_angle(angles[0]), parse_angle(angles[1]))
    check_steepness(abs(slope), seen=f"{slope:z.4f} V per degree by --angle {' --angle '.join(angles)}")
    return slope


def _exit_with(ends: Ends, proposed: Plan, *, as_json: bool) -> None:
    from sweeprig.bench.aim.text import plan_json

    if as_json:
        console.show_json({"schema_version": 1, "plan": plan_json(ends, proposed)})
    else:
        console.show(strong(proposed.reason))
    raise typer.Exit(EXIT_OF_VERDICT["pass" if proposed.possible else "fail"])


def _so_far(asked: AimOptions, setup: SweepSetup) -> AimOptions:
    """Return the options with what this run has confirmed: no plug is moved between its sweeps."""
    from sweeprig.bench.hookup.cautions import PLUG_OFF, keys_of

    plug_off = [PLUG_OFF.key] if PLUG_OFF.key in keys_of(setup.confirmed) else []
    return replace(asked, confirm=[*(asked.confirm or []), *plug_off])


def _port(asked: AimOptions) -> str:
    return asked.port or settings()[0].port


def _by_hand(port: str) -> bool:
    """Return whether the sensor is turned by hand or, in a rehearsal, by keys; any other simulated one is not."""
    return not port.startswith(SIMULATED) or is_rehearsal(port)


def _asked_one_by_one(asked: AimOptions) -> bool:
    """Return whether each caution about turning has its own question, as in the guide."""
    return guiding.is_leading() and _by_hand(_port(asked)) and not asked.plan_only


def _read(asked: AimOptions) -> None:
    """Wait until the operator has read the cautions; without a terminal nobody is asked. Raises SafetyError."""
    from sweeprig.bench.guide import turning_items
    from sweeprig.bench.hookup.cautions import TURNING, refused

    if guiding.is_leading():
        guiding.confirmed(turning_items(rehearsal=is_rehearsal(_port(asked))))
    elif sys.stdin.isatty() and not asking(asked.confirm).confirm(TURNING):
        raise refused(TURNING)


def _both_ends(asked: AimOptions, order: SweepOrder, profile: Profile, page: Page) -> tuple[Ends, AimOptions]:
    """Return both ends, of a capture named, else of a sweep made now, and the options with what it confirmed."""
    from sweeprig.bench.aim.aim import BASE_STOP
    from sweeprig.bench.aim.text import ends_of
    from sweeprig.bench.review.review import Choices, review_file

    if asked.from_file is not None:
        seen = review_file(asked.from_file, Choices(profile=profile.path or profile.name))
        _warn_of_faults(seen)
        return ends_of(seen), asked
    console.say(f"CAUTION: {BASE_STOP}")
    console.say("A sweep first, to see both ends: from closed throttle, stop to stop.")
    first = replace(order, sheet="none")
    with asked.rig() as client:
        # half a one is no ground to turn
        done = take_sweep(client, first, confirm=asked.confirm, must_complete=True, page=page)
    _warn_of_faults(done.outcome)
    return ends_of(done.outcome), _so_far(asked, done.outcome.setup)


def _warn_of_faults(outcome: Outcome) -> None:
    """Say what a sweep shows that turning does not mend: a worn sensor is not to be adjusted."""
    from sweeprig.bench.aim.text import not_mended

    words = not_mended(outcome)
    if words:
        console.warn(words)


def _turned(
    asked: AimOptions, order: SweepOrder, ends: Ends, proposed: Plan, slope: float | None, page: Page
) -> AimOptions:
    """Have the sensor turned; return how it is found from then on: a simulated one is turned in its address."""
    from sweeprig.bench.aim.text import simulated_turn

    port = _port(asked)
    if _by_hand(port):
        _read(asked)
        if is_rehearsal(port):
            close_lever()
        return turn(asked, order, ends, proposed, slope, page)
    address, turned = simulated_turn(port, proposed.move_v, ends)
    console.say(turned)
    return replace(asked, port=address)


def turn(
    asked: AimOptions, order: SweepOrder, ends: Ends, proposed: Plan, slope: float | None, page: Page = ALONE
) -> AimOptions:
    """Show the way to the target until the reading has stood inside the window long enough, or q.

    Return the options with what was confirmed.
    """
    from sweeprig.bench.aim.text import AimGuide
    from sweeprig.bench.readings.watch import Watcher
    from sweeprig.bench.watch import run_watch
    from sweeprig.cli.views.watch import watch_face

    guide = AimGuide(proposed.window, proposed.predicted_closed_v, slope, ends)
    with (
        asked.session(order.setup) as s,
        page.reading(watch_face(), simulated=is_simulated(s), end="Go on to the sweep") as face,
    ):
        hint = with_keys("q: to the sweep", rehearsal=bool(s.client.hello().get("rehearsal")))
        watcher = Watcher(s.profile, title="aim: lever at the base stop", hint=hint)
        if not run_watch(s, watcher, face, seconds=asked.longest, guide=guide):
            raise KeyboardInterrupt
    console.say("Inside the window." if guide.inside else "Left outside the window.")
    return _so_far(asked, s.setup)


def _sweep_again(asked: AimOptions, order: SweepOrder, ends: Ends, proposed: Plan, page: Page) -> None:
    """Sweep to confirm; leave with its verdict's status."""
    from sweeprig.bench.aim.text import plan_json
    from sweeprig.bench.review.result import to_result

    console.say("Now a sweep to confirm: from closed throttle, stop to stop.")
    with asked.rig() as client:
        done = take_sweep(client, order, confirm=asked.confirm, page=page)
    page.done(done)
    if asked.as_json:
        result = {**to_result(done.outcome), **files_of(done)}
        console.show_json({"schema_version": 1, "plan": plan_json(ends, proposed), "after": result})
    else:
        print_done(done, as_json=False)
    if is_rehearsal(port := _port(asked)):
        say_turned(port)
    stay(page)
    raise typer.Exit(status_of(done))


def add_to(app: typer.Typer) -> None:
    """Add the commands of this module."""
    app.command()(aim)
