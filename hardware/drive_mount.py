"""Draws the mount of the driven build from above and from its end, sizes in mm: `python -m hardware.drive_mount`."""

from __future__ import annotations

import math
from pathlib import Path
from xml.sax.saxutils import escape

HERE = Path(__file__).parent
SCALE = 4.0
BELT, PULLEY, STRETCH = 200.0, 20.0, 0.06  # unstretched, its own groove's middle; by how much longer it sits
BASE = (190.0, 150.0)
SHAFT = (48.0, 138.0, 34.0)  # from, to, distance from the upper edge
AXIS = 40.0  # all axes over the base: a foot's leg of 20 stands clear of M1's lower screws
PLATES = (62.0, 112.0)  # left edges of the two bearing plates
THICK, PLATE, HIGH = 6.0, 60.0, 70.0
PULLEY_AT = 101.0  # M1's shaft is 20 mm or longer from its flange
MOTOR = (42.0, 40.0)  # flange, length
SLOT, HOLE_M3, SQUARE = 10.0, 3.2, 31.0  # M1's slots along the base, its screws' square: from memory
OPENING = (29.0, 22.0)  # long, high: its collar with the way that the slots give it
MAGNET, GAP = 2.5, 1.5  # its length; from it to the chip
CHIP, MODULE = 1.5, 1.6  # height of the chip over its board, the board itself: from memory
SPACER = 3.0  # behind the board: its solder and its cable
COLLAR = (6.0, 10.0)  # wide, across: from memory
LEG, LEG_THICK = 20.0, 2.0  # foot: an aluminium angle
HOLE = 10.0  # its holes over the base, and from the plate
EDGE = 8.0  # holes of a foot from its ends
PIN, PIN_AT, PIN_OUT = 2.0, 6.0, 5.5  # across, its middle from the shaft's, out of the pulley's face
SWITCH = (6.4, 20.0, 10.0)  # S2: thick, long, high
HOLES_APART, HOLE_M2, UPRIGHT = 9.5, 2.3, 5.0  # of S2, from memory; its upright slots
SWITCH_OVER, LEVER = 9.0, 4.0  # its body over the shaft's middle; its lever at rest below the body
Box = tuple[float, float, float, float]
Drawn = tuple[Box, str, str]


def apart_mm() -> float:
    """Return the distance of the two axes: a stretched belt around two equal pulleys."""
    return (BELT * (1 + STRETCH) - math.pi * PULLEY) / 2


def chip_at() -> float:
    """Return where U4's chip begins, seen from above: a gap before the magnet's face."""
    return SHAFT[1] + MAGNET + GAP


def collars() -> tuple[float, float]:
    """Return the left faces of the two collars, one on each side of bearing plate 1."""
    return PLATES[0] - COLLAR[0], PLATES[0] + THICK


def uprights() -> dict[str, Box]:
    """Return every plate that stands on the base, seen from above."""
    y = SHAFT[2]
    return {
        "plate of the sensor": (34.0, y - PLATE / 2, THICK, PLATE),
        "bearing plate 1": (PLATES[0], y - PLATE / 2, THICK, PLATE),
        "bearing plate 2": (PLATES[1], y - PLATE / 2, THICK, PLATE),
        "plate of M1": (PLATES[1], y + apart_mm() - PLATE / 2, THICK, PLATE),
        "plate of U4": (chip_at() + CHIP + MODULE + SPACER, y - 20, THICK, 40.0),
    }


def feet() -> dict[str, Box]:
    """Return the foot of each plate, seen from above: its leg on the base, on the side where it has room."""
    left = ("bearing plate 2", "plate of M1")
    return {
        name: (x - LEG if name in left else x + wide, y, LEG, high)
        for name, (x, y, wide, high) in uprights().items()
    }


def screws(name: str) -> list[tuple[float, float]]:
    """Return where the two screws of a foot go through the base, seen from above."""
    x, y, wide, high = feet()[name]
    plate = uprights()[name]
    across = x + wide - HOLE if x < plate[0] else x + HOLE
    return [(across, y + EDGE), (across, y + high - EDGE)]


