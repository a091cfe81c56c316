"""`rigs` and `install`: what is attached, and putting the firmware on it."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated

import typer

from sweeprig.cli import options as opt
from sweeprig.cli.console import console


def rigs(as_json: opt.AsJson = False) -> None:
    """List the boards that are attached."""
    from sweeprig.link.ports import list_rigs

    found = list_rigs()
    if as_json:
        console.show_json([asdict(port) for port in found])
        return
    for port in found:
        console.show(f"{port.device:24}{port.serial_number or '-':24}{port.description}")
    if not found:
        console.say("No board is attached. With no hardware: sweeprig demo, or --port sim://good")


def install(
    port: opt.Port = "",
    check: Annotated[
        bool, typer.Option("--check", help="Only tell whether the board's files equal ours.")
    ] = False,
    remove: Annotated[
        bool, typer.Option("--remove", help="Take the firmware off; your own main.py gets its name back.")
    ] = False,
    as_json: opt.AsJson = False,
) -> None:
    """Copy the firmware to a board (with mpremote), verify it, and say what was done."""
    from sweeprig.bench.board.install import install as put
    from sweeprig.bench.board.rig import port_of

    if remove:
        _remove(port_of(port), as_json=as_json)
        return
    report = put(port_of(port), check=check, progress=console.say)
    console.answer(as_json, lambda: asdict(report), report.lines)
    if not report.same:
        raise typer.Exit(10)


def _remove(port: str, *, as_json: bool) -> None:
    from sweeprig.bench.board.remove import remove

    report = remove(port, progress=console.say)
    console.answer(as_json, lambda: asdict(report), report.lines)


def add_to(app: typer.Typer) -> None:
    """Add the commands of this module."""
    app.command()(rigs)
    app.command()(install)
