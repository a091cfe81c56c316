"""Electrical rules on the table of nets: `python -m hardware.erc` prints what is wrong, or that nothing is."""

from __future__ import annotations

import sys
from collections import Counter, defaultdict
from collections.abc import Iterator

from hardware.erc_pins import kinds
from sweeprig.frontend.nets import BOARD, SOCKET, UNUSED, Piece, joined, off_board, pieces
from sweeprig.frontend.tables import BUILDS, parts

# Supply pins that must be on these nets.
SUPPLIES = {
    "U2": {"4": "+3V3", "11": "GND"},
    "U3": {"VDD": "+3V3", "GND": "GND"},
    "U4": {"VDD": "+3V3", "GND": "GND"},
    "U5": {"6": "+5V", "4": "GND"},
    "U6": {"8": "+6V5", "4": "GND"},
    "A1": {"VIO": "+3V3", "GND": "GND", "VMOT": "VMOT", "MGND": "MOTOR_MINUS"},
}
MAY_BE_OPEN = ("none", "open", "passive", "out")  # pins of parts that may be marked unused


def faults(build: str) -> list[str]:
    """Return what is wrong with the nets of a build, one line each; none: it is right."""
    checks = (_counts, _pins, _open_pins, _loose, _fights, _floating, _unfed, _supplies, _decoupled)
    return [line for check in checks for line in check(build)]


def whole(build: str) -> list[Piece]:
    """Return every piece with all its pins, on the board and on wires beside it."""
    by_ref: dict[str, Piece] = {}
    for p in (*pieces(build), *off_board(build)):
        had = by_ref[p.ref].pins if p.ref in by_ref else {}
        by_ref[p.ref] = Piece(p.ref, p.key, {**had, **p.pins})
    return list(by_ref.values())


def _counts(build: str) -> Iterator[str]:
    for found in (pieces(build), off_board(build)):
        yield from (f"{ref} stands {n} times" for ref, n in Counter(p.ref for p in found).items() if n > 1)
    for key, part in parts(build).items():
        placed = sum(p.key == key for p in whole(build))
        if placed != part.count:
            yield f"{part.ref} ({key}): {part.count} pieces are bought, {placed} are wired"


def _pins(build: str) -> Iterator[str]:
    """Every pin that a part has is named, and none that it has not."""
    for p in whole(build):
        wanted = kinds(p, build)
        if wanted is None:
            yield f"{p.ref} ({p.key}): nothing is known of its pins"
            continue
        if len(wanted) != len(p.pins):
            yield f"{p.ref} has {len(wanted)} pins, {len(p.pins)} are named"
        yield from (f"{p.ref} has no pin {pin}" for pin in p.pins if pin not in wanted)


def _open_pins(build: str) -> Iterator[str]:
    """Inputs and supply pins may not be marked unused; the board's and the socket's contacts may."""
    for p in whole(build):
        for pin, net in p.pins.items():
            kind = (kinds(p, build) or {}).get(pin, "none")
            if net == UNUSED and p.ref not in (BOARD, SOCKET) and kind not in MAY_BE_OPEN:
                yield f"{p.ref} pin {pin} ({kind}) is marked unused"
            if net != UNUSED and kind == "none":
                yield f"{p.ref} pin {pin} is joined to nothing inside, yet it is on {net}"


def _loose(build: str) -> Iterator[str]:
    """A net of one pin leads nowhere; the plain build's unused lead pins have a net of two as well."""
    for net, ends in joined(whole(build)).items():
        if len(ends) < 2:
            yield f"{net} is only at {ends[0][0]} pin {ends[0][1]}"


def _by_kind(build: str) -> dict[str, dict[str, set[str]]]:
    """Return by net and kind the references that are there."""
    found: dict[str, dict[str, set[str]]] = defaultdict(lambda: defaultdict(set))
    for p in whole(build):
        known = kinds(p, build) or {}
        for pin, net in p.pins.items():
            if net != UNUSED:
                found[net][known.get(pin, "passive")].add(p.ref)
    return found


def _fights(build: str) -> Iterator[str]:
    """Two parts that drive one net, or one that drives a rail, fight."""
    for net, kind in _by_kind(build).items():
        driving = kind["out"] | kind["source"]
        if len(driving) > 1:
            yield f"{net} is driven by {' and '.join(sorted(driving))}"


def _floating(build: str) -> Iterator[str]:
    """An input or a supply pin needs somebody in its net who drives, feeds or lets through."""
    for net, kind in _by_kind(build).items():
        if not any(kind[k] for k in ("out", "source", "open", "both", "passive")):
            needing = sorted(kind["in"] | kind["power"])
            yield f"{net} is driven by nobody: {' and '.join(needing)} only listen"


# Through what a supply reaches a pin, by key of the table: fuses, the stop switch, the step-up's chain with its filter.
LETS_THROUGH = ("fuse_usb", "fuse_motor", "stop_switch", "r_boost_peak", "l_boost", "d_boost", "l_filter")


def _unfed(build: str) -> Iterator[str]:
    """A supply pin needs a source in its net, or one that reaches it through what lets a supply through."""
    fed = {net for net, kind in _by_kind(build).items() if kind["source"]}
    ways = [set(p.pins.values()) for p in whole(build) if p.key in LETS_THROUGH]
    for _ in ways:
        fed |= {net for way in ways if way & fed for net in way}
    for net, kind in _by_kind(build).items():
        if kind["power"] and net not in fed:
            yield f"{net} feeds {' and '.join(sorted(kind['power']))}, and no source reaches it"


def _supplies(build: str) -> Iterator[str]:
    for piece in whole(build):
        for pin, net in SUPPLIES.get(piece.ref, {}).items():
            if piece.pins.get(pin) != net:
                yield f"{piece.ref} pin {pin} is on {piece.pins.get(pin)}, not on {net}"


def _decoupled(build: str) -> Iterator[str]:
    """One 100 nF from each supply pin's net to ground for every IC on it (U5 has C60, A1's module its own)."""
    found = pieces(build)
    caps = Counter(p.pins["1"] for p in found if p.key == "c_bypass" and p.pins["2"] == "GND")
    want = Counter(
        SUPPLIES[p.ref][next(iter(SUPPLIES[p.ref]))] for p in found if p.ref in SUPPLIES and p.ref != "A1"
    )
    want["+5V"] = 0
    yield from (
        f"{n} ICs on {net}, {caps[net]} capacitors of 100 nF" for net, n in want.items() if caps[net] < n
    )


def unused(build: str) -> list[str]:
    """Return the pins that are marked unused."""
    return [f"{p.ref}.{pin}" for p in whole(build) for pin, net in p.pins.items() if net == UNUSED]


def main() -> int:
    """Print the faults of all builds; 1 where there are any."""
    n = 0
    for build in BUILDS:
        found, every = faults(build), whole(build)
        n += len(found)
        wired = sum(len(e) for e in joined(every).values())
        print(f"{build}: {len(every)} pieces, {len(joined(every))} nets, {wired} pins joined,"
              f" {len(unused(build))} pins marked unused, {len(found)} faults")  # fmt: skip
        for line in found:
            print(f"  {line}")
    return 1 if n else 0


if __name__ == "__main__":
    sys.exit(main())
