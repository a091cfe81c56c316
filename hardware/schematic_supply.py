"""The supply's block of the schematics."""

from __future__ import annotations

from schemdraw import elements as elm

from hardware.schematic_pen import Pen, contact, mark, pin
from hardware.schematic_sheet import Block
from hardware.values import value_str
from sweeprig.frontend.tables import Part, parts


def supply(build: str) -> Block:
    """Return the switched and limited supply of the sensor."""
    p = parts(build)
    d = Pen()
    d.end((0, 0), "VBUS", "left")
    fuse = f"{p['fuse_usb'].ref}\n{value_str(p['fuse_usb'].value, 'A')}"
    d.part(elm.Fuse, (0, 0), (2.6, 0), fuse)
    d.wire((2.6, 0), (4.6, 0))
    d.part(elm.Resistor, (4.6, 0), (7.2, 0), mark(p["r_limit"]))
    d.wire((7.2, 0), (10, 0))
    d.add(elm.BjtPnp(circle=True).theta(90).anchor("emitter").at((10, 0)))
    d.note((10.7, 0.7), p["q_pass"].ref)
    d.part(elm.Schottky, (11.4, 0), (14, 0), p["d_block"].ref)
    d.part(elm.Capacitor, (14, 0), (14, -2.2), mark(p["c_supply"]), loc="bottom")
    d.ground((14, -2.2))
    d.wire((14, 0), (15.4, 0))
    d.end((15.4, 0), contact("SUPPLY OUT") if build != "plain" else "supply of the sensor", "right")
    d.dots((4.2, 0), (8, 0), (9.2, 0), (14, 0), (10.7, -4.4), (10.7, -2.4))
    d.part(elm.Resistor, (9.2, 0), (9.2, -2.4), mark(p["r_pass_hold"]), loc="top")
    d.wire((9.2, -2.4), (10.7, -2.4))
    _limiter(d, p)
    _flag(d, p, build)
    _switch(d, p, build)
    return Block("Supply of the sensor", d.svg(), _supply_notes(build))


def _supply_notes(build: str) -> tuple[str, ...]:
    notes = [
        "Q2 takes the base current from Q1 when R30 drops 0.62 V; Q3 then raises SUPPLY_FAULT.",
        "Q4 is off while the board boots or is not powered.",
        "Lines that cross without a dot are not joined.",
    ]
    if build != "plain":
        notes.append("Contact 7 LINK is joined to ground inside the powered lead's plug only.")
    return tuple(notes)


def _limiter(d: Pen, p: dict[str, Part]) -> None:
    """Draw Q2 under R30: base at its far end, emitter at its near end, collector on the base of Q1."""
    d.add(elm.BjtPnp(circle=True).theta(0).reverse().anchor("base").at((7.2, -2.6)))
    d.note((5.4, -2.7), p["q_limit"].ref)
    d.wire((7.2, -2.6), (8, -2.6), (8, 0))
    d.wire((6.45, -1.9), (6.45, -1.2), (4.2, -1.2), (4.2, 0))
    d.wire((6.45, -3.3), (6.45, -4.4), (10.7, -4.4))
    d.wire((10.7, -0.75), (10.7, -4.4))


def _flag(d: Pen, p: dict[str, Part], build: str) -> None:
    """Draw Q3, R31 and the divider of the fault pin."""
    d.add(elm.BjtPnp(circle=True).theta(0).reverse().anchor("base").at((4, -6)))
    d.note((2.2, -6.1), p["q_flag"].ref)
    d.wire((3.25, -5.3), (3.25, -1.2), (4.2, -1.2))
    d.part(elm.Resistor, (4, -6), (7, -6), mark(p["r_flag_base"]))
    d.wire((7, -6), (8, -6), (8, -2.6))
    d.dots((8, -2.6), (4.2, -1.2), (3.25, -8.9))
    d.part(elm.Resistor, (3.25, -6.7), (3.25, -8.9), mark(p["r_flag_top"]))
    d.part(elm.Resistor, (3.25, -8.9), (3.25, -11.1), mark(p["r_flag_bottom"]))
    d.ground((3.25, -11.1))
    d.wire((3.25, -8.9), (1.6, -8.9))
    d.end((1.6, -8.9), pin(build, "SUPPLY_FAULT"), "left")


def _switch(d: Pen, p: dict[str, Part], build: str) -> None:
    """Draw R34 and Q4 under the base of Q1."""
    d.part(elm.Resistor, (10.7, -4.4), (10.7, -7), mark(p["r_pass_base"]), loc="bottom")
    d.fet((10.7, -7), p["q_on"].ref)
    d.wire((9.33, -7.75), (7.4, -7.75))
    d.end((7.4, -7.75), pin(build, "SUPPLY_ON"), "left")
    d.part(elm.Resistor, (8.3, -7.75), (8.3, -9.95), mark(p["r_on_pull"]))
    d.dots((8.3, -7.75))
    d.ground((8.3, -9.95))
    if build == "plain":
        d.ground((10.7, -8.5))
    else:
        d.wire((10.7, -8.5), (10.7, -9.2))
        d.end((10.7, -9.2), contact("LINK"), "bottom")
