"""What stands how high in the case: `python -m hardware.case.heights` prints it with the room under lid and Pico."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass

from hardware.board.pieces import placed
from hardware.case.dims import ABOVE, HEADER, PLACEMENT, STRIP

# Over the board [mm] by footprint, from memory: measure yours. Sockets with what is in them, headers with their plugs.
HEIGHTS = {
    "PinSocket_1x20_P2.54mm_Vertical": 14.9,  # strip 8.5, header 2.54, board 1.0, its USB socket 2.8
    "PinSocket_1x10_P2.54mm_Vertical": 14.2,  # strip 8.5, header 2.54, module 1.6, its parts 1.5
    "DSUB-15": 12.6,
    "TO-220-3_Vertical": 20.0,
    "TO-92_Inline_Wide": 8.0,
    "DIP-14_W7.62mm_Socket": 9.0,
    "DIP-8_W7.62mm_Socket": 9.0,
    "C_Radial_D10.0mm_H12.5mm_P5.00mm": 13.0,
    "CP_Radial_D6.3mm_P2.50mm": 12.0,
    "C_Disc_D7.5mm_W5.0mm_P5.00mm": 13.0,
    "C_Disc_D5.0mm_W2.5mm_P5.00mm": 8.0,
    "C_Rect_L7.0mm_W3.5mm_P5.00mm": 8.5,
    "Buzzer_12x9.5RM7.6": 9.5,
    "SW_PUSH_6mm": 13.0,
    "PinHeader_1x03_P2.54mm_Vertical": 14.0,  # with a jumper that has a grip
    "PinHeader_1x02_P2.54mm_Vertical": 22.0,  # with the plug's housing and the bend of its cable
    "PinHeader_1x04_P2.54mm_Vertical": 22.0,
    "PinHeader_1x05_P2.54mm_Vertical": 22.0,
    "R_Axial_DIN0207_L6.3mm_D2.5mm_P10.16mm_Horizontal": 3.0,
    "R_Axial_DIN0414_L11.9mm_D4.5mm_P15.24mm_Horizontal": 5.0,
    "D_DO-15_P10.16mm_Horizontal": 4.0,
    "D_DO-41_SOD81_P10.16mm_Horizontal": 3.2,
    "D_DO-35_SOD27_P7.62mm_Horizontal": 2.5,
    "SOT-23_Handsoldering": 1.2,
    "D_SOD-323_HandSoldering": 1.1,
}
BUTTON_DEEP = 15.0  # at most: a panel button under the lid, with its contacts and the bend of its wires
PICO_SOLDER = 1.0  # ends of legs and solder under the Pico class board
LEAST = 1.0  # room that must be left anywhere


@dataclass(frozen=True)
class Stands:
    """One piece with its height over the board and the room over it [mm]."""

    ref: str
    high: float
    free: float
    over: str  # what is over it


def _high(footprint: str) -> float:
    name = footprint.split(":")[1]
    return next(high for known, high in HEIGHTS.items() if name.startswith(known))


def under_pico() -> list[str]:
    """Return the pieces between the two strips of the Pico class board."""
    regions = tomllib.loads(PLACEMENT.read_text("utf-8"))["region"]
    return list(next(row for row in regions if "U1" in row["refs"])["refs"])


def stands() -> list[Stands]:
    """Return every piece, the one with the least room first; test points are flat."""
    room, below = STRIP + HEADER - PICO_SOLDER, set(under_pico())
    out = []
    for p in placed():
        if not p.ref.startswith("TP"):
            high = _high(p.footprint)
            pico = p.ref in below
            out.append(
                Stands(
                    p.ref,
                    high,
                    round((room if pico else ABOVE) - high, 2),
                    "Pico class board" if pico else "lid",
                )
            )
    return sorted(out, key=lambda s: (s.free, s.ref))


def table() -> str:
    """Return the table of the page: pieces of one height together, what is lower than 8 mm in one line."""
    lines = ["| height over the board, mm | pieces | room over them, mm | to the |", "|---|---|---|---|"]
    groups: dict[tuple[float, float, str], list[str]] = {}
    for s in stands():
        if s.high >= 8.0:
            groups.setdefault((s.high, s.free, s.over), []).append(s.ref)
    lines += [
        f"| {high:g} | {', '.join(refs)} | {free:g} | {over} |" for (high, free, over), refs in groups.items()
    ]
    low = [s for s in stands() if s.high < 8.0]
    return "\n".join(
        [*lines, f"| {max(s.high for s in low):g} or less | all others | {low[0].free:g} or more | - |"]
    )


def main() -> None:
    """Print the table."""
    print(table())


if __name__ == "__main__":
    main()
