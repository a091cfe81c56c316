"""The blocks of the 3.3 V rail and of the slow converter."""

from __future__ import annotations

from schemdraw import elements as elm

from hardware.schematic_pen import Pen, contact, mark, pin
from hardware.schematic_sheet import Block, Point
from sweeprig.frontend.tables import Part, parts


def rail(build: str) -> Block:
    """Return the shunt on the 3.3 V rail."""
    p = parts(build)
    d = Pen()
    d.rail((0, 0), "3.3 V (3V3 OUT of the board)")
    d.part(elm.Resistor, (0, 0), (0, -2.4), mark(p["r_shunt_top"]), loc="bottom")
    d.part(elm.Resistor, (0, -2.4), (0, -4.8), mark(p["r_shunt_bottom"]), loc="bottom")
    d.ground((0, -4.8))
    d.dots((0, 0))
    d.dots((0, -2.4))
    d.wire((0, 0), (4, 0), (4, -1.2))
    d.part(elm.Zener, (4, -3.6), (4, -1.2), p["shunt"].ref, loc="bottom")
    d.wire((4, -3.6), (4, -4.8))
    d.ground((4, -4.8))
    d.wire((0, -2.4), (3.5, -2.4))
    d.pins({f"{p['shunt'].ref}.REF": (3.5, -2.4)})
    d.legs({"REF": (3.3, -2.2), "K": (4.25, -1.7), "A": (4.25, -3.2)})
    caps = [(6.2, p["c_rail"], "")]
    if build == "plain":
        caps += [(8.4, p["c_bypass"], "1"), (10.5, p["c_bypass"], "2")]
    left = 4.0
    for x, each, number in caps:
        d.wire((left, 0), (x, 0))
        ends = f"{each.ref}{number}.1 {each.ref}{number}.2"
        d.part(elm.Capacitor, (x, 0), (x, -2.2), mark(each), loc="bottom", ends=ends)
        d.ground((x, -2.2))
        left = x
    d.dots((4, 0), *((x, 0) for x, _, _ in caps[:-1]))
    _reset(d, p)
    notes = (
        *_bypass_note(build),
        "RUN: without USB, R23 keeps the chip in reset whatever the leads lift the rail to.",
    )
    return d.block("3.3 V rail: shunt, decoupling, reset, reference of the converter", notes)


def _bypass_note(build: str) -> tuple[str, ...]:
    if build != "plain":
        return ()
    ref = parts(build)["c_bypass"].ref
    return (f"{ref}: one beside U1, one where D1 hangs on the rail.",)


def _reset(d: Pen, p: dict[str, Part]) -> None:
    """Draw RUN with its two resistors, and the capacitor at ADC_VREF."""
    d.end((12.6, 0), "VBUS", "top")
    d.part(elm.Resistor, (12.6, 0), (12.6, -2.2), mark(p["r_run_top"]), loc="bottom")
    d.part(elm.Resistor, (12.6, -2.2), (12.6, -4.4), mark(p["r_run_bottom"]), loc="bottom")
    d.ground((12.6, -4.4))
    d.dots((12.6, -2.2))
    d.wire((12.6, -2.2), (14.2, -2.2))
    d.end((14.2, -2.2), "RUN", "right")
    d.end((17.6, 0), "ADC_VREF", "top")
    d.part(elm.Capacitor, (17.6, 0), (17.6, -2.2), mark(p["c_reference_adc"]), loc="bottom")
    d.ground((17.6, -2.2))


def monitor(build: str) -> Block:
    """Return the slow converter with its four inputs."""
    p = parts(build)
    d = Pen()
    ref = p["monitor"].ref
    left = ("A3 AIN3", "A2 AIN2", "A1 AIN1", "A0 AIN0")
    right = ("ALRT", "ADDR", "SCL", "SDA")
    slots = [
        (n, s, f"{i}/4") for s, names in (("left", left), ("right", right)) for i, n in enumerate(names, 1)
    ]
    box = elm.Ic(
        pins=[elm.IcPin(name=n, side=s, slot=k) for n, s, k in slots],
        edgepadW=1.6,
        pinspacing=1.9,
        leadlen=0.6,
    )
    chip = d.chip(box.at((9, -8)).label(ref, loc="top", fontsize=11), ref, (*left, *right))
    at = {n: tuple(getattr(chip, n)) for n in (*left, *right)}
    d.end(at["A0 AIN0"], "U2 output, signal A", "left")
    d.end(at["A1 AIN1"], "U2 output, supply", "left")
    _ground_input(d, p, at["A2 AIN2"])
    _battery_input(d, p, at["A3 AIN3"])
    for name in ("SDA", "SCL"):
        d.end(at[name], pin(build, name), "right")
    d.end(at["ADDR"], "ground (address 0x48)", "right")
    d.note((at["ALRT"][0] + 0.7, at["ALRT"][1]), "open")
    _columns(d, p, build)
    notes = (f"{p['clamp_monitor'].ref}: 1 ground, 2 rail, 3 input, as D1. VDD and GND of U3: supply pins.",)
    return d.block("Slow, precise converter, supplied from 3.3 V", notes)