def boxes() -> list[Drawn]:
    """Return (left, top, wide, high), fill and name of everything, seen from above."""
    left, right, y = SHAFT
    motor_y = y + apart_mm()
    return [
        ((0, 0, *BASE), "#f2ead6", ""),
        *((box, "#c8ccd0", "") for box in feet().values()),
        *((box, "#d8c8a0", name) for name, box in uprights().items()),
        ((2.0, y - 18, 32.0, 36.0), "#ddd", "sensor"),
        ((38.0, y - 6, 16.0, 12.0), "#9bb", "stiff coupling"),
        ((left, y - 2.5, right - left, 5.0), "#888", ""),
        *(((x, y - COLLAR[1] / 2, *COLLAR), "#aab", "collar") for x in collars()),
        ((PULLEY_AT - 4, y - PULLEY / 2, 8.0, PULLEY), "#b88", "pulley"),
        ((right, y - 3, MAGNET, 6.0), "#c00", "magnet"),
        ((chip_at(), y - 2, CHIP, 4.0), "#222", ""),
        ((chip_at() + CHIP, y - 8, MODULE, 16.0), "#1f6b3a", "U4"),
        *(((chip_at() + CHIP + MODULE, y + d - 1, SPACER, 2.0), "#fff", "") for d in (-7, 7)),
        ((PLATES[1] + THICK, motor_y - MOTOR[0] / 2, MOTOR[1], MOTOR[0]), "#ddd", "M1"),
        ((PULLEY_AT - 4, motor_y - 2.5, PLATES[1] - PULLEY_AT + 4, 5.0), "#888", ""),
        ((PULLEY_AT - 4, motor_y - PULLEY / 2, 8.0, PULLEY), "#b88", "pulley"),
        ((PULLEY_AT - 1.5, y - PULLEY / 2, 3.0, motor_y - y + PULLEY), "#333", "belt"),
        ((PLATES[1] - SWITCH[0], y - SWITCH[1] / 2, SWITCH[0], SWITCH[1]), "#cc9", "S2"),
        ((PULLEY_AT + 4, y - PIN / 2, PIN_OUT, PIN), "#000", "pin"),
    ]


def end_boxes() -> list[Drawn]:
    """Return what stands at the pulleys, seen from the sensor's end; heights are over the base."""
    y, motor_y = SHAFT[2], SHAFT[2] + apart_mm()
    body = (y - SWITCH[1] / 2, AXIS + SWITCH_OVER, *SWITCH[1:])
    return [
        ((0, -THICK, BASE[1], THICK), "#f2ead6", ""),
        *(((at - PLATE / 2, 0, PLATE, HIGH), "#d8c8a0", "") for at in (y, motor_y)),
        *(((at - PLATE / 2, 0, PLATE, LEG), "#c8ccd0", "foot") for at in (y, motor_y)),
        (body, "#cc9", "S2"),
        ((body[0] + 2, body[1] - LEVER, SWITCH[1] - 4, 0.5), "#333", "lever of S2, at rest"),
    ]


def openings() -> list[Box]:
    """Return (left, lower edge, wide, high) of all slots seen from the end, that of M1's collar last."""
    y, motor_y = SHAFT[2], SHAFT[2] + apart_mm()
    half = SQUARE / 2
    motor = [(motor_y + d * half, AXIS + e * half, SLOT, HOLE_M3) for d in (-1, 1) for e in (-1, 1)]
    switch = [(y + d * HOLES_APART / 2, AXIS + SWITCH_OVER + 3, HOLE_M2, UPRIGHT) for d in (-1, 1)]
    middles = [*motor, *switch, (motor_y, AXIS, *OPENING)]
    return [(x - wide / 2, z - high / 2, wide, high) for x, z, wide, high in middles]


def rounds() -> list[tuple[float, float, float, str]]:
    """Return (across, height, diameter, name) of what is round in the view from the end."""
    y, motor_y = SHAFT[2], SHAFT[2] + apart_mm()
    holes = [(at + d * (PLATE / 2 - EDGE), HOLE, 3.2, "") for at in (y, motor_y) for d in (-1, 1)]
    wheels = [(at, AXIS, across, "") for at in (y, motor_y) for across in (PULLEY, 5.0)]
    return [*holes, *wheels, (y, AXIS + PIN_AT, PIN, "pin")]


def drawing() -> str:
    """Return the sheet."""
    top, floor = BASE[1] + 32, BASE[1] + 36 + HIGH
    wide, high = SCALE * BASE[0] + 40, SCALE * (floor + THICK + 5 * len(_notes())) + 90
    title = f"Mount of the drive, from above; base of {THICK:g} mm; all axes {AXIS:g} mm over it"
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="-20 -50 {wide:.0f} {high:.0f}">',
        '<rect x="-20" y="-50" width="100%" height="100%" fill="#fff"/>',
        _words(0, -6, title),
    ]
    out += [_box(box, fill) for box, fill, _ in boxes()]
    out += [_ring(x, y, 3.2) for name in feet() for x, y in screws(name)]
    out += [_words(*_beside(box, name), name) for box, _, name in boxes() if name]
    out += [
        _words(0, top - 6, "The two plates at the pulleys, from the sensor's end; the belt left out"),
        *_end(floor),
    ]
    notes = (_words(0, floor + THICK + 6 + 5 * i, line) for i, line in enumerate(_notes()))
    return "\n".join([*out, *notes, "</svg>", ""])


def _end(floor: float) -> list[str]:
    """Return the view from the end, the base's upper side at this height of the sheet."""
    out = [_box((x, floor - z - high, wide, high), fill) for (x, z, wide, high), fill, _ in end_boxes()]
    out += [_slot((x, floor - z - high, wide, high)) for x, z, wide, high in openings()]
    out += [_ring(x, floor - z, across, "#000" if name else "none") for x, z, across, name in rounds()]
    beside = {"foot": 2.0, "S2": 2.0, "lever of S2, at rest": 22.0}
    out += [
        _words(x + beside[name], floor - z - (1 if name != "S2" else 6), name)
        for (x, z, _, _), _, name in end_boxes()
        if name
    ]
    beside_m1 = (
        f"axes {AXIS:g} over the base",
        f"opening {OPENING[1]:g} high, {OPENING[0]:g} long",
        f"four slots {HOLE_M3:g} x {SLOT:g}",
    )
    lines = (_words(BASE[1] - 9, floor - AXIS + 5 * i, line) for i, line in enumerate(beside_m1))
    return [*out, *lines]


