"""Every joint of a build by net, as Markdown."""

from __future__ import annotations

from sweeprig.frontend.nets import UNUSED, joined, nets, off_board, pieces
from sweeprig.frontend.tables import BUILDS

_INTRO = (
    "Which pin is joined to which. Where a reference stands several times each piece has a number: R1A2 is the",
    "second R1 of channel A. BOARD is the Pico class board by contact of its edge, X1 the socket (plain build: the",
    "lead's terminal).",
)
_OFF_BOARD = (
    "On wires beside the board: the motor M1, its supply PS1, fuse F3, stop S3, and A1's pins that are not on the",
    "board's header. What is on +3V3 here is joined to VIO on A1's carrier. Modules of another class name their",
    "microstep pins otherwise: set 16 microsteps as the data sheet says.",
)


def nets_md(made: str) -> str:
    """Return the page of all nets."""
    out = [made, "# Nets", "", *_INTRO]
    for build in BUILDS:
        out += ["", f"## {build.capitalize()} build", "", "| net | pins |", "|---|---|"]
        out += [f"| {net} | {_joined(ends)} |" for net, ends in nets(build).items()]
        out += [f"| marked unused | {_joined(_unused(build))} |"]
        if off_board(build):
            out += ["", *_OFF_BOARD, "", "| net | pins |", "|---|---|"]
            out += [f"| {net} | {_joined(ends)} |" for net, ends in joined(off_board(build)).items()]
    return "\n".join([*out, ""])


def _joined(ends: tuple[tuple[str, str], ...]) -> str:
    return ", ".join(f"{ref}.{pin}" for ref, pin in ends)


def _unused(build: str) -> tuple[tuple[str, str], ...]:
    return tuple((p.ref, pin) for p in pieces(build) for pin, net in p.pins.items() if net == UNUSED)
