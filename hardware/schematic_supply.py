"""The supply's block of the schematics."""

from __future__ import annotations

from schemdraw import elements as elm

from hardware.schematic_pen import Pen, contact, mark, pin
from hardware.schematic_sheet import Block, Point
from hardware.values import value_str
from sweeprig.frontend.tables import Part, parts


def supply(build: str) -> Block:
    """Return the switched and limited supply of the sensor."""
    p = parts(build)
    d = Pen()
    if build == "plain":
        d.end((0, 0), "VBUS", "left")
        fuse = f"{p['fuse_usb'].ref}\n{value_str(p['fuse_usb'].value, 'A')}"
        d.part(elm.Fuse, (0, 0), (2.6, 0), fuse)
        d.part(elm.Capacitor, (2.6, 0), (2.6, -2.2), mark(p["c_usb"]), loc="top")
        d.ground((2.6, -2.2))
        d.dots((2.6, 0))
    else:
        d.end((0, 0), "6.5 V", "left")
        d.wire((0, 0), (2.6, 0))
    d.wire((2.6, 0), (4.6, 0))
    d.part(elm.Resistor, (4.6, 0), (7.2, 0), mark(p["r_limit"]))
    d.wire((7.2, 0), (10, 0))
    letters = {"E": (9.75, -0.3), "C": (11.6, -0.3), "B": (11.0, -1.1)}
    d.bjt(elm.BjtPnp(circle=True).theta(90).anchor("emitter").at((10, 0)), p["q_pass"].ref, letters)
    d.note((10.7, 0.7), p["q_pass"].ref)
    d.part(elm.Schottky, (11.4, 0), (14, 0), p["d_block"].ref)
    d.part(elm.Capacitor, (14, 0), (14, -2.2), mark(p["c_supply"]), loc="bottom")
    d.ground((14, -2.2))
    _lead(d, p, build)
    d.dots((4.2, 0), (8, 0), (9.2, 0), (14, 0), (10.7, -4.4), (10.7, -2.4))
    d.part(elm.Resistor, (9.2, 0), (9.2, -2.4), mark(p["r_pass_hold"]), loc="bottom", ends="R35.2 R35.1")
    d.wire((9.2, -2.4), (10.7, -2.4))
    _limiter(d, p)
    _flag(d, p, build)
    if build == "plain":
        _switch(d, p, build, 0.0)
    else:
        letters = {"C": (11.0, -4.45), "E": (10.95, -6.05), "B": (9.8, -4.85)}
        d.bjt(
            elm.BjtNpn(circle=True).theta(0).anchor("collector").at((10.7, -4.4)), p["q_drive"].ref, letters
        )
        d.note((11.8, -5.2), p["q_drive"].ref)
        d.wire((9.95, -5.15), (9.2, -5.15))
        d.wire((10.7, -5.79), (10.7, -5.9))
        d.end((9.2, -5.15), "drive", "left")
        _switch(d, p, build, -1.5)
    return d.block("Supply of the sensor", _supply_notes(build))


def _lead(d: Pen, p: dict[str, Part], build: str) -> None:
    """Draw the way out, with its suppressor where the build has one."""
    d.wire((14, 0), (15.4, 0))
    if build == "plain":
        d.end((15.4, 0), "supply of the sensor", "right")
        return
    d.wire((15.4, 0), (17.2, 0))
    d.part(elm.DiodeTVS, (16.2, 0), (16.2, -2.2), p["suppressor"].ref, loc="bottom", ends="D21.1 D21.2")
    d.dots((16.2, 0))
    d.ground((16.2, -2.2))
    d.end((17.2, 0), contact("SUPPLY OUT"), "right")


def _supply_notes(build: str) -> tuple[str, ...]:
    notes = [
        "Q2 takes the base current from Q1 when R30 drops 0.62 V; Q3 then raises SUPPLY_FAULT.",
        "Q4 is off while the board boots or is not powered.",
        "Lines that cross without a dot are not joined.",
    ]
    if build != "plain":
        notes.append("Contact 7 LINK is joined to ground inside the powered lead's plug only.")
    return tuple(notes)


