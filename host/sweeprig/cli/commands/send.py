"""`send`: an order for a rig that goes into the vehicle without a laptop."""

from __future__ import annotations

from typing import Annotated

import typer

from sweeprig.cli import options as opt
from sweeprig.cli.asking import ConfirmKeys, DriveOption, ask_drive
from sweeprig.cli.console import console
from sweeprig.words import Hookup, Sense, Setting, Starts


def send(
    port: opt.Port = "",
    sweeps: Annotated[int, typer.Option("--sweeps", min=1, max=50, help="Number of sweeps to keep.")] = 6,
    seconds: Annotated[
        float | None, typer.Option("--seconds", min=2.0, max=300.0, help="Longest time of a sweep [s].")
    ] = None,
    wiggle: Annotated[
        bool,
        typer.Option(
            "--wiggle", help="Instead of sweeps: look for dropouts while harness and plugs are moved."
        ),
    ] = False,
    profile: opt.ProfileName = None,
    hookup: opt.HookupOption = Hookup.TAPPED,
    starts: opt.StartsOption = Starts.CLOSED,
    sense: opt.SenseOption = Sense.UNKNOWN,
    kind: opt.KindOption = None,
    label: opt.Label = "",
    job: opt.Job = "",
    part: opt.Part = "",
    serial: opt.Serial = "",
    operator: opt.Operator = "",
    notes: opt.Notes = "",
    track_ohm: opt.TrackOhm = None,
    out: opt.Out = None,
    confirm: ConfirmKeys = None,
    drive: DriveOption = "",
    system: opt.SystemOption = None,
    as_json: opt.AsJson = False,
) -> None:
    """Prepare the rig for sweeps without a laptop, started by its button; writes a page with the steps."""
    from sweeprig.bench.board.rig import opened_rig
    from sweeprig.bench.field.card import STEPS, card_lines, write_card
    from sweeprig.bench.field.send import send as send_order
    from sweeprig.capture.folder import ready_folder
    from sweeprig.cli.asking import asking
    from sweeprig.cli.session import make_order, make_setup, settings

    config, _ = settings()
    setup = make_setup(
        {
            "profile": profile, "hookup": hookup, "starts": starts, "sense": sense, "setting": Setting.VEHICLE.value,
            "sensor_kind": kind.value if kind else "", "sensor_label": label, "job": job, "part": part,
            "serial": serial, "operator": operator, "notes": notes, "track_ohm": track_ohm,
            "task": "wiggle" if wiggle else "sweep",
            "vehicle_drive": ask_drive(drive, Setting.VEHICLE.value, bench=False),
            "vehicle_system": system.value if system else "",
        },
    )  # fmt: skip
    folder = ready_folder(make_order(setup, out, None, None).folder)
    with opened_rig(port or config.port) as client:
        sent = send_order(
            client, setup, asking(confirm), sweeps=sweeps, seconds=seconds, progress=console.progress
        )
    console.end_progress()
    path = write_card(sent, folder / f"order-{sent.order.id}.html")
    if as_json:
        console.show_json(
            {"order": sent.order.id, "card": str(path), "sweeps": sweeps, "blocks": sent.blocks}
        )
        return
    for title, lines in card_lines(sent):
        console.show("")
        console.show(f"{title}")
        for line in lines:
            console.show(f"  {line}" if title == STEPS else f"  - {line}")
    console.say()
    console.say(f"Page with the steps, to print: {path}")


def add_to(app: typer.Typer) -> None:
    """Add the command of this module."""
    app.command()(send)
