"""The drive of the driven build: stepper driver, motor with its own supply, encoder, home and the stop button."""

from __future__ import annotations

from collections.abc import Mapping

from schemdraw import elements as elm

from hardware.schematic_pen import Pen, mark, pin
from hardware.schematic_sheet import Block
from hardware.values import value_str
from sweeprig.frontend.tables import Part, parts

_LEFT = ("SLEEP", "RESET", "MS3", "MS2", "MS1", "ENABLE", "DIR", "STEP", "VIO")
_RIGHT = ("GND", "OUT2B", "OUT2A", "OUT1B", "OUT1A", "MGND", "VMOT")


def drive() -> Block:
    """Return stepper driver, motor, its supply, encoder, home and the stop button."""
    p = parts("driven")
    d = Pen()
    chip = elm.Ic(
        pins=[
            *(elm.IcPin(name=n, side="left", slot=f"{i}/9") for i, n in enumerate(_LEFT, 1)),
            *(elm.IcPin(name=n, side="right", slot=f"{i}/7") for i, n in enumerate(_RIGHT, 1)),
        ],
        edgepadW=1.6,
        pinspacing=1.1,
        leadlen=0.6,
    ).at((4, -8))
    d.chip(chip.label(p["driver"].ref, loc="top", fontsize=11), p["driver"].ref, (*_LEFT, *_RIGHT))
    _logic_side(d, chip, mark(p["r_enable"]))
    _motor_side(d, chip, p)
    d.end((17.6, 1.5), pin("driven", "HOME"), "left")
    d.closed((17.6, 1.5), (20.2, 1.5), f"{p['home'].ref} normally closed")
    d.ground((20.2, 1.5))
    _encoder(d, p["encoder"].ref)
    notes = (
        f"{p['encoder'].ref} has the address 0x36. Switches are drawn at rest.",
        "MGND is the driver's motor ground; C70 stands at its pins. MS1 to MS3 high: 16 microsteps.",
    )
    return d.block("Drive", notes)


def _logic_side(d: Pen, chip: elm.Ic, enable: str) -> None:
    """Draw what comes from the board, and the pins that are joined to VIO on the carrier."""
    for name in ("ENABLE", "DIR", "STEP"):
        x, y = getattr(chip, name)
        d.wire((x, y), (x - 2.2, y))
        d.end((x - 2.2, y), pin("driven", name), "left")
    x, y = chip.ENABLE
    d.part(elm.Resistor, (x - 1, y), (x - 1, y - 1.8), enable, loc="top")
    d.end((x - 1, y - 1.8), "3.3 V", "left")
    d.dots((x - 1, y))
    d.end(tuple(chip.VIO), "3.3 V", "left")
    tied = [tuple(getattr(chip, n)) for n in ("SLEEP", "RESET", "MS3", "MS2", "MS1")]
    d.wire(*tied)
    d.dots(*tied[:-1])
    d.wire(tied[0], (tied[0][0], tied[0][1] - 0.7))
    d.end((tied[0][0], tied[0][1] - 0.7), "VIO, on the carrier", "left")


def _motor_side(d: Pen, chip: elm.Ic, p: Mapping[str, Part]) -> None:
    """Draw motor, supply, fuse, stop switch and the capacitor at the driver's pins."""
    coils = ("1A", "1B", "2A", "2B")
    (x, first), last = chip.OUT1A, chip.OUT2B[1]
    space = (first - last) / 3
    pins = [elm.IcPin(name=n, side="left", slot=f"{4 - i}/4") for i, n in enumerate(coils)]
    motor = (
        elm.Ic(pins=pins, edgepadW=1.0, edgepadH=0.6, pinspacing=space, leadlen=0.6)
        .theta(0)
        .anchor("1A")
        .at((x + 2.0, first))
    )
    d.chip(motor.label(p["motor"].ref, loc="right", fontsize=11), p["motor"].ref, coils)
    for name in coils:
        d.wire(tuple(getattr(chip, f"OUT{name}")), tuple(getattr(motor, name)))
    (x, y), ground = chip.VMOT, chip.MGND[1]
    d.electrolytic((x + 0.8, y), (x + 0.8, ground), mark(p["c_motor"]), loc="bottom")
    d.dots((x + 0.8, y), (x + 0.8, ground))
    d.wire((x, y), (x + 2.4, y))
    d.closed((x + 2.4, y), (x + 5.0, y), f"{p['stop_switch'].ref} stop, latching", ends="S3.2 S3.1")
    d.part(elm.Fuse, (x + 5.0, y), (x + 7.4, y), mark(p["fuse_motor"]), ends="F3.2 F3.1")
    supply = f"{p['motor_supply'].ref} {value_str(p['motor_supply'].value, 'V')}"
    d.end((x + 7.4, y), f"{supply}, plus", "right")
    d.wire((x, ground), (x + 3.4, ground))
    d.end((x + 3.4, ground), f"{supply}, minus", "right")
    d.end(tuple(chip.GND), "ground of the rig, on the header", "right")


def _encoder(d: Pen, ref: str) -> None:
    names = ("GND", "SDA", "SCL", "VDD")
    pins_ = [elm.IcPin(name=n, side="left", slot=f"{i}/4") for i, n in enumerate(names, 1)]
    chip = elm.Ic(pins=pins_, edgepadW=1.0, pinspacing=0.9, leadlen=0.5).at((18.6, -8.2))
    d.chip(chip.label(ref, loc="top", fontsize=11), ref, names)
    for name, to in (
        ("VDD", "3.3 V"),
        ("SCL", pin("driven", "SCL")),
        ("SDA", pin("driven", "SDA")),
        ("GND", "ground"),
    ):
        d.end(tuple(getattr(chip, name)), to, "left")
