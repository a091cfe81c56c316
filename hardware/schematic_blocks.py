"""The blocks of the schematics. Positions are ours; every value, reference and pin comes from the parts table."""

from __future__ import annotations

from schemdraw import elements as elm

from hardware.erc_pins import kinds
from hardware.schematic_pen import Pen, contact, mark, pin
from hardware.schematic_sheet import Block, Point
from sweeprig.frontend.nets import pieces
from sweeprig.frontend.tables import Part, parts

# Of what stands several times one is drawn: that of channel B. Channel A differs by J1, which the ramp's block shows.


def _clamp(d: Pen, x: float, p: Part, element: type, ends: tuple[str, str]) -> None:
    """Draw the two clamp diodes at x, node on the line y = 0; `ends` are the pins of the upper and the lower."""
    d.part(element, (x, 0), (x, 2.2), p.ref, loc="bottom", ends=ends[0])
    d.rail((x, 2.2))
    d.part(element, (x, -2.2), (x, 0), p.ref, loc="bottom", ends=ends[1])
    d.ground((x, -2.2))
    d.dots((x, 0))


def plain_input() -> Block:
    """Return one channel of the plain build; there are three."""
    p = parts("plain")
    d = Pen()
    d.end((0, 0), "signal A\nsignal B\nsupply sense", "left")
    d.part(elm.Resistor, (0, 0), (3, 0), mark(p["r_top"]), ends="R1B1.1 R1B1.2")
    d.part(elm.Resistor, (3, 0), (3, -2.2), mark(p["r_bottom"]), loc="bottom", ends="R2B1.1 R2B1.2")
    d.part(elm.Capacitor, (5.2, 0), (5.2, -2.2), mark(p["c_node"]), loc="bottom", ends="C1B1.1 C1B1.2")
    for x in (3, 5.2):
        d.ground((x, -2.2))
        d.dots((x, 0))
    d.wire((3, 0), (7.4, 0))
    _clamp(d, 7.4, p["clamp"], elm.Schottky, ("D1B1.A D1B1.K", "D1B2.A D1B2.K"))
    d.part(elm.Resistor, (7.4, 0), (10.4, 0), mark(p["r_pin"]), ends="R3B1.1 R3B1.2")
    names = "\n".join(pin("plain", n) for n in ("SIGNAL_A", "SIGNAL_B", "SUPPLY"))
    d.end((10.4, 0), names, "right")
    note = "D1: two single diodes in each channel, six in all."
    return d.block("Input: three channels, all the same", (note,))


def full_input(build: str) -> Block:
    """Return one buffered channel; there are three."""
    p = parts(build)
    d = Pen()
    leads = "\n".join(contact(n) for n in ("SIGNAL A", "SIGNAL B", "SUPPLY SENSE"))
    d.end((0, 0), leads, "left")
    d.part(elm.DiodeTVS, (0.8, 0), (0.8, -2.2), p["suppressor"].ref, loc="bottom", ends="D24.1 D24.2")
    d.part(elm.Resistor, (0.8, 0), (3.6, 0), mark(p["r_top"]), ends="R1B1.1 R1B2.2")
    d.wire((0, 0), (0.8, 0))
    d.part(elm.Resistor, (3.6, 0), (3.6, -2.2), mark(p["r_bottom"]), loc="bottom", ends="R2B1.1 R2B3.2")
    d.part(elm.Capacitor, (5.8, 0), (5.8, -2.2), mark(p["c_node"]), loc="bottom", ends="C1B1.1 C1B1.2")
    for x in (0.8, 3.6, 5.8):
        d.ground((x, -2.2))
        d.dots((x, 0))
    d.wire((3.6, 0), (7.8, 0))
    d.end((4.6, 1.6), "node A\nnode B\nnode S", "top")
    d.wire((4.6, 0), (4.6, 1.6))
    d.dots((4.6, 0))
    _clamp(d, 7.8, p["clamp"], elm.Diode, ("D1B1.3 D1B1.2", "D1B1.1 D1B1.3"))
    d.part(elm.Resistor, (7.8, 0), (10.4, 0), mark(p["r_guard"]), ends="R3B1.1 R3B1.2")
    _follower(d, (10.4, 0), p["buffer"].ref, ("5", "6", "7"))
    d.part(elm.Resistor, (13.4, -0.6), (16, -0.6), mark(p["r_out"]), ends="R4B1.1 R4B1.2")
    d.part(elm.Capacitor, (16, -0.6), (16, -2.8), mark(p["c_out"]), loc="bottom", ends="C2B1.1 C2B1.2")
    d.ground((16, -2.8))
    d.dots((16, -0.6))
    d.wire((16, -0.6), (17.6, -0.6))
    names = "\n".join(pin(build, n) for n in ("SIGNAL_A", "SIGNAL_B", "SUPPLY"))
    d.end((17.6, -0.6), names, "right")
    notes = (
        "D2 is bidirectional. D1: 1 ground, 2 rail, 3 node. In channel A J1 stands before R3: see the rig's own ramp.",
        f"U2's pins, +, - and output: {_amplifiers(build)}.",
        "The junction of R4 and U2's output also goes to the slow converter (signal A and supply).",
    )
    return d.block("Input: three channels, all the same", notes)


