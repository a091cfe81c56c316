"""A simulated rig: a world, and the board's firmware in it."""

from __future__ import annotations

import time
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sweeprig.frontend import front_end
from sweeprig.twin.feed import Feed, Playable
from sweeprig.twin.kept_file import kept_file
from sweeprig.twin.machines import Machine, start_machine
from sweeprig.twin.rehearsal import BENCH, RehearsedFeed
from sweeprig.twin.shaft import TRAVEL_DEG, DriveParts, MotorPath, Shaft
from sweeprig.twin.sim_url import BENCH_VOLTAGE, BENCH_VOLTS, SimOptions, uid_of

if TYPE_CHECKING:
    from sweeprig.twin.converter import Converter
    from sweeprig.twin.sensors import SensorSpec

_SEEDS_APART = 7919  # of the hands of one rig, start after start
_MOTOR_CHUNK = 4  # windows drawn at a time where a motor moves the lever: what the firmware fetches at once


def identity(options: SimOptions) -> dict[str, Any]:
    """Return what the board's hello says of a simulated rig."""
    from sweeprig import __version__

    end = front_end(options.board)
    return {
        "firmware": __version__,
        "board": f"simulated {options.board} build",
        "chip": options.chip,
        "uid": uid_of(options.board, options.chip, options.seed),
        "build": options.board,
        "capabilities": list(end.capabilities),
        "hookups": list(end.hookups),
        "reset_cause": "power on",
        "smps": "pwm",
        "simulated": True,
        **({"rehearsal": True} if options.rehearse else {}),
        **({"kept": str(kept_file(options.kept))} if options.kept else {}),
    }


def turned(spec: SensorSpec, options: SimOptions) -> SensorSpec:
    """Return the sensor turned on its mount and moved by the hand that the URL names."""
    turn_deg = options.turn + (BENCH.turned_deg if options.rehearse else 0.0)
    shift_v = turn_deg * (spec.open_v - spec.closed_v) / TRAVEL_DEG
    spec = replace(spec, closed_v=spec.closed_v + shift_v, open_v=spec.open_v + shift_v)
    if options.rehearse:
        return replace(spec, lever="keys", hand=replace(spec.hand, stroke_s=(options.stroke, options.stroke)))
    if options.hand == "strokes":
        return spec
    starts = "open" if options.hand == "open" else "closed"
    return replace(spec, lever="still", hand=replace(spec.hand, starts=starts))


def _spec(options: SimOptions, n_starts: int) -> SensorSpec:
    from sweeprig.twin.sensors import load_sensor, stiff

    if options.sensor != BENCH_VOLTAGE:
        return turned(load_sensor(options.sensor), options)
    volts = options.volts or BENCH_VOLTS
    return stiff(volts[min(max(n_starts, 1), len(volts)) - 1])


def _converter(options: SimOptions) -> Converter | None:
    """Return the converter of the table that the URL names, with the mean noise of boards of this chip."""
    if not options.converter:
        return None
    from sweeprig.frontend.converters import laws
    from sweeprig.twin.converter_table import read_converter

    noise_lsb = sum(laws()[options.chip].noise_lsb) / 2
    return read_converter(Path(options.converter), noise_lsb=noise_lsb)


def shaft_of(options: SimOptions) -> Shaft | None:
    """Return the shaft of a driven build."""
    if options.board != "driven":
        return None
    return Shaft(DriveParts(options.motor, options.slack, options.zero, options.magnet, options.home))


def _moved_by(shaft: Shaft | None, spec: SensorSpec) -> dict[str, Any]:
    """Return what a world needs to know where a motor moves the lever."""
    if shaft is None or not shaft.taken:
        return {}
    from sweeprig.twin.scene import KNOT_S

    path = MotorPath(shaft, low=spec.hand.closed_at, high=spec.hand.open_at, dt_s=KNOT_S)
    return {"path": path, "chunk": _MOTOR_CHUNK}


def make_world(options: SimOptions, n_starts: int = 0, *, shaft: Shaft | None = None) -> Playable:
    """Return the world that the URL asks for: the same rig at every start, another hand.

    A bench voltage goes on to its next volts at each start of sampling; a calibration starts it once a point.
    """
    from sweeprig.twin.world import World

    spec = _spec(options, n_starts)
    world = World(
        spec,
        seed=options.seed + _SEEDS_APART * n_starts,
        rig_seed=options.seed,
        build=options.board,
        chip=options.chip,
        converter=_converter(options),
        engine_at_s=options.engine,
        system_v=options.system,
        **_moved_by(shaft, spec),
    )
    if options.jumper != "ramp" or "ramp" not in world.front_end.capabilities:
        return world
    from sweeprig.twin.own_ramp import RampedWorld

    return RampedWorld(world, seed=options.seed + _SEEDS_APART * n_starts)


def switch_on(options: SimOptions) -> tuple[Machine, Feed]:
    """Start the board in its world."""
    clock = time.monotonic if options.pace == "real" else None
    shaft = shaft_of(options)
    make = partial(make_world, options, shaft=shaft)
    if options.rehearse:
        feed: Feed = RehearsedFeed(make, clock, bench=BENCH, presses=options.press, shaft=shaft)
    else:
        feed = Feed(make, clock, presses=options.press, shaft=shaft)
    return start_machine(options.vm, feed, identity(options)), feed
