"""`rigs` and `install`: what is attached, and putting the firmware on it."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated, Any

import typer

from sweeprig.cli import options as opt
from sweeprig.cli.console import console


def rigs(
    self_test: Annotated[
        bool,
        typer.Option("--self-test", help="Test the rig itself, with NOTHING on the leads; prints a report."),
    ] = False,
    port: opt.Port = "",
    as_json: opt.AsJson = False,
) -> None:
    """List the attached rigs. With --port, show which rig answers there; with --self-test, test it."""
    if self_test:
        _self_test(port, as_json=as_json)
        return
    if port:
        _name(port, as_json=as_json)
        return
    from sweeprig.link.ports import list_rigs

    found = list_rigs()
    if as_json:
        console.show_json([asdict(one) for one in found])
        return
    for one in found:
        console.show(f"{one.device:24}{one.serial_number or '-':24}{one.description}")
    if not found:
        console.say("No board is attached. With no hardware: sweeprig demo, or --port sim://good")


def _name(port: str, *, as_json: bool) -> None:
    """Say which rig answers on a port."""
    from sweeprig.bench.board.rig import opened_rig
    from sweeprig.bench.board.words import rig_line

    with opened_rig(port) as client:
        hello = client.hello()
    if as_json:
        console.show_json([{"device": port, **hello}])
    else:
        console.show(rig_line(hello))


def _self_test(port: str, *, as_json: bool) -> None:
    from sweeprig.bench.board.rig import SIMULATED, opened_rig, port_of
    from sweeprig.bench.connection.self_test import self_test

    name = port_of(port)
    console.say("Take everything off the leads. This takes about 15 s.")
    with opened_rig(name) as client:
        found = self_test(client, simulated=name.startswith(SIMULATED))
    if as_json:
        console.show_json({**asdict(found), "good": found.good})
    else:
        for line in found.lines():
            console.show(line)
    if not found.good:
        raise typer.Exit(10)


def install(
    port: opt.Port = "",
    check: Annotated[
        bool, typer.Option("--check", help="Only compare the board's files with this program's.")
    ] = False,
    remove: Annotated[
        bool, typer.Option("--remove", help="Remove the firmware; restore your own main.py.")
    ] = False,
    as_json: opt.AsJson = False,
) -> None:
    """Copy the firmware to a board (with mpremote) and verify it."""
    from sweeprig.bench.board.install import install as put
    from sweeprig.bench.board.remove import remove as take_off
    from sweeprig.errors import InputError

    if check and remove:
        raise InputError(
            "--check and --remove do not go together.",
            seen="--check --remove",
            limit="one of them",
            next_step="--check alone compares and changes nothing",
        )
    name, how = _board(port)
    if remove:
        gone = take_off(name, progress=console.say, **how)
        console.answer(as_json, lambda: asdict(gone), gone.lines)
        return
    report = put(name, check=check, progress=console.say, **how)
    console.answer(as_json, lambda: asdict(report), report.lines)
    if not report.same:
        raise typer.Exit(10)


def _board(port: str) -> tuple[str, dict[str, Any]]:
    """Return the board's name, and how it is reached where that is not by mpremote: a simulated one is a folder."""
    from sweeprig.bench.board.rig import SIMULATED, port_of

    if not port.startswith(SIMULATED):
        return port_of(port), {}
    from sweeprig.bench.board.simulated import NAME, SimulatedBoard
    from sweeprig.cli.session import settings

    board = SimulatedBoard(settings()[1].state / "simulated-board")
    console.say(f"SIMULATED: no board is touched; {board.folder} takes its place.")
    return NAME, {"run": board.run, "leave": board.leave}


def add_to(app: typer.Typer) -> None:
    """Add the commands of this module."""
    app.command()(rigs)
    app.command()(install)