def _columns(d: Pen, p: dict[str, Part], build: str) -> None:
    """Draw what hangs on the lines: clamps of the inputs, suppressor of the ground sense, pull-ups of the bus."""
    y = -13.4
    for i, (x, name) in enumerate(((0.4, "A2"), (3.8, "A3")), 1):
        ref = f"{p['clamp_monitor'].ref}{i}"
        _column(d, (x, y), f"{p['monitor'].ref} {name}")
        d.dots((x, y))
        d.part(elm.Diode, (x, y), (x, y + 1.8), p["clamp_monitor"].ref, loc="bottom", ends=f"{ref}.3 {ref}.2")
        d.rail((x, y + 1.8))
        d.part(elm.Diode, (x, y - 1.8), (x, y), p["clamp_monitor"].ref, loc="bottom", ends=f"{ref}.1 {ref}.3")
        d.ground((x, y - 1.8))
    x = 8.2
    _column(d, (x, y), contact("GROUND SENSE"))
    d.part(elm.DiodeTVS, (x, y), (x, y - 1.8), p["suppressor"].ref, loc="bottom", ends="D25.1 D25.2")
    d.ground((x, y - 1.8))
    for i, (x, name) in enumerate(((11.8, "SDA"), (15.2, "SCL")), 1):
        own = f"{p['r_i2c'].ref}{i}"
        _column(d, (x, y), pin(build, name))
        d.part(elm.Resistor, (x, y), (x, y + 1.8), mark(p["r_i2c"]), loc="bottom", ends=f"{own}.1 {own}.2")
        d.rail((x, y + 1.8))


def _column(d: Pen, at: Point, name: str) -> None:
    x, y = at
    d.end((x - 0.8, y), name, "left")
    d.wire((x - 0.8, y), (x, y))


def _ground_input(d: Pen, p: dict[str, Part], at: Point) -> None:
    x, y = at
    d.end((x - 7.8, y), contact("GROUND SENSE"), "left")
    d.part(elm.Resistor, (x - 7.8, y), (x - 4.8, y), mark(p["r_ground_sense"]))
    d.wire((x - 4.8, y), (x, y))
    d.part(elm.Resistor, (x - 3.8, y), (x - 3.8, y + 2.2), mark(p["r_ground_lift"]), loc="top")
    d.rail((x - 3.8, y + 2.2))
    d.dots((x - 3.8, y))


def _battery_input(d: Pen, p: dict[str, Part], at: Point) -> None:
    x, y = at
    d.end((x - 11.4, y), contact("BATTERY SENSE"), "left")
    d.part(elm.Resistor, (x - 11.4, y), (x - 9.0, y), mark(p["r_battery_guard"]), loc="top")
    d.wire((x - 9.0, y), (x - 7.8, y))
    d.part(elm.DiodeTVS, (x - 8.4, y), (x - 8.4, y - 2.2), p["suppressor_battery"].ref, loc="bottom")
    d.ground((x - 8.4, y - 2.2))
    d.dots((x - 8.4, y))
    d.part(elm.Resistor, (x - 7.8, y), (x - 4.8, y), mark(p["r_battery_top"]), ends="R101.1 R102.2")
    d.wire((x - 4.8, y), (x, y))
    d.part(elm.Resistor, (x - 3.8, y), (x - 3.8, y - 2.2), mark(p["r_battery_bottom"]), loc="bottom")
    d.ground((x - 3.8, y - 2.2))
    d.dots((x - 3.8, y))
