"""Pieces of the printed board with footprint and pads, from the table of nets and buying.toml. No KiCad here."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

from hardware.values import value_str
from sweeprig.frontend.nets import BOARD, BOARD_PINS, SOCKET, UNUSED, Piece, pieces, test_points
from sweeprig.frontend.tables import Part, parts

HERE = Path(__file__).parent
BUILD = "driven"  # its parts are all on the board; the full build leaves the drive's headers empty
STRIP = "Connector_PinSocket_2.54mm:PinSocket_1x20_P2.54mm_Vertical"
DSUB = "Connector_Dsub:DSUB-15_Female_Horizontal_P2.77x2.84mm_EdgePinOffset7.70mm_Housed_MountingHolesOffset9.12mm"
POINT = "TestPoint:TestPoint_THTPad_D1.5mm_Drill0.7mm"
HALF = BOARD_PINS // 2


@dataclass(frozen=True)
class Placed:
    """One footprint: its pads with their nets; a pad of no net is open."""

    ref: str
    footprint: str
    value: str
    pads: Mapping[str, str]
    fitted: str  # full | driven: the smallest build that has it
    short: str = ""  # the value as it is printed on the board
    names: Mapping[str, str] = field(default_factory=dict)  # pad -> the pin's name


@lru_cache(maxsize=1)
def buying() -> Mapping[str, Any]:
    """Return buying.toml as it stands."""
    return tomllib.loads((HERE.parent / "buying.toml").read_text("utf-8"))


def bought(build: str, part: Part) -> Mapping[str, Any]:
    """Return package, example, price and footprint of a part: the build's own, the common one, or a resistor's."""
    table = buying()
    own = "full" if build == "driven" else build
    for group in (own, "common"):
        if part.key in table.get(group, {}):
            return dict(table[group][part.key])
    kind = "thin_film" if part.tol <= 0.001 else "resistor"
    if part.unit != "ohm":
        raise KeyError(f"buying.toml says nothing of {part.key}")
    return dict(table["common"][kind])


def _value(part: Part) -> str:
    return value_str(part.each, part.unit.split()[0]) or part.ref


def short(part: Part) -> str:
    """Return a value as there is room for on a board: 154k, 22p, 4u7 stays 4.7u; empty where a type is meant."""
    unit = part.unit.split()[0]
    if unit not in ("ohm", "F", "H"):
        return ""
    return (
        value_str(part.each, unit)
        .removesuffix("Ω")
        .removesuffix("F")
        .removesuffix("H")
        .replace(" ", "")
        .replace("µ", "u")
    )


def _board_strips(piece: Piece) -> list[Placed]:
    left = {str(n): piece.pins[str(n)] for n in range(1, HALF + 1)}
    right = {str(n): piece.pins[str(BOARD_PINS + 1 - n)] for n in range(1, HALF + 1)}
    return [
        Placed("BOARDL", STRIP, "pins 1 to 20", _joined(left), "full"),
        Placed("BOARDR", STRIP, "pins 40 to 21", _joined(right), "full"),
    ]


def _joined(pads: Mapping[str, str]) -> dict[str, str]:
    return {pad: net for pad, net in pads.items() if net != UNUSED}


def placed() -> list[Placed]:
    """Return every footprint of the printed board."""
    listed, full = parts(BUILD), {p.ref for p in pieces("full")}
    out: list[Placed] = []
    for piece in pieces(BUILD):
        if piece.ref == BOARD:
            out += _board_strips(piece)
        elif piece.ref == SOCKET:
            out.append(Placed(SOCKET, DSUB, "socket", _joined(piece.pins), "full"))
        else:
            out.append(_of_table(piece, listed[piece.key], "full" if piece.ref in full else "driven"))
    points = [Placed(f"TP{i}", POINT, net, {"1": net}, "full") for i, net in enumerate(test_points(), 1)]
    return out + points


def _of_table(piece: Piece, part: Part, fitted: str) -> Placed:
    row = bought(BUILD, part)
    names = row.get("pads", {})
    pads = {names.get(pin, pin): net for pin, net in piece.pins.items()}
    called = {names.get(pin, pin): pin for pin in piece.pins}
    return Placed(piece.ref, row["footprint"], _value(part), _joined(pads), fitted, short(part), called)


def pad_nets() -> dict[str, set[tuple[str, str]]]:
    """Return by net the (reference, pad) on the printed board."""
    found: dict[str, set[tuple[str, str]]] = {}
    for p in placed():
        for pad, net in p.pads.items():
            found.setdefault(net, set()).add((p.ref, pad))
    return found
