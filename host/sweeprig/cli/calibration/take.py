"""A calibration at the terminal, from the first question to the stored file."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from sweeprig.cli.asking import answered, question, typed_line
from sweeprig.cli.console import console

if TYPE_CHECKING:
    from sweeprig.bench.calibration.calibrate import CalibrationOrder
    from sweeprig.bench.calibration.points import Measured
    from sweeprig.calibration.model import Calibration, Meter
    from sweeprig.link.client import RigClient

HOW_TO = (
    "Unplug the sensor. Put signal A, signal B and the supply lead together on one adjustable voltage of 0 to 5 V, and"
    " sensor ground on its ground. The rig's supply stays off. The meter goes on the same two points."
)
METER_ASKED = "Meter's accuracy on this range, per cent of reading + counts, for example 0.05%+3"


def look_for_rig(port: str) -> None:
    """Raise LinkError where no rig answers."""
    from sweeprig.bench.board.rig import opened_rig

    with opened_rig(port):
        pass


def meter_of(
    text: str, count: float, range_v: float, names: tuple[str, str, str] = ("", "", ""), *, wanted: bool
) -> Meter | None:
    """Return the meter; asked for where it is wanted and nothing was said of it. Raises InputError."""
    from sweeprig.bench.calibration.points import parse_meter

    if not text and wanted:
        text = answered(
            lambda: typer.prompt(question(METER_ASKED), err=True),
            option="--meter, for example --meter 0.05%+3",
        )
    if not text:
        return None
    name, serial, certificate = names
    meter = parse_meter(
        text, count_v=count, range_v=range_v, name=name, serial=serial, certificate=certificate
    )
    if "+" not in text:
        console.say("No counts given for the meter: 0 is taken. Its data sheet has them: --meter 0.05%+3.")
    return meter


def run_calibration(
    port: str, order: CalibrationOrder, n: int, points_file: Path | None, *, as_json: bool
) -> None:
    """Take the points, make the calibration, store and print it. Raises SweeprigError with the points kept."""
    from dataclasses import replace

    from sweeprig.bench.board.rig import opened_rig
    from sweeprig.bench.calibration.calibrate import make_calibration, store
    from sweeprig.bench.calibration.points import read_points
    from sweeprig.bench.calibration.text import done_json, done_lines
    from sweeprig.calibration.store import load_calibration
    from sweeprig.capture.folder import local_now, ready_folder
    from sweeprig.cli.session import settings

    now, calibrations = local_now(), settings()[1].calibrations
    if points_file is None:
        ready_folder(calibrations / "points", what="Calibrations", next_step=TO_CALIBRATIONS)
    taken: list[Measured] = []
    kept = points_file
    with opened_rig(port) as client:
        rig = client.hello()
        before = load_calibration(str(rig["uid"]), folder=calibrations)
        try:
            if points_file:
                taken += read_points(points_file)
            else:
                _take(client, order, n, before, taken)
        finally:
            kept = points_file or _keep(taken, rig, calibrations, now)
    done = replace(
        store(make_calibration(taken, order, rig, before=before), folder=calibrations), points_file=kept
    )
    if as_json:
        console.show_json(done_json(done))
        return
    for line in done_lines(done, now=now, width=console.width):
        console.show(line)
    console.say()
    console.say(f"Calibration: {done.file}")


TO_CALIBRATIONS = "free some space, or make this folder writable; then calibrate"


def _keep(taken: list[Measured], rig: Any, calibrations: Path, now: Any) -> Path | None:
    from sweeprig.bench.calibration.calibrate import keep_points
    from sweeprig.errors import SweeprigError

    if not taken:
        return None
    try:
        kept = keep_points(taken, folder=calibrations, uid=str(rig["uid"]), when=now)
    except SweeprigError:
        for point in taken:
            codes = ", ".join(f"{code:.2f}" for code in point.codes)
            console.warn(f"reading {point.reading_v} V, codes {codes}")
        raise
    console.say(f"Points: {console.named(kept)}   (for `sweeprig calibrate --points-file`)")
    return kept


def _take(
    client: RigClient, order: CalibrationOrder, n: int, before: Calibration | None, taken: list[Measured]
) -> None:
    console.say(HOW_TO)
    if order.reference == "monitor":
        from sweeprig.bench.calibration.calibrate import take_with_monitor
        from sweeprig.cli.views.face import stop_on_interrupt

        console.say("Turn the voltage in steps over the whole range. Ctrl-C ends with the points so far.")
        with stop_on_interrupt() as stop:
            taken += take_with_monitor(client, n=n, stop=stop, said=console.say, before=before)
        return
    _typed_points(client, order, n, taken)


def _typed_points(client: RigClient, order: CalibrationOrder, n: int, taken: list[Measured]) -> None:
    """Ask for each voltage and read it; each is added to `taken` as soon as it is known."""
    from sweeprig.bench.calibration.points import wanted_volts

    range_v = order.meter.range_v if order.meter else 10.0
    for number, volts in enumerate(wanted_volts(n), start=1):
        prompt = f"Point {number} of {n}: set about {volts:g} V, let it settle. Meter reads"
        taken.append(_one_point(client, prompt, range_v))


def _one_point(client: RigClient, prompt: str, range_v: float) -> Measured:
    """Return one point. Ask again where the voltage moves; a reading from a pipe is kept for the next try."""
    from dataclasses import replace

    from sweeprig.bench.calibration.points import MOST_TRIES, calibration_hookup, measure, moving_error

    hookup = calibration_hookup(client)
    reading = _reading(prompt, range_v)
    for tried in range(1, MOST_TRIES + 1):
        point = measure(client, hookup=hookup)
        if point.steady:
            return replace(point, reading_v=reading)
        if tried == MOST_TRIES:
            break
        console.say("  The voltage is not steady. Let it settle; the rig reads it again.")
        if sys.stdin.isatty():
            reading = _reading(prompt, range_v)
    raise moving_error(point)


def _reading(prompt: str, range_v: float) -> float:
    """Ask for the meter's reading and return it [V]; ask again where it is not a voltage."""
    from sweeprig.bench.calibration.points import parse_reading
    from sweeprig.errors import InputError

    while True:
        text = answered(
            lambda: typed_line(f"{question(prompt)}: "), option="--points-file FILE or fewer --points"
        )
        try:
            return parse_reading(text, range_v=range_v)
        except InputError as error:
            console.say(f"  {error.what} Seen: {error.seen}. Next: {error.next_step}.")
