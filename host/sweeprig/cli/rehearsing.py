"""A rehearsal at a terminal: keys move the simulated lever and mount; a line beforehand says which key does what."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from sweeprig.cli.console import console
from sweeprig.cli.views.screen import LISTENERS

SIMULATED = "sim://"
KEYS = "rehearsal: + - turn, c closes, o opens"


def is_rehearsal(port: str) -> bool:
    """Return whether an address asks for a rehearsal. Raises InputError where it is not valid."""
    if not port.startswith(SIMULATED):
        return False
    from sweeprig.twin.sim_url import parse

    return parse(port).rehearse


@contextmanager
def rehearsed(port: str) -> Iterator[None]:
    """Let keys move the simulated lever and turn the sensor while the block runs; nothing with any other rig."""
    if not is_rehearsal(port):
        yield
        return
    from sweeprig.twin.rehearsal import BENCH, HINT

    console.say(f"Rehearsal: {HINT}.")
    LISTENERS.append(BENCH.press)
    try:
        yield
    finally:
        LISTENERS.remove(BENCH.press)


def with_keys(hint: str, *, rehearsal: bool) -> str:
    """Return the keys of a live view; in a rehearsal also those that move lever and sensor."""
    return f"{hint}; {KEYS}" if rehearsal else hint


def say_turned(port: str) -> None:
    """Say under which address the sensor stands as the keys have turned it; nothing where they have not."""
    from sweeprig.bench.aim.text import turned_address
    from sweeprig.twin.rehearsal import BENCH

    if BENCH.turned_deg:
        console.say(turned_address(port, BENCH.turned_deg)[1])


def close_lever() -> None:
    """Put the lever of a rehearsal back to closed throttle, as a hand does between two steps."""
    from sweeprig.twin.rehearsal import BENCH

    BENCH.place = BENCH.goal = 0.0
