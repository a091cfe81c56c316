"""Reads the joints back from the drawn schematics, beside the table: `python -m hardware.schematic_nets`.

Of what stands three times (channels A, B, S) the sheets draw channel B; the others are its like in the table.
"""

from __future__ import annotations

import re
import sys
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from hardware.erc import whole
from hardware.schematic import blocks
from hardware.schematic_sheet import Block, Drawn, Point
from sweeprig.frontend.nets import BOARD, EDGE, SOCKET, UNUSED, Piece, joined
from sweeprig.frontend.tables import BUILDS, contacts, parts, pins

NEAR = 0.06  # of a drawing's unit: closer than this is one point
WORDS = {
    "ground": "GND", "ground (address 0x48)": "GND", "ground of the rig, on the header": "GND", "3.3 V": "+3V3",
    "3.3 V (3V3 OUT of the board)": "+3V3", "VIO, on the carrier": "+3V3", "6.5 V": "+6V5", "VBUS": "VBUS",
    "RUN": "RUN", "ADC_VREF": "ADC_VREF", "drive": "DRIVE", "drive (base of Q6)": "DRIVE",
    "U2 output, signal A": "AMP_A", "U2 output, supply": "AMP_S", "signal A": "SIGNAL_A", "signal B": "SIGNAL_B",
    "supply sense": "SUPPLY_SENSE", "supply of the sensor": "SUPPLY_OUT", "PS1 12 V, plus": "PS1.+",
    "PS1 12 V, minus": "PS1.-", "node A": "NODE_A", "node B": "NODE_B", "node S": "NODE_S",
}  # fmt: skip
LIKE = {"D22": "D24", "D23": "D24"}  # drawn once: D2 of the channels
Group = tuple[set[str], list[set[str]]]  # pins, and of each name the nets or pins that it may stand for


@dataclass(frozen=True)
class Table:
    """What the table says of a build: its pieces, the net of each pin (R20.1), the pin of each printed label."""

    pieces: list[Piece]
    net: Mapping[str, str]
    label: Mapping[str, str]


def table_of(build: str) -> Table:
    """Return what the table says of a build."""
    every = whole(build)
    label = {f"{c.number} {c.name}": f"{SOCKET}.{c.number}" for c in contacts()}
    label |= {f"GP{p.gpio} {p.name}": f"{BOARD}.{EDGE[p.gpio]}" for p in pins(build)}
    return Table(every, {f"{p.ref}.{pin}": net for p in every for pin, net in p.pins.items()}, label)


def faults(build: str) -> list[str]:
    """Return where the drawing of a build joins otherwise than its table; none: they agree."""
    sheets, table = blocks(build), table_of(build)
    loose = [line for block in sheets for line in without_dot(block)]
    return loose + differences([group for block in sheets for group in groups(block, table)], table)


def differences(found: list[Group], table: Table) -> list[str]:
    """Return where what is drawn as one differs from the table."""
    nowhere = [
        f"the name {sorted(named[0])} leads nowhere" for drawn, named in found if not drawn and len(named) < 2
    ]
    nowhere += [
        f"{pin} is joined to nothing"
        for drawn, named in found
        for pin in drawn
        if len(drawn) == 1 and not named and table.net.get(pin) != UNUSED
    ]
    return [*nowhere, *_together(found, table), *_apart(found, table), *_missing(found, table)]


def groups(block: Block, table: Table) -> list[Group]:
    """Return what a block joins."""
    drawn = block.drawn
    spots = (
        [p for wire in drawn.wires for p in wire] + drawn.dots + [p for _, p in (*drawn.pins, *drawn.names)]
    )
    root = {p: p for p in spots}

    def find(p: Point) -> Point:
        while root[p] != p:
            p = root[p]
        return p

    for p, q in _joints(drawn, spots):
        root[find(p)] = find(q)
    out: dict[Point, Group] = defaultdict(lambda: (set(), []))
    for name, at in drawn.pins:
        out[find(at)][0].add(name)
    for text, at in drawn.names:
        out[find(at)][1].append(names(text, table))
    return list(out.values())


def _joints(drawn: Drawn, spots: list[Point]) -> Iterator[tuple[Point, Point]]:
    """Yield points that are one: where they stand on one another, at the ends of a line, at a junction on a line."""
    yield from drawn.wires
    for i, p in enumerate(spots):
        yield from ((p, q) for q in spots[i + 1 :] if _near(p, q))
    yield from ((dot, wire[0]) for dot in drawn.dots for wire in drawn.wires if _inside(wire, dot))


def _inside(wire: tuple[Point, Point], p: Point) -> bool:
    """Tell whether a point lies on a line between its ends."""
    (ax, ay), (bx, by) = wire
    dx, dy, long = bx - ax, by - ay, ((bx - ax) ** 2 + (by - ay) ** 2) ** 0.5
    if long < NEAR:
        return False
    along = ((p[0] - ax) * dx + (p[1] - ay) * dy) / long
    aside = abs((p[0] - ax) * dy - (p[1] - ay) * dx) / long
    return aside < NEAR < along < long - NEAR


