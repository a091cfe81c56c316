"""`motor`: the first check of a driven build: the angle while the shaft is turned by hand, a small step each way."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from sweeprig.cli import options as opt
from sweeprig.cli.asking import ConfirmKeys, asking
from sweeprig.cli.console import console
from sweeprig.cli.session import make_setup, settings

if TYPE_CHECKING:
    from sweeprig.bench.drive.check import MotorCheck
    from sweeprig.link.client import RigClient

LOOK_S = 0.1


def motor(
    angle: Annotated[
        bool,
        typer.Option("--angle", help="Show the angle while you turn the shaft by hand; the motor stays off."),
    ] = False,
    step: Annotated[
        float, typer.Option("--step", min=1.0, max=20.0, help="Length of the steps [degrees].")
    ] = 5.0,
    port: opt.Port = "",
    confirm: ConfirmKeys = None,
    as_json: opt.AsJson = False,
) -> None:
    """Check the motor of a driven build: a small step each way, then the motor is off. Lever half way, hands off."""
    from sweeprig.bench.board.rig import opened_rig

    with opened_rig(port or settings()[0].port) as client:
        if angle:
            _angle(client)
            return
        found = _steps(client, step, confirm)
    console.answer(as_json, found.to_json, found.lines)
    if not found.good:
        raise typer.Exit(10)


def _steps(client: RigClient, step: float, confirm: list[str] | None) -> MotorCheck:
    from sweeprig.bench.drive.check import small_steps
    from sweeprig.bench.drive.motor import check_fitted, confirm_clear

    check_fitted(client)
    confirm_clear(client, make_setup({}), asking(confirm))
    return small_steps(client, step_deg=step)


def _angle(client: RigClient) -> None:
    """Show the angle until Ctrl-C; where no terminal is, once."""
    from sweeprig.bench.drive.motor import Motor, check_fitted
    from sweeprig.cli.views.face import stop_on_interrupt
    from sweeprig.cli.views.screen import is_terminal

    check_fitted(client)
    at = Motor(client).let_go()
    with stop_on_interrupt() as stop:
        while is_terminal() and not stop():
            console.progress(_angle_line(at.deg, known=at.counts is not None))
            client.rest(LOOK_S)
            at = Motor(client).where()
    console.end_progress()
    console.show(_angle_line(at.deg, known=at.counts is not None))


def _angle_line(deg: float, *, known: bool) -> str:
    if not known:
        return "The angle encoder (U4) does not answer or finds no magnet: look at encoder, cable and magnet."
    return f"The angle encoder is at {deg:.1f} degrees; the motor is without current."


def add_to(app: typer.Typer) -> None:
    """Add the command of this module."""
    app.command()(motor)
