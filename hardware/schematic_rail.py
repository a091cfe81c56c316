"""The blocks of the 3.3 V rail and of the slow converter."""

from __future__ import annotations

from schemdraw import elements as elm

from hardware.schematic_pen import Pen, Point, contact, mark, pin
from hardware.schematic_sheet import Block
from hardware.values import value_str
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
    d.legs({"REF": (3.3, -2.2), "K": (4.25, -1.7), "A": (4.25, -3.2)})
    caps = ((6.4, "c_rail"), (8.8, "c_bypass")) if build == "plain" else ((6.4, "c_rail"),)
    for x, key in caps:
        d.wire((x - 2.4, 0), (x, 0))
        d.part(elm.Capacitor, (x, 0), (x, -2.2), mark(p[key]), loc="bottom")
        d.ground((x, -2.2))
    d.dots((4, 0))
    _reset(d, p)
    notes = (
        *_bypass_note(build),
        "RUN: without USB, R23 keeps the chip in reset whatever the leads lift the rail to.",
    )
    return Block("3.3 V rail: shunt, decoupling, reset, reference of the converter", d.svg(), notes)


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
    chip = elm.Ic(
        pins=[
            elm.IcPin(name=n, side=s, slot=f"{i}/{c}")
            for s, names in (
                ("left", ("AIN3", "AIN2", "AIN1", "AIN0")),
                ("right", ("ADDR", "SCL", "SDA")),
            )
            for i, n in enumerate(names, 1)
            for c in (len(names),)
        ],
        edgepadW=1.0,
        pinspacing=1.9,
        leadlen=0.6,
    ).at((9, -8))
    d.add(chip.label(p["monitor"].ref, loc="top", fontsize=11))
    d.end(tuple(chip.AIN0), "U2 output, signal A", "left")
    d.end(tuple(chip.AIN1), "U2 output, supply", "left")
    _ground_input(d, p, tuple(chip.AIN2))
    _battery_input(d, p, tuple(chip.AIN3))
    for name, text in (("SDA", pin(build, "SDA")), ("SCL", pin(build, "SCL"))):
        x, y = getattr(chip, name)
        d.end(
            (x + 0.4, y),
            f"{text}, {p['r_i2c'].ref} {value_str(p['r_i2c'].value, 'ohm')} to 3.3 V",
            "right",
        )
        d.wire((x, y), (x + 0.4, y))
    d.end(tuple(chip.ADDR), "ground (address 0x48)", "right")
    for left, name in ((2.0, "AIN2"), (7.0, "AIN3")):
        _clamped(d, (left, -12.6), f"{p['monitor'].ref} {name}", p["clamp_monitor"].ref)
    notes = (
        f"{p['clamp_monitor'].ref}: 1 ground, 2 rail, 3 input, as D1. ALRT of {p['monitor'].ref} stays open.",
    )
    return Block("Slow, precise converter, supplied from 3.3 V", d.svg(), notes)


def _clamped(d: Pen, at: Point, name: str, ref: str) -> None:
    """Draw the two clamp diodes of an input."""
    x, y = at
    d.end((x - 1.0, y), name, "left")
    d.wire((x - 1.0, y), (x, y))
    d.part(elm.Diode, (x, y), (x, y + 1.8), ref, loc="bottom")
    d.rail((x, y + 1.8))
    d.part(elm.Diode, (x, y - 1.8), (x, y), ref, loc="bottom")
    d.ground((x, y - 1.8))
    d.dots((x, y))


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
    d.part(elm.Resistor, (x - 7.8, y), (x - 4.8, y), mark(p["r_battery_top"]), loc="top")
    d.wire((x - 4.8, y), (x, y))
    d.part(elm.Resistor, (x - 3.8, y), (x - 3.8, y - 2.2), mark(p["r_battery_bottom"]), loc="bottom")
    d.ground((x - 3.8, y - 2.2))
    d.dots((x - 3.8, y))