def _amplifiers(build: str) -> str:
    """Return the pins of each channel's amplifier as the table has them."""
    buffer = next(piece for piece in pieces(build) if piece.key == "buffer")
    kind = kinds(buffer, build) or {}
    out = []
    for letter, name in (("A", "channel A"), ("B", "channel B"), ("S", "channel of the supply")):
        own = {n for n, net in buffer.pins.items() if net in (f"IN_{letter}", f"AMP_{letter}")}
        plus = next(n for n in own if buffer.pins[n] == f"IN_{letter}")
        minus = next(n for n in own - {plus} if kind[n] == "in")
        out.append(f"{name} {plus} {minus} {(own - {plus, minus}).pop()}")
    return ", ".join(out)


def _follower(d: Pen, at: Point, ref: str, numbers: tuple[str, str, str]) -> None:
    """Draw an op-amp as a follower; its + input is at `at`, its output 3 to the right and 0.6 below.

    `numbers` are its pins: +, - and output.
    """
    x, y = at
    amp = elm.Opamp(sign=True).flip().anchor("in2").at(at)
    d.add(amp.label(ref, loc="center", fontsize=10))
    out = (x + 3, y - 0.6)
    d.pins({f"{ref}.{n}": end for n, end in zip(numbers, (at, amp.in1, amp.out), strict=True)})
    d.wire(tuple(amp.out), out)
    low = (amp.in1[0], y - 2.0)
    d.wire(tuple(amp.in1), low, (x + 2.6, y - 2.0), (x + 2.6, y - 0.6))
    d.dots((x + 2.6, y - 0.6))


def burden_and_bias(build: str) -> Block:
    """Return burden and bias; channels A and B have one each."""
    p = parts(build)
    d = Pen()
    d.end((0, 0), "\n".join(contact(f"SIGNAL {c}") for c in "AB"), "left")
    d.part(elm.Resistor, (0, 0), (3, 0), mark(p["burden"]), ends="R5B1.1 R5B1.2")
    d.wire((3, 0), (3, -1.2))
    d.fet((3, -1.2), p["q_burden"].ref, "Q5B1")
    d.wire((3, -2.7), (3, -3.4))
    d.end((3, -3.4), "\n".join(contact(f"BURDEN RETURN {c}") for c in "AB"), "right")
    d.wire((1.63, -1.95), (0, -1.95))
    d.end((0, -1.95), f"{pin(build, 'BURDEN_ON')}", "left")
    d.part(elm.Resistor, (0.6, -1.95), (0.6, -4.15), mark(p["r_burden_pull"]))
    d.dots((0.6, -1.95))
    d.ground((0.6, -4.15))
    for y, name, forward, ends in (
        (0, "BIAS_UP", True, "R7B1.1 R7B1.2"),
        (-2.2, "BIAS_DOWN", False, "R7B2.2 R7B2.1"),
    ):
        d.end((9, y), pin(build, name), "left")
        a, b = ((9, y), (11.4, y)) if forward else ((11.4, y), (9, y))
        d.part(elm.Diode, a, b, "", ends="D3B1.1 D3B1.3" if forward else "D3B2.1 D3B2.3")
        d.note((10.2, y + 0.55), p["d_bias"].ref)
        d.part(elm.Resistor, (11.4, y), (14, y), mark(p["bias"]), ends=ends)
    d.wire((14, 0), (14, -2.2))
    d.wire((14, -1.1), (15, -1.1))
    d.dots((14, -1.1))
    d.end((15, -1.1), "node A\nnode B", "right")
    notes = (
        "GP6 switches both. The burden's return is joined to ground inside the powered lead's plug only.",
        "Bias released: the pins stand where D3 blocks, BIAS_UP low and BIAS_DOWN high.",
        "D3: 1 anode, 3 cathode, 2 open.",
    )
    return d.block("Burden and bias: signals A and B have one each", notes)


