"""The wiring of each build pin by pin, as Markdown."""

from __future__ import annotations

from collections.abc import Iterator

from hardware.board.pieces import bought
from hardware.markdown import table
from sweeprig.frontend.nets import BOARD, EDGE, SOCKET, UNUSED, joined, nets, off_board, pieces
from sweeprig.frontend.tables import BUILDS, contacts, parts, pins

POWER_PINS = (("VBUS", 40, "VBUS"), ("3V3 OUT", 36, "+3V3"), ("GND", 38, "GND"), ("AGND", 33, "GND"),
              ("ADC_VREF", 35, "ADC_VREF"), ("RUN", 30, "RUN"))  # fmt: skip
QUIET_GROUND = ("R2", "C1", "C2", "C12")  # what belongs at AGND
HANDS = (
    "button", "buzzer", "jumper", "monitor", "driver", "encoder", "home", "motor", "stop_switch", "motor_supply",
    "fuse_motor", "c_motor",
)  # fmt: skip
REMARKS = {
    "button": "either way round; a panel button hangs on the same two nets",
    "buzzer": "no polarity, though its pin 1 is printed +",
    "jumper": "jumper on LEAD and MIDDLE: to measure; on MIDDLE and RAMP: only for `sweeprig calibrate ramp`",
    "monitor": "VDD goes to the pin printed so: look at yours before soldering; A0 is AIN0 of the sheets",
    "driver": "pins without a number are on its carrier only; what is on 3.3 V there is joined to VIO",
    "home": "common and normally closed contact, either way round",
    "stop_switch": "its normally closed contact, either way round",
    "fuse_motor": "in the plus wire, before S3",
    "c_motor": "at the driver's own pins",
    "motor": "1A with 1B is one coil, 2A with 2B the other",
}
_SOCKET = (
    "One socket of fifteen contacts, two leads. A contact that a lead does not have has no wire in it: cut the pin or",
    "leave it out. The plain build has no socket: its lead is the powered one, with ground on the rig's ground.",
    "Contacts 12 to 15 and the socket's metal shell are joined to nothing. LINK is no jumper to set: the powered",
    "lead's plug joins contact 7 to 5 inside, the tap lead's does not, and so the board knows which one is in.",
)
_HANDS = (
    "By pin; in brackets the pad's number on the printed board where the pin has a name, pad 1 is the square one.",
)
_PLAIN = (
    "The plain build has no buzzer, no jumper and no LINK. A button is wanted only without a laptop: edge 15 (GP11) to",
    "edge 18 (GND), as [portable.md](portable.md) says.",
)


def wiring_md(made: str) -> str:
    """Return the wiring of all builds, pin by pin."""
    out = [made, "# Wiring", ""]
    out += [
        "Edge: the number of the contact on a Pico board's 40-pin edge, 1 beside the USB socket on the left.",
        "",
    ]
    head = ("pin", "edge", "name", "direction", "goes to")
    for build in BUILDS:
        rows = [(f"GP{p.gpio}", str(EDGE[p.gpio]), p.name, p.direction, p.to) for p in pins(build)]
        rows += [
            (name, str(edge), "", "supply", _power_to(build, name, net)) for name, edge, net in POWER_PINS
        ]
        out += [f"## Board, {build} build", "", table(head, rows), ""]
        out += [*_PLAIN, ""] if build == "plain" else []
    out += ["## Socket and leads, full and driven builds", "", *_SOCKET, ""]
    rows = [(str(c.number), c.name, c.rig, c.powered, c.tapped) for c in contacts()]
    out += [table(("contact", "name", "inside the rig", "powered lead", "tap lead"), rows), ""]
    out += ["## Button, buzzer, jumper, modules and drive", "", *_HANDS, ""]
    return "\n".join([*out, table(("part", "pin", "net", "joined to", "remark"), hands()), ""])


def hands() -> list[tuple[str, ...]]:
    """Return a row for each pin of what has a handle, a plug or a module; the full build has those without a drive."""
    return [row for key in HANDS for row in _pins_of(key)]


def _pins_of(key: str) -> Iterator[tuple[str, ...]]:
    build = "driven"
    part, pads = parts(build)[key], bought(build, parts(build)[key]).get("pads", {})
    every = (*pieces(build), *off_board(build))
    by_net, remark = joined(every), REMARKS.get(key, "")
    for piece in (p for p in every if p.key == key):
        for pin, net in piece.pins.items():
            named = f"{pin} ({pads[pin]})" if pin in pads else pin
            others = [e for e in by_net.get(net, ()) if e != (piece.ref, pin)]
            yield part.ref, named, "" if net == UNUSED else net, _others(net, others), remark
            remark = ""


def _others(net: str, ends: list[tuple[str, str]]) -> str:
    if net == UNUSED:
        return "nothing"
    if net in ("GND", "+3V3"):
        return "ground" if net == "GND" else "3.3 V"
    return ", ".join(_end(ref, pin) for ref, pin in ends)


def _end(ref: str, pin: str) -> str:
    """Return a pin as one finds it: contact of the edge with its GPIO, contact of the socket, or reference and pin."""
    gpio = {edge: f"GP{n}" for n, edge in EDGE.items()}
    if ref == BOARD:
        return f"{gpio.get(int(pin), 'board')} (edge {pin})"
    return f"contact {pin}" if ref == SOCKET else f"{ref} {pin}"


def _power_to(build: str, name: str, net: str) -> str:
    """Return the parts that hang on a supply pin of the board, from the table of nets."""
    listed, keys = parts(build), {p.ref: p.key for p in pieces(build)}
    refs = dict.fromkeys(listed[keys[ref]].ref for ref, _ in nets(build)[net] if keys[ref] in listed)
    quiet = [r for r in refs if r in QUIET_GROUND]
    if name == "AGND":
        return f"ground of {', '.join(quiet)}: joined to GND on the board"
    shown = [r for r in refs if net != "GND" or r not in quiet]
    return ", ".join(shown) + ("; in the lead: ground" if name == "GND" and build == "plain" else "")
