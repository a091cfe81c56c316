"""What is printed on the board: references, values, pins, names of test points. Runs under KiCad's Python."""

from __future__ import annotations

from typing import Any

import pcbnew

from hardware.board.pieces import Placed

HIGH, STROKE = 0.8, 0.13  # mm; what a common service prints legibly
BESIDE = ("U3", "A1")  # their references stand to the left
NAMED = ("U3", "U4", "A1", "J1")  # headers whose pins are named beside them
LONG, NARROW, ABOVE = 8, 0.62, 0.62
LETTERED = ("Q",)  # transistors, by the first letter of the reference


def text(board: Any, words: str, x: float, y: float, *, turn: float = 0.0, wide: float = HIGH) -> None:
    """Print words about a point [mm]."""
    item = pcbnew.PCB_TEXT(board)
    item.SetText(words)
    item.SetLayer(pcbnew.F_SilkS)
    item.SetPosition(pcbnew.wxPoint(pcbnew.FromMM(x), pcbnew.FromMM(y)))
    item.SetTextAngle(turn * 10)
    item.SetTextSize(pcbnew.wxSize(pcbnew.FromMM(wide), pcbnew.FromMM(HIGH)))
    item.SetTextThickness(pcbnew.FromMM(STROKE))
    board.Add(item)


def print_piece(board: Any, footprint: Any, piece: Placed, box: tuple[float, float, float, float]) -> None:
    """Print a piece's reference and value, and what tells its pins apart. `box`: its courtyard about its position."""
    footprint.Value().SetVisible(False)
    footprint.Reference().SetVisible(False)
    at = footprint.GetPosition()
    x, y = pcbnew.ToMM(at.x), pcbnew.ToMM(at.y)
    left, top, right, bottom = box
    middle = (x + (left + right) / 2, y + (top + bottom) / 2)
    words = f"{piece.ref} {piece.short}".strip()
    if piece.ref.startswith("TP"):
        text(board, piece.value, x + 1.5 + 0.36 * len(piece.value), y)
    elif piece.footprint.startswith("Resistor_THT"):
        text(board, words, *middle, wide=HIGH if len(words) < LONG else NARROW)
    elif piece.footprint.startswith("Diode_THT"):
        text(board, words, middle[0] + 0.7, middle[1])
    elif piece.ref == "X1":
        text(board, words, x + 3.6, middle[1], turn=90)
    elif piece.ref in BESIDE:
        text(board, words, x + left - 0.4 - 0.36 * len(words), middle[1])
    else:
        aside = 0.55 if piece.footprint.startswith("Capacitor_THT:C_Disc_D5") else 0.0
        text(board, words, middle[0] + aside, y + top - ABOVE, wide=HIGH if len(words) < LONG else NARROW)
    if piece.ref in NAMED or piece.ref.startswith(LETTERED):
        _pins(board, footprint, piece, y + bottom)
    _trim(footprint)


def _trim(footprint: Any) -> None:
    """Take away print that lies on the outline or beyond: a connector's overhang."""
    for item in list(footprint.GraphicalItems()):
        if item.GetLayer() == pcbnew.F_SilkS and item.GetBoundingBox().GetLeft() < pcbnew.FromMM(0.3):
            footprint.Remove(item)


def _pins(board: Any, footprint: Any, piece: Placed, below: float) -> None:
    """Print the name of each pin under its pad."""
    long = max(len(n) for n in piece.names.values()) > 1
    for pad in footprint.Pads():
        name = piece.names.get(pad.GetNumber(), "")
        at = pad.GetPosition()
        if piece.ref == "J1":  # stands upright: names to its right
            text(board, name, pcbnew.ToMM(at.x) + 2.3 + 0.36 * len(name), pcbnew.ToMM(at.y))
            continue
        y = below + (0.4 + 0.36 * len(name) if long else 0.45)
        text(board, name, pcbnew.ToMM(at.x), y, turn=90 if long else 0)
