"""`aim`: turn an adjustable sensor on its mount, knowing beforehand where both ends will stand."""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sweeprig.cli import options as opt
from sweeprig.cli.asking import ConfirmKeys, DriveOption, Override, answered, ask_drive, asking, books
from sweeprig.cli.commands.sweep import make_order, make_setup, settings, show_done, take_sweep
from sweeprig.cli.console import EXIT_OF_VERDICT, console, strong
from sweeprig.words import Hookup, Setting, Starts

if TYPE_CHECKING:
    from sweeprig.bench.aim.aim import Ends, Plan
    from sweeprig.capture.model import SweepSetup
    from sweeprig.judge.profile import Profile

MountOption = Annotated[
    str,
    typer.Option("--mount", help="slotted, fixed, electronic-throttle, pedal or stop-screw."),
]


@dataclass
class Job:
    """What one aim goes by."""

    port: str
    setup: SweepSetup
    profile: Profile
    confirm: list[str] | None
    out: Path | None
    target_v: float | None
    per_degree: float | None
    sheet: str | None
    as_json: bool


def aim(
    port: opt.Port = "",
    mount: MountOption = "",
    profile: opt.ProfileName = None,
    target: Annotated[
        float | None, typer.Option("--target", help="Closed volts by the vehicle's own specification.")
    ] = None,
    volts_per_degree: Annotated[
        float | None, typer.Option("--volts-per-degree", help="Of this sensor, where known.")
    ] = None,
    angle: Annotated[
        list[str] | None, typer.Option("--angle", help="DEGREES=VOLTS at closed throttle; give two of them.")
    ] = None,
    from_file: Annotated[
        Path | None, typer.Option("--from", help="Capture that shows both ends; else a sweep is made first.")
    ] = None,
    plan_only: Annotated[bool, typer.Option("--plan", help="Say what turning would do, and stop.")] = False,
    longest: Annotated[
        float, typer.Option("--longest", min=1.0, help="Longest time for turning the sensor [s].")
    ] = 600.0,
    seconds: opt.Seconds = 5.0,
    hookup: opt.HookupOption = Hookup.POWERED,
    setting: opt.SettingOption = Setting.BENCH,
    label: opt.Label = "",
    job: opt.Job = "",
    operator: opt.Operator = "",
    track_ohm: opt.TrackOhm = None,
    out: opt.Out = None,
    sheet: opt.SheetKind = None,
    confirm: ConfirmKeys = None,
    drive: DriveOption = "",
    override: Override = "",
    as_json: opt.AsJson = False,
) -> None:
    """Turn a sensor on its slotted mount: what it will do to both ends first, then the way there, then a sweep."""
    from sweeprig.bench.aim.aim import CAUTIONS, check_mount, check_target, plan
    from sweeprig.bench.aim.text import plan_lines
    from sweeprig.capture.folder import ready_folder
    from sweeprig.judge.profile import load_profile

    config, _ = settings()
    values = {"seconds": seconds, "profile": profile, "hookup": hookup, "starts": Starts.CLOSED,
              "setting": setting.value, "sensor_label": label, "job": job, "operator": operator,
              "track_ohm": track_ohm, "override": override,
              "vehicle_drive": ask_drive(drive, setting.value)}  # fmt: skip
    setup = make_setup(config, values)
    loaded = load_profile(setup.profile)
    if target is not None:
        check_target(target, loaded)
    slope = _slope(volts_per_degree, angle)
    check_mount(_mount(mount), loaded, target_v=target)
    if from_file is None or not plan_only:
        ready_folder(make_order(setup, out, sheet, None).folder)
    for text in CAUTIONS:
        console.say(f"CAUTION: {text}")
    this = Job(port or config.port, setup, loaded, confirm, out, target, slope, sheet, as_json)
    ends = _ends(this, from_file)
    proposed = plan(ends, loaded, target_v=target, volts_per_degree=slope)
    for line in plan_lines(ends, proposed):
        console.say(line)
    if plan_only or not proposed.possible:
        _end(ends, proposed, as_json=as_json)
    _turn_and_sweep(this, ends, proposed, longest)