def step_up(build: str) -> Block:
    """Return the step-up from USB to 6.5 V with its filter."""
    p = parts(build)
    d = Pen()
    d.end((0, 0), "VBUS", "left")
    d.part(elm.Fuse, (0, 0), (2.4, 0), f"{p['fuse_usb'].ref}\n{value_str(p['fuse_usb'].value, 'A')}")
    d.part(elm.Capacitor, (2.4, 0), (2.4, -2.2), mark(p["c_boost_in"]), loc="top")
    d.ground((2.4, -2.2))
    d.part(elm.Resistor, (3.2, 0), (5.6, 0), mark(p["r_boost_peak"]))
    d.wire((2.4, 0), (3.2, 0))
    d.part(elm.Inductor2, (5.6, 0), (8.6, 0), mark(p["l_boost"]))
    d.part(elm.Schottky, (8.6, 0), (11.2, 0), p["d_boost"].ref)
    d.electrolytic((11.2, 0), (11.2, -2.2), mark(p["c_boost_out"]), loc="top")
    d.ground((11.2, -2.2))
    d.part(elm.Inductor2, (12.4, 0), (15.0, 0), mark(p["l_filter"]))
    d.wire((11.2, 0), (12.4, 0))
    d.electrolytic((15.0, 0), (15.0, -2.2), mark(p["c_filter"]), loc="bottom")
    d.ground((15.0, -2.2))
    d.wire((15.0, 0), (16.4, 0))
    d.end((16.4, 0), "6.5 V", "right")
    d.dots((2.4, 0), (3.0, 0), (5.6, 0), (8.6, 0), (11.2, 0), (12.0, 0), (15.0, 0))
    _switcher(d, p)
    notes = ("Keep the loop C60, L1, U5, D6, C62 small and away from the inputs.",)
    return d.block("Step-up from USB to 6.5 V", notes)


def _switcher(d: Pen, p: dict[str, Part]) -> None:
    left = (("6 VCC", "4/4"), ("7 IPK", "3/4"), ("3 TIME", "2/4"), ("4 GND", "1/4"))
    right = (("8 DRIVE", "4/4"), ("1 SWITCH", "3/4"), ("2 EMITTER", "2/4"), ("5 SENSE", "1/4"))
    pins = [elm.IcPin(name=n, side=s, slot=k) for s, g in (("left", left), ("right", right)) for n, k in g]
    chip = elm.Ic(pins=pins, edgepadW=1.7, pinspacing=1.1, leadlen=0.5).at((5.0, -8.4))
    d.chip(
        chip.label(p["boost"].ref, loc="top", fontsize=11), p["boost"].ref, [n for n, _ in (*left, *right)]
    )
    at = {n: tuple(getattr(chip, n)) for n, _ in (*left, *right)}
    d.wire(at["6 VCC"], (3.0, at["6 VCC"][1]), (3.0, 0))
    d.wire(at["7 IPK"], (3.8, at["7 IPK"][1]), (3.8, -2.6), (5.6, -2.6), (5.6, 0))
    x, y = at["3 TIME"]
    d.part(elm.Capacitor, (x - 2.2, y), (x - 2.2, y - 2.0), mark(p["c_boost_time"]), loc="top")
    d.wire(at["3 TIME"], (x - 2.2, y))
    d.ground((x - 2.2, y - 2.0))
    d.wire(at["4 GND"], (at["4 GND"][0] - 0.4, at["4 GND"][1]))
    d.ground((at["4 GND"][0] - 0.4, at["4 GND"][1]))
    x, y = at["8 DRIVE"]
    d.wire(at["8 DRIVE"], (x + 0.5, y), (x + 0.5, at["1 SWITCH"][1]))
    d.wire(
        at["1 SWITCH"],
        (x + 0.5, at["1 SWITCH"][1]),
        (x + 1.0, at["1 SWITCH"][1]),
        (x + 1.0, -3.4),
        (8.6, -3.4),
        (8.6, 0),
    )
    d.dots((x + 0.5, at["1 SWITCH"][1]))
    d.wire(at["2 EMITTER"], (x + 0.5, at["2 EMITTER"][1]))
    d.ground((x + 0.5, at["2 EMITTER"][1]))
    y = at["5 SENSE"][1]
    d.wire(at["5 SENSE"], (12.0, y))
    d.part(elm.Resistor, (12.0, y + 2.6), (12.0, y), mark(p["r_boost_top"]), loc="bottom")
    d.wire((12.0, y + 2.6), (12.0, 0))
    d.part(elm.Resistor, (12.0, y), (12.0, y - 2.4), mark(p["r_boost_bottom"]), loc="bottom")
    d.ground((12.0, y - 2.4))
    d.dots((12.0, y))


