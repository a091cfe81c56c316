"""Draws the mount of the driven build from above, sizes in mm: `python -m hardware.drive_mount` writes drive.svg."""

from __future__ import annotations

import math
from pathlib import Path
from xml.sax.saxutils import escape

HERE = Path(__file__).parent
SCALE = 4.0
BELT, PULLEY, STRETCH = 200.0, 20.0, 0.06  # unstretched, its own groove's middle; by how much longer it sits
BASE = (190.0, 150.0)
SHAFT = (48.0, 138.0, 34.0)  # from, to, distance from the upper edge
PLATES = (62.0, 112.0)  # left edges of the two bearing plates
THICK, PLATE = 6.0, 60.0
PULLEY_AT = 102.0  # M1's shaft is 20 mm or longer from its flange
MOTOR = (42.0, 40.0)  # flange, length
GAP = 1.5  # magnet to chip
Box = tuple[float, float, float, float]


def apart_mm() -> float:
    """Return the distance of the two axes: a stretched belt around two equal pulleys."""
    return (BELT * (1 + STRETCH) - math.pi * PULLEY) / 2


def boxes() -> list[tuple[Box, str, str]]:
    """Return (left, top, wide, high), fill and name of everything, seen from above."""
    left, right, y = SHAFT
    motor_y = y + apart_mm()
    plates = [((x, y - PLATE / 2, THICK, PLATE), "#d8c8a0", "bearing plate") for x in PLATES]
    return [
        ((0, 0, *BASE), "#f2ead6", ""),
        *plates,
        ((4.0, y - 18, 36.0, 36.0), "#ddd", "sensor"),
        ((38.0, y - 6, 16.0, 12.0), "#9bb", "stiff coupling"),
        ((left, y - 2.5, right - left, 5.0), "#888", ""),
        ((PULLEY_AT - 4, y - PULLEY / 2, 8.0, PULLEY), "#b88", "pulley"),
        ((right, y - 3, 2.5, 6.0), "#c00", "magnet"),
        ((right + 2.5 + GAP, y - 8, 1.6, 16.0), "#1f6b3a", "U4"),
        ((right + 5.6, y - 20, THICK, 40.0), "#d8c8a0", "plate of U4"),
        ((PLATES[1], motor_y - PLATE / 2 + 5, THICK, PLATE - 10), "#d8c8a0", "plate of M1"),
        ((PLATES[1] + THICK, motor_y - MOTOR[0] / 2, MOTOR[1], MOTOR[0]), "#ddd", "M1"),
        ((PULLEY_AT - 6, motor_y - 2.5, PLATES[1] - PULLEY_AT + 6, 5.0), "#888", ""),
        ((PULLEY_AT - 4, motor_y - PULLEY / 2, 8.0, PULLEY), "#b88", "pulley"),
        ((PULLEY_AT - 1.5, y - PULLEY / 2, 3.0, motor_y - y + PULLEY), "#333", "belt"),
        ((PULLEY_AT - 20, y + PULLEY / 2 + 6, 12.0, 8.0), "#cc9", "S2"),
    ]


def drawing() -> str:
    """Return the sheet."""
    wide, high = SCALE * BASE[0] + 40, SCALE * BASE[1] + 130
    out = [f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="-20 -50 {wide:.0f} {high:.0f}">',
           '<rect x="-20" y="-50" width="100%" height="100%" fill="#fff"/>',
           _words(0, -6, "Mount of the drive, from above; base of 6 mm; all axes 30 mm over it")]  # fmt: skip
    for (x, y, across, down), fill, _ in boxes():
        out.append(
            f'<rect x="{SCALE * x:.1f}" y="{SCALE * y:.1f}" width="{SCALE * across:.1f}" height="{SCALE * down:.1f}"'
            f' fill="{fill}" stroke="#222"/>'
        )
    out += [_words(*_beside(box, name), name) for box, _, name in boxes() if name]
    return "\n".join(
        [*out, *(_words(0, BASE[1] + 5 + 5 * i, line) for i, line in enumerate(_notes())), "</svg>", ""]
    )


def _beside(box: Box, name: str) -> tuple[float, float]:
    """Return where a name stands: above its thing, beside the belt, below what is small."""
    x, y, wide, high = box
    if name == "belt":
        return x + wide + 1, y + high / 2
    if name in ("U4", "magnet"):
        return x - (12.0 if name == "magnet" else 5.0), y + high + 3.5
    return x, y - 1


def _notes() -> tuple[str, ...]:
    left, right, _ = SHAFT
    return (
        f"base {BASE[0]:g} x {BASE[1]:g}; shaft {right - left:g} long, 5 across; bearing plates {PLATE:g} wide, "
        f"{THICK:g} thick, {PLATES[1] - PLATES[0]:g} from one to the next",
        f"axes {apart_mm():.0f} apart (belt of {BELT:g} stretched by {100 * STRETCH:.0f} %), M1's holes as slots of 10;"
        f" magnet {GAP:g} before the chip",
        "M1: four M3 in a square of 31 (42 mm flange) or 26 (35 mm flange), collar 22: from memory, measure yours",
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
