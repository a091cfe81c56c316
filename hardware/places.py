"""Where the meter's tips go: each place that first power names, as a free hole of the breadboard or a test point."""

from __future__ import annotations

from hardware.breadboard.plan import (
    LOWER,
    UPPER,
    Hole,
    Wire,
    hole,
    is_hole,
    net_by_hole,
    on_link,
    used,
    wires,
)
from hardware.breadboard.plan import places as holes_of
from sweeprig.frontend.nets import SOCKET, pieces, test_points
from sweeprig.frontend.tables import table

# What first power calls a place, and its nets.
PLACES: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("VBUS", ("VBUS",)),
    ("3V3 OUT", ("+3V3",)),
    ("RUN", ("RUN",)),
    ("U1 reference pin", ("U1_REF",)),
    ("supply lead", ("SUPPLY_OUT",)),
    ("supply sense", ("SUPPLY_SENSE",)),
    ("signal lead", ("SIGNAL_A", "SIGNAL_B", "SUPPLY_SENSE")),
    ("signals A and B", ("SIGNAL_A", "SIGNAL_B")),
    ("junction of R1 and R2", ("NODE_A", "NODE_B", "NODE_S")),
    ("Q1's side of D5", ("COLLECTOR",)),
    ("drain of Q4", ("DRAIN",)),
    ("its source", ("LINK",)),
    ("gate of Q4", ("SUPPLY_ON",)),
    ("GP3", ("SUPPLY_FAULT",)),
    ("GP26, GP27, GP28", ("ADC_A", "ADC_B", "ADC_S")),
    ("plus of C63", ("+6V5",)),
    ("cathode of U7", ("REFERENCE",)),
    ("U2's outputs", ("AMP_A", "AMP_B", "AMP_S")),
    ("U3 AIN2", ("AIN2",)),
    ("U3 AIN3", ("AIN3",)),
    ("contact 6", ("TAP_GROUND",)),
    ("ground sense", ("GROUND_SENSE",)),
    ("battery sense", ("BATTERY_SENSE",)),
    ("GND", ("GND",)),
)


def named(where: str) -> list[str]:
    """Return the places of PLACES that a line of first power names."""
    return [name for name, _ in PLACES if name in where]


def free_hole(net: str) -> str:
    """Return a hole of the breadboard that is joined to a net, free and under no part; else a leg's own hole."""
    joined = sorted((at for at, name in net_by_hole().items() if name == net), key=lambda h: h.xy)
    free = [at for leg in joined for at in _around(leg) if _is_free(at)]
    clear = [at for at in free if not _covered(at, wires())] or free
    return str(clear[0]) if clear else f"leg at {joined[0]}" if joined else ""


def _around(leg: Hole) -> list[Hole]:
    """Return the other holes of a leg's strip, the nearest of a rail strip."""
    if len(leg.row) == 2:
        return [Hole(leg.row, leg.column + d) for d in (1, -1, 2, -2)]
    return [Hole(row, leg.column) for row in (UPPER if leg.row in UPPER else LOWER)]


def _is_free(at: Hole) -> bool:
    """Tell whether nothing stands in a hole or over it."""
    two_legs = [
        Wire(*sorted(pins.values(), key=lambda h: h.xy)) for pins in holes_of().values() if len(pins) == 2
    ]
    return is_hole(at) and at not in used() and not _under_the_board(at) and not _covered(at, two_legs)


def _covered(at: Hole, lines: list[Wire]) -> bool:
    """Tell whether a hole lies under a part or bridge between two holes."""
    return any(on_link(Wire(*sorted((x.a, x.b), key=lambda h: h.xy)), at) for x in lines)


def measured() -> list[Hole]:
    """Return every hole where the meter looks on the plain build: bare wires of a perforated board reach them."""
    found = [free_hole(net) for _, nets in PLACES for net in nets]
    return sorted({hole(each.removeprefix("leg at ")) for each in found if each}, key=lambda h: h.xy)


def _under_the_board(at: Hole) -> bool:
    return at.row in "cdefgh" and at.column <= 20


def point(net: str) -> str:
    """Return the test point or the socket's contact of a net on the printed board."""
    if net in test_points():
        return f"test point {net}"
    socket = next(p for p in pieces("full") if p.ref == SOCKET)
    contacts = [number for number, name in socket.pins.items() if name == net]
    return f"contact {contacts[0]}" if contacts else ""


def rows(build: str) -> list[tuple[str, str]]:
    """Return (place, where it is) for a build."""
    find = free_hole if build == "plain" else point
    have = {net for p in pieces(build) for net in p.pins.values()}
    alias = table()["builds"][build].get("nets", {})
    out = []
    for name, listed in PLACES:
        nets = [alias.get(net, net) for net in listed]
        found = [find(net) for net in nets if net in have]
        if all(found) and found:
            out.append((name, ", ".join(found)))
    return out