def without_dot(block: Block) -> Iterator[str]:
    """Yield where three or more lines and parts meet without a dot."""
    drawn = block.drawn
    ends = [p for wire in drawn.wires for p in wire] + [p for _, p in (*drawn.pins, *drawn.names)]
    for p in ends:
        meet = sum(_near(p, q) for q in ends) + 2 * sum(_inside(wire, p) for wire in drawn.wires)
        if meet > 2 and not any(_near(p, dot) for dot in drawn.dots):
            yield f"{block.heading}: {meet} meet without a dot at ({p[0]:.2f}, {p[1]:.2f})"


def _near(p: Point, q: Point) -> bool:
    return bool(abs(p[0] - q[0]) + abs(p[1] - q[1]) < NEAR)


def names(text: str, table: Table) -> set[str]:
    """Return the nets that a name on a sheet stands for, one of each line, with its pin; of "U3 A2" the pin alone."""
    out = set()
    for line in text.split("\n"):
        pin = table.label.get(line) or WORDS.get(line) or line.replace(" ", ".")
        out |= {pin, table.net.get(pin, pin)} if line in table.label or line in WORDS else {pin}
    return out


def _together(found: list[Group], table: Table) -> Iterator[str]:
    net = table.net
    for drawn, named in found:
        meant = [{net.get(each, each) for each in name} for name in named]
        nets = {net.get(pin, f"no pin {pin}") for pin in drawn} or set.intersection(*meant)
        if len(nets) > 1:
            yield f"drawn as one: {', '.join(sorted(nets))} at {', '.join(sorted(drawn))}"
        elif UNUSED not in nets:
            yield from (f"{nets} is named {sorted(name)}" for name in meant if not nets & name)


def _apart(found: list[Group], table: Table) -> Iterator[str]:
    """A net that is drawn in several places needs its name at each, or the name of a pin that is drawn elsewhere."""
    seen: dict[str, list[bool]] = defaultdict(list)
    said = {each for _, named in found for name in named for each in name}
    pins_drawn = {pin for drawn, _ in found for pin in drawn}
    for drawn, named in found:
        for net in {table.net.get(pin, "") for pin in drawn}:
            known = any({net, *pins_drawn} & name for name in named)
            seen[net].append(known or bool(drawn & said))
    yield from (
        f"{net} is drawn in {len(places)} pieces, not all with its name"
        for net, places in seen.items()
        if net != UNUSED and len(places) > 1 and not all(places)
    )


def _missing(found: list[Group], table: Table) -> Iterator[str]:
    """Every pin of the table is drawn, or named where a net ends, or is the like of one that is drawn."""
    drawn = {pin for group, _ in found for pin in group}
    said = {each for _, named in found for name in named for each in name}
    inside = {net for net, ends in joined(table.pieces).items() if _in_a_row(ends, table)}
    for piece in table.pieces:
        for pin, net in piece.pins.items():
            here = f"{piece.ref}.{pin}" in drawn | said or net in inside or net == UNUSED
            edge = piece.ref in (BOARD, SOCKET) and net in said
            if not (here or edge or _is_like(piece, pin, table, drawn)):
                yield f"{piece.ref}.{pin} on {net} is not drawn"


def _in_a_row(ends: tuple[tuple[str, str], ...], table: Table) -> bool:
    """Tell whether a net lies inside a row of equal pieces that is drawn as one."""
    keys = {piece.key for piece in table.pieces for ref, _ in ends if piece.ref == ref}
    return len(ends) == 2 and len(keys) == 1 and ends[0][0] != ends[1][0]


def _is_like(piece: Piece, pin: str, table: Table, drawn: set[str]) -> bool:
    """Tell whether channel B has this pin drawn, on the net that its name leads to expect."""
    ref, net = LIKE.get(piece.ref) or re.sub(r"[AS](?=\d$)", "B", piece.ref), piece.pins[pin]
    want = "SIGNAL_B" if net == "SUPPLY_SENSE" else re.sub(r"_[AS]$", "_B", net)
    if ref == piece.ref:  # another amplifier of the same chip
        ours = (f"{ref}.{n}" for n in piece.pins)
        return want != net and any(table.net[each] == want and each in drawn for each in ours)
    like = f"{ref}.{pin}"
    return like in drawn and (piece.ref in LIKE or want == table.net[like])


def main() -> int:
    """Print the faults of all builds; 1 where there are any."""
    n = 0
    for build in BUILDS:
        found, table = faults(build), table_of(build)
        n += len(found)
        count = sum(len(drawn) for block in blocks(build) for drawn, _ in groups(block, table))
        print(f"{build}: {len(parts(build))} parts, {count} pins drawn, {len(found)} faults")
        print("".join(f"  {line}\n" for line in found), end="")
    return 1 if n else 0


if __name__ == "__main__":
    sys.exit(main())
