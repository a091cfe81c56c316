"""`trim`: calibrate the rig against a meter or its own I2C converter, check it, show and list what is stored."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from sweeprig.cli import options as opt
from sweeprig.cli.console import console

if TYPE_CHECKING:
    from sweeprig.bench.trim import TrimOrder
    from sweeprig.bench.trim_points import Measured
    from sweeprig.link.client import RigClient
    from sweeprig.trim.model import Meter, Trim


class Reference(StrEnum):
    """What tells the true voltage."""

    METER = "meter"
    MONITOR = "monitor"


trim_app = typer.Typer(
    help="Calibrate the rig: codes to volts, and how far they can be trusted.", invoke_without_command=True
)
FAILED = 10  # as a failing verdict; docs/reference/exit-codes.md
HOW_TO = (
    "Sensor off. Put signal A, signal B and the supply lead together on one adjustable voltage of 0 to 5 V, and",
    "sensor ground on its ground. The rig's supply stays off. The meter goes on the same two points.",
)
MeterText = Annotated[
    str,
    typer.Option("--meter", help="Accuracy from its data sheet: per cent of reading + counts, as 0.05%+3."),
]
Count = Annotated[float, typer.Option("--count", help="One count of the last digit on that range [V].")]
Range = Annotated[float, typer.Option("--range", help="The meter's range [V].")]
Rig = Annotated[str, typer.Argument(help="Serial number of the rig; default the only one stored.")]


@trim_app.callback()
def trim(
    context: typer.Context,
    port: opt.Port = "",
    points: Annotated[int, typer.Option("--points", min=2, max=64, help="Voltages to set.")] = 5,
    points_file: Annotated[
        Path | None,
        typer.Option("--points-file", help="Take the points from this CSV; the rig is only asked who it is."),
    ] = None,
    meter: MeterText = "",
    count: Count = 0.001,
    meter_range: Range = 6.0,
    meter_name: Annotated[str, typer.Option("--meter-name", help="What meter it is.")] = "",
    meter_serial: Annotated[str, typer.Option("--meter-serial", help="Its serial number.")] = "",
    certificate: Annotated[str, typer.Option("--certificate", help="Its calibration certificate.")] = "",
    reference: Annotated[
        Reference,
        typer.Option("--reference", help="meter: you type readings; monitor: the rig's I2C converter reads."),
    ] = Reference.METER,
    temperature: Annotated[
        float | None, typer.Option("--temperature", help="Of the rig [°C], if it has no own.")
    ] = None,
    max_age: Annotated[
        float, typer.Option("--max-age", min=1, help="Days after which the trim counts as old.")
    ] = 180,
    operator: opt.Operator = "",
    notes: opt.Notes = "",
    as_json: opt.AsJson = False,
) -> None:
    """Calibrate every channel at 2 or more voltages; nothing is stored unless all readings fit together."""
    if context.invoked_subcommand is not None:
        return
    from sweeprig.bench.trim import TrimOrder
    from sweeprig.cli.sweep_cmd import settings

    config, _ = settings()
    order = TrimOrder(
        meter=_meter(
            meter,
            count,
            meter_range,
            (meter_name, meter_serial, certificate),
            wanted=reference is Reference.METER,
        ),
        operator=operator or config.operator,
        reference=reference.value,
        temperature_c=temperature,
        max_age_days=max_age,
        notes=notes,
    )
    _run(port or config.port, order, points, points_file, as_json=as_json)


def _meter(
    text: str, count: float, range_v: float, names: tuple[str, str, str], *, wanted: bool
) -> Meter | None:
    from sweeprig.bench.trim_points import parse_meter

    if not text and wanted:
        text = typer.prompt(
            "Meter's accuracy on this range, per cent of reading + counts, as 0.05%+3", err=True
        )
    name, serial, certificate = names
    return (
        parse_meter(text, count_v=count, range_v=range_v, name=name, serial=serial, certificate=certificate)
        if text
        else None
    )


def _run(port: str, order: TrimOrder, n: int, points_file: Path | None, *, as_json: bool) -> None:
    from dataclasses import replace
    from datetime import datetime

    from sweeprig.bench.rig import opened_rig
    from sweeprig.bench.trim import keep_points, make_trim, store
    from sweeprig.bench.trim_points import read_points
    from sweeprig.bench.trim_text import done_json, done_lines
    from sweeprig.cli.sweep_cmd import settings
    from sweeprig.trim.store import load_trim

    now = datetime.now().astimezone()
    trims = settings()[1].trims
    with opened_rig(port) as client:
        rig = client.hello()
        before = load_trim(str(rig["uid"]), folder=trims)
        taken = read_points(points_file) if points_file else _take(client, order, n, before)
    kept = points_file or keep_points(taken, folder=trims, uid=str(rig["uid"]), when=now)
    console.say(f"Points: {kept}")
    done = replace(store(make_trim(taken, order, rig, before=before), folder=trims), points_file=kept)
    if as_json:
        console.show_json(done_json(done))
        return
    for line in done_lines(done, now=now):
        console.show(line)
    console.say(f"\nTrim: {done.file}")


def _take(client: RigClient, order: TrimOrder, n: int, before: Trim | None) -> list[Measured]:
    for line in HOW_TO:
        console.say(line)
    if order.reference == "monitor":
        from sweeprig.bench.trim import take_with_monitor
        from sweeprig.cli.sweep_cmd import stop_on_interrupt

        console.say("Turn the voltage in steps over the whole range. Ctrl-C ends with the points so far.")
        with stop_on_interrupt() as stop:
            return take_with_monitor(client, n=n, stop=stop, said=console.say, before=before)
    return _typed(client, order, n)


def _typed(client: RigClient, order: TrimOrder, n: int) -> list[Measured]:
    """Ask for each voltage; one that moves or is not understood is asked again."""
    from dataclasses import replace

    from sweeprig.bench.trim_points import measure, parse_reading, trim_hookup, wanted_volts
    from sweeprig.errors import InputError

    hookup = trim_hookup(client)
    kept: list[Measured] = []
    range_v = order.meter.range_v if order.meter else 10.0
    for number, volts in enumerate(wanted_volts(n), start=1):
        while True:
            text = typer.prompt(
                f"Point {number} of {n}: set about {volts:g} V, let it settle. Meter reads", err=True
            )
            try:
                reading = parse_reading(text, range_v=range_v)
            except InputError as error:
                console.say(f"  {error.what} Seen: {error.seen}. Next: {error.next_step}.")
                continue
            point = measure(client, hookup=hookup)
            if point.steady:
                kept.append(replace(point, reading_v=reading))
                break
            console.say("  The voltage moved while it was read. Let it settle and read the meter again.")
    return kept


@trim_app.command("verify")
def verify(
    volts: Annotated[float, typer.Argument(help="The check standard: the voltage now on the leads [V].")],
    port: opt.Port = "",
    standard_u: Annotated[
        float | None, typer.Option("--standard-u", min=0.0, help="Its 95 % uncertainty [V]; else --meter.")
    ] = None,
    meter: MeterText = "",
    count: Count = 0.001,
    meter_range: Range = 6.0,
    standard: Annotated[str, typer.Option("--standard", help="What the standard is, for the chart.")] = "",
    as_left: Annotated[
        bool, typer.Option("--as-left", help="After the rig was set right, not as found.")
    ] = False,
    operator: opt.Operator = "",
    as_json: opt.AsJson = False,
) -> None:
    """Compare the rig with a known voltage before the first job of the day; a failure marks later sheets."""
    from datetime import datetime

    from sweeprig.bench import trim_verify as tv
    from sweeprig.bench.rig import opened_rig
    from sweeprig.bench.trim_points import measure, trim_hookup
    from sweeprig.bench.trim_text import check_lines, verified_json, verified_lines
    from sweeprig.cli.sweep_cmd import settings
    from sweeprig.trim.store import update_trim

    config, places = settings()
    u95 = tv.standard_u95(
        volts, meter=_meter(meter, count, meter_range, ("", "", ""), wanted=False), u95_v=standard_u
    )
    with opened_rig(port or config.port) as client:
        rig = client.hello()
        stored = _stored(str(rig["uid"]), places.trims)
        point = measure(client, hookup=trim_hookup(client))
    found = tv.check_standard(point, stored, rig, reference_v=volts, u95_reference_v=u95)
    state = tv.AS_LEFT if as_left else tv.AS_FOUND
    kept = tv.kept(
        stored,
        found,
        when=datetime.now().astimezone(),
        state=state,
        operator=operator or config.operator,
        standard=standard,
    )
    update_trim(kept, folder=places.trims)
    result = verified_json(found)
    if as_json:
        console.show_json(result)
    else:
        for line in [*verified_lines(found), "", *check_lines(kept)]:
            console.show(line)
    if result["verdict"] == "fail":
        console.say("The trim no longer holds: repeat the check with another meter, then trim the rig again.")
        raise typer.Exit(FAILED)


def _stored(uid: str, folder: Path) -> Trim:
    from sweeprig.errors import TrimError
    from sweeprig.trim.store import load_trim

    found = load_trim(uid, folder=folder)
    if found is None:
        raise TrimError("No trim of this rig is stored.", seen=uid, next_step="sweeprig trim")
    return found


@trim_app.command("ramp")
def ramp(
    port: opt.Port = "",
    seconds: Annotated[
        float, typer.Option("--seconds", min=1.0, max=3600.0, help="How long to count [s].")
    ] = 60.0,
    linearity: Annotated[
        float, typer.Option("--linearity", min=0.0, max=5.0, help="The ramp's own, ± per cent of its range.")
    ] = 0.01,
    as_json: opt.AsJson = False,
) -> None:
    """Measure the converter's linearity with a slow straight ramp on signal A, and fit the stored trim again."""
    from sweeprig.bench.rig import opened_rig
    from sweeprig.bench.trim_ramp import count_codes, straighten
    from sweeprig.bench.trim_text import straightened_json, straightened_lines
    from sweeprig.cli.sweep_cmd import settings
    from sweeprig.trim.store import save_trim

    config, places = settings()
    with opened_rig(port or config.port) as client:
        stored = _stored(str(client.hello()["uid"]), places.trims)
        console.say(
            "A generator's ramp or triangle, from below 0.1 V to above 4.9 V, goes on signal A; slow is good."
        )
        counts = count_codes(
            client,
            seconds=seconds,
            progress=lambda share: console.progress(f"Counting codes: {100 * share:3.0f} %"),
        )
    console.end_progress()
    done = straighten(stored, counts, ramp_percent=linearity)
    save_trim(done.trim, folder=places.trims)
    if as_json:
        console.show_json(straightened_json(done))
        return
    for line in straightened_lines(done):
        console.show(line)


