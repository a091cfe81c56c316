"""Electrical rules on the table of nets: `python -m hardware.erc` prints what is wrong, or that nothing is."""

from __future__ import annotations

import sys
from collections import Counter

from sweeprig.frontend.nets import BOARD, SOCKET, UNUSED, nets, pieces
from sweeprig.frontend.tables import BUILDS, parts

# Pins that drive: two of them in one net fight. References with the pins that are outputs.
OUTPUTS = {"U2": ("1", "7", "8", "14"), "U6": ("1", "7")}
# Supply pins that must be on these nets.
SUPPLIES = {
    "U2": {"4": "+3V3", "11": "GND"},
    "U3": {"VDD": "+3V3", "GND": "GND"},
    "U4": {"VDD": "+3V3", "GND": "GND"},
    "U5": {"6": "+5V", "4": "GND"},
    "U6": {"8": "+6V5", "4": "GND"},
}
ALL_PINS = {
    "U2": 14, "U3": 10, "U4": 4, "U5": 8, "U6": 8, "U1": 3, "U7": 3, BOARD: 40, SOCKET: 15,
    "Q1": 3, "Q2": 3, "Q3": 3, "Q4": 3, "Q6": 3, "J1": 3, "A1": 5,
}  # fmt: skip
OFF_BOARD = ("motor", "stop_switch")  # their wires go to the driver module and the motor's own supply


def faults(build: str) -> list[str]:
    """Return what is wrong with the nets of a build, one line each; none: it is right."""
    return [*_pieces(build), *_loose(build), *_outputs(build), *_supplies(build), *_decoupled(build)]


def _pieces(build: str) -> list[str]:
    found = pieces(build)
    out = [f"{ref} stands {n} times" for ref, n in Counter(p.ref for p in found).items() if n > 1]
    for key, part in parts(build).items():
        placed = sum(p.key == key for p in found)
        if key not in OFF_BOARD and placed != part.count:
            out.append(f"{part.ref} ({key}): {part.count} pieces are bought, {placed} are wired")
    for p in found:
        wanted = ALL_PINS.get(p.ref)
        if p.ref == SOCKET and build == "plain":
            wanted = 5
        if wanted is not None and len(p.pins) != wanted:
            out.append(f"{p.ref} has {wanted} pins, {len(p.pins)} are named")
    return out


def _loose(build: str) -> list[str]:
    """A net of one pin leads nowhere; the plain build's unused lead pins have a net of two as well."""
    return [
        f"{net} is only at {ends[0][0]} pin {ends[0][1]}"
        for net, ends in nets(build).items()
        if len(ends) < 2
    ]


def _outputs(build: str) -> list[str]:
    out = []
    for net, ends in nets(build).items():
        driving = {ref for ref, pin in ends if pin in OUTPUTS.get(ref, ())}
        if len(driving) > 1:
            out.append(f"{net} is driven by {' and '.join(sorted(driving))}")
    return out


def _supplies(build: str) -> list[str]:
    out = []
    for piece in pieces(build):
        for pin, net in SUPPLIES.get(piece.ref, {}).items():
            if piece.pins.get(pin) != net:
                out.append(f"{piece.ref} pin {pin} is on {piece.pins.get(pin)}, not on {net}")
    return out


def _decoupled(build: str) -> list[str]:
    """One 100 nF from each supply pin's net to ground for every IC that hangs on it (U5 has C60)."""
    found = pieces(build)
    caps = Counter(p.pins["1"] for p in found if p.key == "c_bypass" and p.pins["2"] == "GND")
    want = Counter(SUPPLIES[p.ref][next(iter(SUPPLIES[p.ref]))] for p in found if p.ref in SUPPLIES)
    want["+5V"] = 0
    return [f"{n} ICs on {net}, {caps[net]} capacitors of 100 nF" for net, n in want.items() if caps[net] < n]


def unused(build: str) -> list[str]:
    """Return the pins that are marked unused."""
    return [f"{p.ref}.{pin}" for p in pieces(build) for pin, net in p.pins.items() if net == UNUSED]


def main() -> int:
    """Print the faults of all builds; 1 where there are any."""
    n = 0
    for build in BUILDS:
        found = faults(build)
        n += len(found)
        wired = sum(len(e) for e in nets(build).values())
        print(f"{build}: {len(pieces(build))} pieces, {len(nets(build))} nets, {wired} pins joined,"
              f" {len(unused(build))} pins marked unused, {len(found)} faults")  # fmt: skip
        for line in found:
            print(f"  {line}")
    return 1 if n else 0


if __name__ == "__main__":
    sys.exit(main())
