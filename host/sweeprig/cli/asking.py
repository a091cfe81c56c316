"""Confirmations at a terminal, or typed beforehand with --confirm."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from datetime import datetime
from typing import TYPE_CHECKING, Annotated

import typer

from sweeprig.cli.console import console

if TYPE_CHECKING:
    from sweeprig.bench.cautions import Ask, Confirmation, JobBook
    from sweeprig.bench.lead_book import LeadBook

ConfirmKeys = Annotated[
    list[str] | None,
    typer.Option(
        "--confirm",
        help="Confirm beforehand: cautions, plug-off, laptop-battery, usb-first, secured, idle (or several, comma).",
    ),
]
DriveOption = Annotated[
    str,
    typer.Option("--drive", help="In a vehicle: combustion, stop-start, hybrid or electric."),
]
Override = Annotated[
    str,
    typer.Option("--override", help="Reason to go on against the interlock, for this one capture only."),
]


class TerminalAsk:
    """Asks at the terminal what was not confirmed with --confirm. Without a terminal nobody answers."""

    def __init__(self, keys: Iterable[str] | None = None) -> None:
        from sweeprig.bench.cautions import check_keys

        self._keys = check_keys(keys or ())

    def confirm(self, item: Confirmation) -> bool:
        """Return whether the operator confirms; printed plainly either way."""
        if item.key in self._keys:
            return True
        if not sys.stdin.isatty():
            return False
        return typer.confirm(f"Confirm: {item.text}", default=False, err=True)

    def say(self, text: str) -> None:
        """Show one line."""
        console.say(text)


def asking(keys: Iterable[str] | None) -> Ask:
    """Return who answers."""
    return TerminalAsk(keys)


def books() -> tuple[JobBook, LeadBook]:
    """Return what jobs have confirmed and when leads were checked."""
    from sweeprig.bench.cautions import JobBook
    from sweeprig.bench.lead_book import LeadBook
    from sweeprig.bench.places import find_places

    state = find_places().state
    return JobBook(state / "jobs"), LeadBook(state)


def ask_drive(drive: str, setting: str) -> str:
    """Return what drives the vehicle: as typed, else asked at a terminal; "" on the bench."""
    if setting != "vehicle":
        return ""
    if drive or not sys.stdin.isatty():
        return drive
    answer: str = typer.prompt("What drives it (combustion, stop-start, hybrid, electric)", err=True)
    return answer.strip().lower()


def now() -> datetime:
    """Return the local time."""
    return datetime.now().astimezone()