def _mount(mount: str) -> str:
    if mount or not sys.stdin.isatty():
        return mount
    question = "Mount (slotted, fixed, electronic-throttle, pedal, stop-screw)"
    answer: str = answered(lambda: typer.prompt(question, err=True), option="--mount")
    return answer.strip().lower()


def _slope(typed: float | None, angles: list[str] | None) -> float | None:
    """Return volts per degree as typed, else as measured by two angles; None where neither was given."""
    from sweeprig.bench.aim.aim import check_steepness
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
            next_step="give two of them: --angle 0=0.31 --angle 5=0.58",
        )
    slope = per_degree(parse_angle(angles[0]), parse_angle(angles[1]))
    check_steepness(abs(slope), seen=f"{slope:z.4f} V per degree by --angle {' --angle '.join(angles)}")
    return slope


def _end(ends: Ends, proposed: Plan, *, as_json: bool) -> None:
    from sweeprig.bench.aim.text import plan_json

    if as_json:
        console.show_json({"schema_version": 1, "plan": plan_json(ends, proposed)})
    else:
        console.show(strong(proposed.reason))
    raise typer.Exit(EXIT_OF_VERDICT["pass" if proposed.possible else "fail"])


def _ends(job: Job, from_file: Path | None) -> Ends:
    """Return both ends: of a capture named, else of a sweep made now."""
    from sweeprig.bench.aim.text import ends_of
    from sweeprig.bench.board.rig import opened_rig
    from sweeprig.bench.review.review import Choices, review_file

    if from_file is not None:
        return ends_of(review_file(from_file, Choices(profile=job.profile.path or job.profile.name)))
    console.say("A sweep first, to see both ends: from closed throttle, stop to stop.")
    with opened_rig(job.port) as client:
        order = replace(_order(job, "none"), records_url=None)
        done = take_sweep(client, order, confirm=job.confirm, whole=True)  # half a one is no ground to turn
    return ends_of(done.outcome)


def _order(job: Job, sheet: str | None) -> Any:
    return make_order(job.setup, job.out, sheet, None)


def _turn_and_sweep(job: Job, ends: Ends, proposed: Plan, longest: float) -> None:
    from sweeprig.bench.aim.text import plan_json, simulated_turn
    from sweeprig.bench.board.rig import SIMULATED, opened_rig

    if job.port.startswith(SIMULATED):
        job.port, told = simulated_turn(job.port, proposed.move_v, ends)
        console.say(told)
    else:
        _turn(job, proposed, longest)
    console.say("Now a sweep to confirm: from closed throttle, stop to stop.")
    with opened_rig(job.port) as client:
        done = take_sweep(client, _order(job, job.sheet), confirm=job.confirm)
    if job.as_json:
        from sweeprig.bench.review.result import to_result

        result = {**to_result(done.outcome), "capture_file": str(done.capture_file)}
        console.show_json({"schema_version": 1, "plan": plan_json(ends, proposed), "after": result})
        raise typer.Exit(EXIT_OF_VERDICT[done.outcome.judgement.verdict])
    show_done(done, as_json=False, budget=False)


def _turn(job: Job, proposed: Plan, longest: float) -> None:
    """Show the way to the target until the reading has stood inside the window long enough, or q."""
    from sweeprig.bench.aim.text import AimGuide
    from sweeprig.bench.board.rig import opened_rig
    from sweeprig.bench.readings.watch import Watcher
    from sweeprig.bench.session import session
    from sweeprig.cli.commands.watch import run_view

    guide = AimGuide(proposed.window, proposed.predicted_closed_v, job.per_degree)
    trims = settings()[1].trims
    with (
        opened_rig(job.port) as client,
        session(client, job.setup, trims=trims, ask=asking(job.confirm), books=books()) as s,
    ):
        watcher = Watcher(s.profile, title="aim: lever at the base stop", hint="q: go on to the sweep")
        if not run_view(s, watcher, seconds=longest, adorn=guide.adorn, done=guide.reached):
            raise KeyboardInterrupt
    console.say("Inside the window." if guide.inside else "Left outside the window.")


def add_to(app: typer.Typer) -> None:
    """Add the commands of this module."""
    app.command()(aim)
