"""Which pin is joined to which: every piece of a build with its own reference, from parts.toml."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from sweeprig.frontend.tables import check_build, contacts, parts, pins, table

UNUSED = "-"
BOARD, SOCKET = "BOARD", "X1"
BOARD_PINS, SOCKET_PINS = 40, 15
# Contacts of a Pico board's edge by GPIO (data sheet, from memory): 1 beside the USB socket on the left.
EDGE = {
    0: 1, 1: 2, 2: 4, 3: 5, 4: 6, 5: 7, 6: 9, 7: 10, 8: 11, 9: 12, 10: 14, 11: 15, 12: 16, 13: 17, 14: 19, 15: 20,
    16: 21, 17: 22, 18: 24, 19: 25, 20: 26, 21: 27, 22: 29, 26: 31, 27: 32, 28: 34,
}  # fmt: skip
PLAIN_LEADS = ("SUPPLY_OUT", "SUPPLY_SENSE", "SIGNAL_A", "SIGNAL_B", "GND")
SHORT_LEGS = {"GROUND": "GND"}


@dataclass(frozen=True)
class Piece:
    """One piece: a part of the table, the board, the socket or a test point. `pins` gives each pin's net."""

    ref: str
    key: str  # of the table; board, socket, testpoint
    pins: Mapping[str, str]


def _piece(line: str, key: str, alias: Mapping[str, str]) -> Piece:
    ref, *words = line.split()
    found = {}
    for number, word in enumerate(words, 1):
        pin, colon, net = word.partition(":")
        pin, net = (pin, net) if colon else (str(number), word)
        found[pin] = alias.get(net, net)
    return Piece(ref, key, found)


def _board(build: str, alias: Mapping[str, str]) -> Piece:
    joined = {EDGE[p.gpio]: p.net or p.name for p in pins(build)}
    for row in table()["edge"]:
        joined |= dict.fromkeys(row["numbers"], row["net"])
    numbered = {str(n): joined.get(n, UNUSED) for n in range(1, BOARD_PINS + 1)}
    return Piece(BOARD, "board", {n: alias.get(net, net) for n, net in numbered.items()})


def _socket(build: str) -> Piece:
    if build == "plain":
        return Piece(SOCKET, "terminals", {str(i): net for i, net in enumerate(PLAIN_LEADS, 1)})
    names = {c.number: c.name.replace(" ", "_") for c in contacts()}
    named = {str(n): names.get(n, UNUSED) for n in range(1, SOCKET_PINS + 1)}
    return Piece(SOCKET, "socket", {n: SHORT_LEGS.get(net, net) for n, net in named.items()})


def pieces(build: str) -> tuple[Piece, ...]:
    """Return every piece of a build that a wire goes to, in the table's order; board and socket first."""
    alias = dict(table()["builds"][check_build(build)].get("nets", {}))
    found = [_board(build, alias), _socket(build)]
    for key, part in parts(build).items():
        found += [_piece(line, key, alias) for line in part.nets]
    return tuple(found)


def off_board(build: str) -> tuple[Piece, ...]:
    """Return what is joined by wires beside the board: the motor, its supply, and the driver's pins for them."""
    alias = dict(table()["builds"][check_build(build)].get("nets", {}))
    return tuple(_piece(line, key, alias) for key, part in parts(build).items() for line in part.off_board)


def nets(build: str) -> dict[str, tuple[tuple[str, str], ...]]:
    """Return by net the (reference, pin) that are joined in it; pins marked unused are in none."""
    return joined(pieces(build))


def joined(found: Iterable[Piece]) -> dict[str, tuple[tuple[str, str], ...]]:
    """Return by net the (reference, pin) of pieces that are joined in it; pins marked unused are in none."""
    by_net: dict[str, list[tuple[str, str]]] = defaultdict(list)
    for piece in found:
        for pin, net in piece.pins.items():
            if net != UNUSED:
                by_net[net].append((piece.ref, pin))
    return {net: tuple(ends) for net, ends in by_net.items()}


def test_points() -> tuple[str, ...]:
    """Return the nets that have a test point on the printed board."""
    return tuple(net for row in table()["testpoint"] for net in row["nets"])
