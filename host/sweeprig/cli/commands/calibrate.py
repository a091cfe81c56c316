"""`calibrate`: calibrate the rig against a meter or its own I2C converter, check it, show and list what is stored."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from sweeprig.cli import options as opt
from sweeprig.cli.calibration import options as to
from sweeprig.cli.calibration.stored import list_calibrations, show, stored
from sweeprig.cli.calibration.take import look_for_rig, meter_of, run_calibration
from sweeprig.cli.console import console
from sweeprig.cli.helping import WholeGroup

if TYPE_CHECKING:
    from sweeprig.bench.calibration.verify import Verified
    from sweeprig.calibration.model import Calibration

calibrate_app = typer.Typer(
    cls=WholeGroup,
    help="Calibrate the rig against your meter, verify and show its calibration.",
    subcommand_metavar="[COMMAND] [ARGS]...",
    invoke_without_command=True,
)
FAILED = 10  # as a failing verdict; docs/reference/exit-codes.md


@calibrate_app.callback()
def calibrate(
    context: typer.Context,
    port: opt.Port = "",
    points: to.Points = 5,
    points_file: to.PointsFile = None,
    meter: to.MeterText = "",
    count: to.Count = 0.001,
    meter_range: to.Range = 6.0,
    meter_name: to.MeterName = "",
    meter_serial: to.MeterSerial = "",
    certificate: to.Certificate = "",
    reference: to.ReferenceOption = to.Reference.METER,
    temperature: to.Temperature = None,
    max_age: to.MaxAge = 180,
    operator: to.Operator = "",
    notes: to.Notes = "",
    as_json: opt.AsJson = False,
) -> None:
    """Calibrate every channel at 2 or more voltages; nothing is stored unless all readings fit together."""
    if context.invoked_subcommand is not None:
        return
    from sweeprig.bench.calibration.calibrate import CalibrationOrder
    from sweeprig.bench.calibration.points import read_points
    from sweeprig.cli.session import settings

    config, _ = settings()
    if points_file is not None:
        read_points(points_file)  # what cannot be read is told before anything is asked
    if reference is to.Reference.METER and not meter:
        look_for_rig(port or config.port)  # before anything is asked
    names = (meter_name, meter_serial, certificate)
    order = CalibrationOrder(
        meter=meter_of(meter, count, meter_range, names, wanted=reference is to.Reference.METER),
        operator=operator or config.operator,
        reference=reference.value,
        temperature_c=temperature,
        max_age_days=max_age,
        notes=notes,
    )
    run_calibration(port or config.port, order, points, points_file, as_json=as_json)


@calibrate_app.command("verify")
def verify(
    volts: to.Volts,
    port: opt.Port = "",
    standard_u: to.StandardU = None,
    meter: to.MeterText = "",
    count: to.Count = 0.001,
    meter_range: to.Range = 6.0,
    standard: to.Standard = "",
    as_left: to.AsLeft = False,
    operator: to.Operator = "",
    as_json: opt.AsJson = False,
) -> None:
    """Verify the rig with a known voltage before the first job of the day. If it fails, later sheets say so."""
    from sweeprig.bench.calibration import verify as tv
    from sweeprig.calibration.store import update_calibration
    from sweeprig.capture.folder import local_now
    from sweeprig.cli.session import settings

    config, places = settings()
    known = meter_of(meter, count, meter_range, wanted=False)
    u95 = tv.standard_u95(volts, meter=known, u95_v=standard_u)
    before, found = _checked(port or config.port, volts, u95, places.calibrations)
    kept = tv.kept(
        before,
        found,
        when=local_now(),
        state=tv.AS_LEFT if as_left else tv.AS_FOUND,
        operator=operator or config.operator,
        standard=standard,
    )
    update_calibration(kept, folder=places.calibrations)
    _show_verified(found, kept, as_json=as_json)


def _checked(port: str, volts: float, u95: float, folder: Path) -> tuple[Calibration, tuple[Verified, ...]]:
    """Return the stored calibration and what the rig shows of the standard."""
    from sweeprig.bench.board.rig import opened_rig
    from sweeprig.bench.calibration import verify as tv
    from sweeprig.bench.calibration.points import calibration_hookup, measure

    with opened_rig(port) as client:
        rig = client.hello()
        before = stored(str(rig["uid"]), folder)
        point = measure(client, hookup=calibration_hookup(client))
    return before, tv.check_standard(point, before, rig, reference_v=volts, u95_reference_v=u95)


def _show_verified(found: tuple[Verified, ...], kept: Calibration, *, as_json: bool) -> None:
    from sweeprig.bench.calibration.text import check_lines, verified_json, verified_lines

    result = verified_json(found)
    console.answer(
        as_json, lambda: result, lambda: [*verified_lines(found), "", *check_lines(kept, width=console.width)]
    )
    if result["verdict"] == "fail":
        console.say(
            "The verification fails: repeat it against another meter or reference, then calibrate the rig again."
        )
        raise typer.Exit(FAILED)


@calibrate_app.command("ramp")
def ramp(
    port: opt.Port = "",
    source: to.RampFrom = to.RampSource.AUTO,
    seconds: to.RampSeconds = 60.0,
    linearity: to.Linearity = 0.01,
    as_json: opt.AsJson = False,
) -> None:
    """For specialists, not needed for daily work: measure how straight the rig's converter is, for its calibration."""
    from sweeprig.bench.calibration.ramp import straighten
    from sweeprig.bench.calibration.text import straightened_json, straightened_lines
    from sweeprig.calibration.store import save_calibration
    from sweeprig.cli.calibration.ramp import counted, look_at_jumper
    from sweeprig.cli.session import settings

    config, places = settings()
    before, counts, own = counted(port or config.port, source, seconds, places.calibrations)
    done = straighten(before, counts, ramp_percent=linearity)
    save_calibration(done.calibration, folder=places.calibrations)
    console.answer(as_json, lambda: straightened_json(done), lambda: straightened_lines(done))
    if own:
        look_at_jumper(port or config.port)


calibrate_app.command("show")(show)
calibrate_app.command("list")(list_calibrations)


def add_to(app: typer.Typer) -> None:
    """Add the commands of this module."""
    app.add_typer(calibrate_app, name="calibrate")