def operator(build: str) -> Block:
    """Return button, buzzer and the contact that tells the leads apart."""
    p = parts(build)
    d = Pen()
    d.end((0, 0), pin(build, "BUTTON"), "left")
    d.part(elm.Button, (0, 0), (2.6, 0), p["button"].ref, loc="top")
    d.ground((2.6, 0))
    d.end((7.6, 0), pin(build, "BUZZER"), "left")
    d.part(elm.Resistor, (7.6, 0), (10.2, 0), mark(p["r_buzzer"]), loc="top")
    d.part(elm.Capacitor, (10.2, 0), (10.2, -1.8), f"{p['buzzer'].ref} piezo", loc="bottom")
    d.ground((10.2, -1.8))
    d.end((0, -3.6), pin(build, "LINK"), "left")
    d.part(elm.Resistor, (0, -3.6), (2.6, -3.6), mark(p["r_link"]), ends="R37.2 R37.1")
    d.end((2.6, -3.6), contact("LINK"), "right")
    d.end((7.6, -3.6), contact("TAP GROUND"), "left")
    d.part(elm.Fuse, (7.6, -3.6), (10.2, -3.6), f"{p['fuse_ground'].ref}\n50 mA", loc="top")
    d.ground((10.2, -3.6))
    d.end((14.6, -3.6), contact("GROUND"), "left")
    d.wire((14.6, -3.6), (15.4, -3.6))
    d.ground((15.4, -3.6))
    return d.block("Operator, lead and ground", ("The light is the board's own.",))


def ramp(build: str) -> Block:
    """Return the rig's own ramp: two stages of filter and the jumper."""
    p = parts(build)
    d = Pen()
    d.end((0, 0), pin(build, "RAMP"), "left")
    for i, x in enumerate((0.0, 4.0), 1):
        d.part(elm.Resistor, (x, 0), (x + 3, 0), mark(p["r_ramp"]), ends=f"R50{i}.1 R50{i}.2")
        d.part(
            elm.Capacitor, (x + 3, 0), (x + 3, -2.2), mark(p["c_ramp"]), loc="top", ends=f"C50{i}.1 C50{i}.2"
        )
        d.ground((x + 3, -2.2))
        d.dots((x + 3, 0))
        d.wire((x + 3, 0), (x + 4, 0))
    ref, guard = p["jumper"].ref, p["r_guard"].ref
    d.note((8.6, 0.6), ref)
    for y, name in ((0.0, "RAMP"), (-1.2, "MIDDLE"), (-2.4, "LEAD")):
        d.pins({f"{ref}.{name}": (8.6, y)})
        d.add(elm.Dot(open=True).at((8.6, y)))
        d.legs({name: (9.1, y + 0.25)})
    d.wire((8, 0), (8.6, 0))
    d.add(elm.Line().at((8.6, -1.3)).to((8.6, -2.3)))  # the jumper itself: no joint of the table
    d.wire((8.6, -1.2), (10.2, -1.2))
    d.part(elm.Resistor, (10.2, -1.2), (12.8, -1.2), mark(p["r_guard"]), ends="R3A1.1 R3A1.2")
    d.end((12.8, -1.2), f"{p['buffer'].ref} 3", "right")
    d.wire((8.6, -2.4), (10.2, -2.4))
    d.end((10.2, -2.4), "node A", "right")
    notes = (
        f"{ref} is in channel A between its node (LEAD) and {guard} (middle): LEAD to measure, RAMP to calibrate.",
        "At RAMP the lead is not joined to the converter, and the ramp to no lead.",
    )
    return d.block("The rig's own ramp", notes)


def supplies(build: str) -> Block:
    """Return the supply pins of the chips with their capacitors, and the amplifiers that are not used."""
    p = parts(build)
    d = Pen()
    chips = [
        ("buffer", "4", "11", "3.3 V"),
        ("monitor", "VDD", "GND", "3.3 V"),
        ("error_amp", "8", "4", "6.5 V"),
    ]
    chips += [("encoder", "VDD", "GND", "3.3 V")] if build == "driven" else []
    for i, (key, plus, minus, rail) in enumerate(chips):
        x = 3.2 * i
        d.rail((x, 0), rail)
        own = f"{p['c_bypass'].ref}{i + 1}"
        d.part(elm.Capacitor, (x, 0), (x, -2.2), mark(p["c_bypass"]), loc="bottom", ends=f"{own}.1 {own}.2")
        d.ground((x, -2.2))
        for y, number in ((0, plus), (-2.2, minus)):
            d.wire((x, y), (x - 0.6, y))
            d.end((x - 0.6, y), f"{p[key].ref} {number}", "left")
            d.dots((x, y))
    for x, key, (plus, minus, out) in (
        (13.0, "buffer", ("12", "13", "14")),
        (18.0, "error_amp", ("5", "6", "7")),
    ):
        d.wire((x - 0.6, 0), (x, 0))
        d.ground((x - 0.6, 0))
        _follower(d, (x, 0), p[key].ref, (plus, minus, out))
        d.legs({plus: (x - 0.25, 0.25), minus: (x - 0.25, -1.0), out: (x + 2.3, -0.35)})
    return d.block("Supply pins, and the amplifiers that are not used", ())
