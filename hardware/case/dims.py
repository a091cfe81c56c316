"""The case's sizes from the printed board's placement; `python -m hardware.case` writes the parts to print."""

from __future__ import annotations

import hashlib
import subprocess
import tomllib
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
PLACEMENT = HERE.parent / "board" / "placement.toml"
PARTS = ("base", "base-driven", "lid")
BOARD_THICK = 1.6
WALL, FLOOR, LIP = 2.4, 2.4, 3.0  # LIP: of the lid inside the walls
GAP = 0.8  # between board and wall
STANDOFF = 6.0  # under the board: cut legs and solder
ABOVE = 26.0  # from the board to the lid; heights.py says what stands how high
# From the board's own pieces, in mm. Data sheets, from memory: measure yours before you print.
SOCKET_PINS_TO_MIDDLE = -9.695  # D-sub of 15: from contact 1 to the middle of the row, turned as it stands
STRIP, HEADER, PICO = 8.5, 2.54, 1.0  # socket strip, plastic of the header, the Pico class board itself
PICO_UP = STRIP + HEADER + PICO  # its upper side over our board
USB_MID = PICO_UP + 1.4  # middle of a micro USB socket
LIGHT = (24.0, 93.0)  # beside U6: a light-emitting diode on wires, in the lid
BUTTON = (17.0, 82.0)  # beside S1, which then stays out: a panel button on wires, in the lid
CABLES = ("A1", "U4", "S2")  # of the driven build: one opening in the wall beside their headers
CABLE_WIDE, CABLE_LOW, CABLE_HIGH = 24.0, 14.0, 6.0  # over L1; the widest housing is 12.7 x 2.6 mm


def _fixed(plan: dict[str, Any], ref: str) -> dict[str, float]:
    return next(row for row in plan["fixed"] if row["ref"] == ref)


def _region(plan: dict[str, Any], ref: str) -> dict[str, float]:
    return next(row for row in plan["region"] if ref in row["refs"])


def dims() -> dict[str, Any]:
    """Return what case.scad must know of the board [mm]."""
    plan = tomllib.loads(PLACEMENT.read_text("utf-8"))
    w, h, inset = (plan["board"][k] for k in ("width", "height", "hole_inset"))
    left, right = _fixed(plan, "BOARDL"), _fixed(plan, "BOARDR")
    speaker, drive = _region(plan, "LS1"), _region(plan, CABLES[0])
    return {
        "wall": WALL, "floor_": FLOOR, "gap": GAP, "standoff": STANDOFF, "above": ABOVE, "lip": LIP,
        "board_w": w, "board_h": h, "board_thick": BOARD_THICK,
        "holes": [[inset, inset], [w - inset, inset], [inset, h - inset], [w - inset, h - inset]],
        "socket_y": round(_fixed(plan, "X1")["y"] + SOCKET_PINS_TO_MIDDLE, 3),
        "socket_wide": 56.0, "socket_low": -3.0, "socket_high": 19.0,
        "usb_y": round((left["y"] + right["y"]) / 2, 3), "usb_mid": round(USB_MID, 3),
        "usb_wide": 14.0, "usb_high": 9.0,
        "cable_y": round(drive["y"] + 1.8, 3), "cable_wide": CABLE_WIDE,
        "cable_low": CABLE_LOW, "cable_high": CABLE_HIGH,
        "buzzer": [speaker["x"] + 6.3, speaker["y"] + 6.3], "button": list(BUTTON), "button_d": 12.2,
        "light": list(LIGHT), "light_d": 5.2,
    }  # fmt: skip


def dims_scad() -> str:
    """Return dims.scad."""
    lines = ["// Made by `python -m hardware.case` from hardware/board/placement.toml. Change it there."]
    return "\n".join([*lines, *(f"{name} = {value};" for name, value in dims().items()), ""])


def digest() -> str:
    """Return what the parts to print were made from."""
    source = (HERE / "case.scad").read_bytes() + dims_scad().encode()
    return hashlib.sha256(source).hexdigest()


def make() -> None:
    """Write dims.scad, the parts to print and a picture; needs OpenSCAD."""
    (HERE / "dims.scad").write_text(dims_scad(), encoding="utf-8")
    for part in PARTS:
        command = [
            "openscad",
            "-q",
            "-o",
            str(HERE / f"{part}.stl"),
            "-D",
            f'part="{part}"',
            str(HERE / "case.scad"),
        ]
        subprocess.run(command, check=True)
        print(HERE / f"{part}.stl")
    (HERE / "made-from.txt").write_text(f"{digest()}\n", encoding="utf-8")