def _box(box: Box, fill: str) -> str:
    x, y, across, down = (SCALE * v for v in box)
    return f'<rect x="{x:.1f}" y="{y:.1f}" width="{across:.1f}" height="{down:.1f}" fill="{fill}" stroke="#222"/>'


def _slot(box: Box) -> str:
    x, y, across, down = (SCALE * v for v in box)
    where = f'x="{x:.1f}" y="{y:.1f}" width="{across:.1f}" height="{down:.1f}"'
    return f'<rect {where} rx="{min(across, down) / 2:.1f}" fill="#fff" stroke="#222"/>'


def _ring(x: float, y: float, across: float, fill: str = "none") -> str:
    where = f'cx="{SCALE * x:.1f}" cy="{SCALE * y:.1f}" r="{SCALE * across / 2:.1f}"'
    return f'<circle {where} fill="{fill}" stroke="#222"/>'


def _beside(box: Box, name: str) -> tuple[float, float]:
    """Return where a name stands: above its thing, beside the belt, below what is small."""
    x, y, wide, high = box
    if name == "belt":
        return x + wide + 1, y + high / 2
    if (back := {"U4": 5.0, "magnet": 12.0, "collar": 2.0}.get(name)) is not None:
        return x - back, y + high + 3.5
    if name == "pulley":
        return x - 10.5, y + high - 2
    if name == "M1":
        return x + 2, y + 5
    if name in ("pin", "S2"):
        return (x + 1.5, y + high + 4) if name == "pin" else (x + 1.5, y - 1)
    return x - (12.0 if name == "plate of the sensor" else 0.0), y - 1


def _faces() -> str:
    names = {"plate of the sensor": "sensor", "plate of M1": "M1", "plate of U4": "U4"}
    return ", ".join(f"{names.get(name, name)} {box[0]:g}" for name, box in uprights().items())


def _notes() -> tuple[str, ...]:
    left, right, _ = SHAFT
    return (
        f"base {BASE[0]:g} x {BASE[1]:g}; shaft {right - left:g} long, 5 across; plates {PLATE:g} wide (U4's 40), "
        f"{HIGH:g} high, {THICK:g} thick",
        f"{PLATES[1] - PLATES[0]:g} from one bearing plate to the next; their bearings glued into holes of 16; "
        "on each side of bearing 1 a collar",
        f"each plate: a foot of angle {LEG:g} x {LEG:g} x {LEG_THICK:g} as long as the plate is wide; "
        f"two M3 x 12 into the plate, {HOLE:g} over the base,",
        f"two into the base, {HOLE:g} from the plate; all {EDGE:g} from the foot's ends, holes 3.2",
        f"plates' left faces from the base's left edge: {_faces()}",
        f"from its upper edge: the shaft {SHAFT[2]:g}, M1's {SHAFT[2] + apart_mm():.0f}",
        "plate of the sensor: hole of 25 for the coupling, the sensor's own holes as slots; of U4: its module's holes",
        f"axes {apart_mm():.0f} apart (belt of {BELT:g} stretched by {100 * STRETCH:.0f} %), "
        f"M1's holes as slots of {SLOT:g} along the base",
        f"magnet {GAP:g} before the chip, which is {CHIP:g} high (from memory: measure yours); "
        f"U4's board on spacers of {SPACER:g}",
        f"M1: four M3 in a square of {SQUARE:g} ({MOTOR[0]:g} mm flange) or 26 (35 mm flange), collar 22: "
        "from memory, measure yours",
        "35 mm flange: 1.8 of plate stay between slots and opening: file the opening last, for your own collar",
        f"pin: {PIN:g} across, its middle {PIN_AT:g} from the shaft's, {PIN_OUT:g} out of the pulley's face; "
        "it presses S2 as it passes above the shaft",
        f"S2 flat on bearing plate 2, {SWITCH_OVER:g} over the shaft's middle; its two holes {HOLES_APART:g} apart "
        f"(from memory), in upright slots of {UPRIGHT:g},",
        f"their middle {AXIS + SWITCH_OVER + 3:g} over the base",
    )


def _words(x: float, y: float, text: str) -> str:
    style = 'font-size="12" font-family="sans-serif" fill="#204a87"'
    return f'<text x="{SCALE * x:.1f}" y="{SCALE * y:.1f}" {style}>{escape(text)}</text>'


def main() -> None:
    """Write the drawing."""
    (HERE / "drive.svg").write_text(drawing(), encoding="utf-8")
    print(HERE / "drive.svg")


if __name__ == "__main__":
    main()