@trim_app.command("show")
def show(rig: Rig = "", as_json: opt.AsJson = False) -> None:
    """Print a stored trim: line, residuals, what it is worth, its check standards."""
    from datetime import datetime

    from sweeprig.bench.trim_text import trim_lines
    from sweeprig.cli.sweep_cmd import settings
    from sweeprig.errors import TrimError
    from sweeprig.trim.store import stored_uids, trim_to_dict

    folder = settings()[1].trims
    uids = stored_uids(folder=folder)
    if not rig and len(uids) != 1:
        raise TrimError(
            "Which rig?" if uids else "No trim is stored.", seen=", ".join(uids) or "none",
            next_step="name one: sweeprig trim show RIG" if uids else "sweeprig trim",
        )  # fmt: skip
    found = _stored(rig or uids[0], folder)
    if as_json:
        console.show_json(trim_to_dict(found))
        return
    for line in trim_lines(found, now=datetime.now().astimezone()):
        console.show(line)


@trim_app.command("list")
def list_trims(as_json: opt.AsJson = False) -> None:
    """List the rigs that have a trim, its kind and age, and what is due."""
    from datetime import datetime

    from sweeprig.bench.trim_verify import age_days, due
    from sweeprig.cli.sweep_cmd import settings
    from sweeprig.trim.store import stored_uids

    folder, now = settings()[1].trims, datetime.now().astimezone()
    rows = []
    for uid in stored_uids(folder=folder):
        found = _stored(uid, folder)
        rows.append({"rig": uid, "kind": found.kind, "made_at": found.made_at, "due": due(found, now=now),
                     "age_days": age_days(found, now=now)})  # fmt: skip
    if as_json:
        console.show_json(rows)
        return
    for row in rows:
        age = "" if row["age_days"] is None else f"{row['age_days']:.0f} days"
        console.show(f"{row['rig']:24}{row['kind']:18}{age:12}{row['due']}")
    if not rows:
        console.say("No trim is stored. Next: sweeprig trim")


def add_to(app: typer.Typer) -> None:
    """Add the commands of this module."""
    app.add_typer(trim_app, name="trim")