def regulator(build: str) -> Block:
    """Return the amplifier that holds 5.00 V at the socket."""
    p = parts(build)
    d = Pen()
    d.end((0, 0), contact("SUPPLY OUT"), "left")
    d.part(elm.Resistor, (0, 0), (2.6, 0), mark(p["r_feedback_top"]))
    d.part(elm.Resistor, (3.0, 0), (3.0, -2.4), mark(p["r_feedback_bottom"]), loc="bottom")
    d.part(elm.Schottky, (5.2, -2.4), (5.2, 0), p["d_feedback"].ref, loc="bottom")
    d.part(elm.Resistor, (4.2, 2.6), (4.2, 0), mark(p["r_feedback_hold"]), loc="bottom")
    d.end((4.2, 2.6), "6.5 V", "top")
    d.wire((2.6, 0), (6.0, 0))
    for x in (3.0, 5.2):
        d.ground((x, -2.4))
    d.dots((3.0, 0), (4.2, 0), (5.2, 0), (9.0, 0))
    d.part(elm.Resistor, (6.0, 0), (8.4, 0), mark(p["r_feedback_in"]))
    d.wire((8.4, 0), (10.4, 0))
    amp = elm.Opamp(sign=True).anchor("in1").at((10.4, 0))
    d.add(amp.label(f"{p['error_amp'].ref}A", loc="center", fontsize=10))
    ref = p["error_amp"].ref
    d.pins({f"{ref}.2": amp.in1, f"{ref}.3": amp.in2, f"{ref}.1": amp.out})
    for text, at in (("2", (10.2, 0.25)), ("3", (10.2, amp.in2[1] + 0.25)), ("1", (13.0, amp.out[1] + 0.25))):
        d.note(at, text)
    x, y = amp.out
    d.wire((x, y), (x + 1.0, y))
    d.end((x + 1.0, y), "drive (base of Q6)", "right")
    d.part(elm.Resistor, (9.0, 2.2), (11.4, 2.2), mark(p["r_comp"]))
    d.part(elm.Capacitor, (11.4, 2.2), (x + 0.4, 2.2), mark(p["c_comp"]))
    d.wire((9.0, 0), (9.0, 2.2))
    d.wire((x + 0.4, 2.2), (x + 0.4, y))
    d.dots((x + 0.4, y))
    _reference(d, p, build, tuple(amp.in2))
    notes = (
        f"{p['reference'].ref} hangs on the pin that switches the supply: low, it is 0 V and Q6 gets no drive.",
        f"{p['reference'].ref}: 1 open, 2 cathode, 3 anode.",
    )
    return d.block("Regulator: holds 5.00 V at the socket", notes)


def _reference(d: Pen, p: dict[str, Part], build: str, at: Point) -> None:
    x, y = at
    low = y - 3.0
    d.wire(at, (x - 0.6, y), (x - 0.6, low), (x - 5.4, low))
    d.part(elm.Resistor, (x - 8.4, low), (x - 5.4, low), mark(p["r_reference"]))
    d.end((x - 8.4, low), pin(build, "SUPPLY_ON"), "left")
    d.part(elm.Zener, (x - 4.6, low - 2.2), (x - 4.6, low), p["reference"].ref + " 2.5 V", loc="bottom")
    d.part(elm.Capacitor, (x - 2.0, low), (x - 2.0, low - 2.2), mark(p["c_reference"]), loc="bottom")
    for each in (x - 4.6, x - 2.0):
        d.ground((each, low - 2.2))
        d.dots((each, low))


def _limiter(d: Pen, p: dict[str, Part]) -> None:
    """Draw Q2 under R30: base at its far end, emitter at its near end, collector on the base of Q1."""
    letters = {"E": (6.65, -1.75), "C": (6.65, -3.55), "B": (7.35, -2.4)}
    d.bjt(
        elm.BjtPnp(circle=True).theta(0).reverse().anchor("base").at((7.2, -2.6)), p["q_limit"].ref, letters
    )
    d.note((5.4, -2.7), p["q_limit"].ref)
    d.wire((7.2, -2.6), (8, -2.6), (8, 0))
    d.wire((6.45, -1.9), (6.45, -1.2), (4.2, -1.2), (4.2, 0))
    d.wire((6.45, -3.3), (6.45, -4.4), (10.7, -4.4))
    d.wire((10.7, -0.75), (10.7, -4.4))


def _flag(d: Pen, p: dict[str, Part], build: str) -> None:
    """Draw Q3, R31 and the divider of the fault pin."""
    letters = {"E": (3.45, -5.15), "C": (3.45, -6.95), "B": (4.15, -5.75)}
    d.bjt(elm.BjtPnp(circle=True).theta(0).reverse().anchor("base").at((4, -6)), p["q_flag"].ref, letters)
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


def _switch(d: Pen, p: dict[str, Part], build: str, down: float) -> None:
    """Draw R34 and Q4 under the base of Q1 (or under Q6, `down` lower)."""
    top = -4.4 + down
    d.part(elm.Resistor, (10.7, top), (10.7, top - 2.6), mark(p["r_pass_base"]), loc="bottom")
    d.fet((10.7, top - 2.6), p["q_on"].ref)
    d.wire((9.33, top - 3.35), (7.4, top - 3.35))
    d.end((7.4, top - 3.35), pin(build, "SUPPLY_ON"), "left")
    d.part(elm.Resistor, (8.3, top - 3.35), (8.3, top - 5.55), mark(p["r_on_pull"]))
    d.dots((8.3, top - 3.35))
    d.ground((8.3, top - 5.55))
    if build == "plain":
        d.ground((10.7, top - 4.1))
    else:
        d.wire((10.7, top - 4.1), (10.7, top - 4.8))
        d.end((10.7, top - 4.8), contact("LINK"), "right")
