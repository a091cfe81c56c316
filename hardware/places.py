"""Where the meter's tips go: each place that first power names, as a free hole of the breadboard or a test point."""

from __future__ import annotations

from hardware.breadboard.plan import LOWER, UPPER, Hole, is_hole, net_by_hole, used
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
    ("signal lead", ("SIGNAL_A", "SIGNAL_B")),
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
    ("GND", ("GND",)),
)


def named(where: str) -> list[str]:
    """Return the places of PLACES that a line of first power names."""
    return [name for name, _ in PLACES if name in where]


def free_hole(net: str) -> str:
    """Return a hole of the breadboard that is joined to a net and in which nothing stands; else a leg's own hole."""
    taken, joined = set(used()), [at for at, name in net_by_hole().items() if name == net]
    for at in sorted(joined, key=lambda h: h.xy):
        rows = at.row if len(at.row) == 2 else UPPER if at.row in UPPER else LOWER
        around = [Hole(at.row, at.column + d) for d in (1, -1, 2, -2)] if len(at.row) == 2 else []
        for free in around or [Hole(row, at.column) for row in rows]:
            if is_hole(free) and free not in taken and not _under_the_board(free):
                return str(free)
    return f"leg at {joined[0]}" if joined else ""


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
