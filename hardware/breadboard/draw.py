"""Draws the plain build hole by hole: a breadboard from above, a perforated board from above and from below."""

from __future__ import annotations

import math

from hardware.breadboard.pen import PITCH, Point, Sheet, colour
from hardware.breadboard.plan import (
    BUILD,
    ROWS,
    Hole,
    board_holes,
    is_hole,
    links,
    net_at,
    net_by_hole,
    piece,
    places,
    table,
    used,
    wires,
)  # fmt: skip
from hardware.places import measured
from hardware.values import value_str
from sweeprig.frontend.nets import BOARD, EDGE, SOCKET, Piece, pieces
from sweeprig.frontend.tables import Part, parts, pins

FILLS = {"ohm": "#e9d8b4", "F": "#f7c873", "A": "#e5e57a", "V": "#f0b0a0"}
EDGE_NAMES = {40: "VBUS", 38: "GND", 36: "3V3", 35: "VREF", 33: "AGND", 30: "RUN", 3: "GND"}
RAILS = (
    ("U+", "3.3 V", "#cc0000"),
    ("U-", "GND", "#204a87"),
    ("L-", "GND", "#204a87"),
    ("L+", "5 V", "#cc0000"),
)
THIN_EDGE = ' stroke="#555" stroke-width="0.8"'
LEGS_LONG = 20.0  # half of a body from which its value fits beside its reference


def _holes(sheet: Sheet) -> None:
    for row in ROWS:
        for column in range(1, int(table()["columns"]) + 1):
            if is_hole(Hole(row, column)):
                sheet.box(sheet.hole(Hole(row, column)), (3, 3), "#b5b5b5")


def _names(sheet: Sheet) -> None:
    for row, y in ROWS.items():
        if len(row) == 1:
            for column in (0, 64.4):
                x, at = sheet.at(column, y)
                sheet.words(x, at + 3, row, size=9, fill="#777")
    for column in (1, *range(5, 64, 5)):
        for y in (-1.0, 20.0):
            x, at = sheet.at(column, y)
            sheet.words(x, at + 3, str(column), size=8, fill="#777")
    for row, name, stroke in RAILS:
        for column, words in ((1.4, row), (64, name)):
            x, at = sheet.at(column, ROWS[row])
            sheet.words(x, at + 3, words, size=9, fill=stroke)


def _board(sheet: Sheet) -> None:
    """Draw the Pico class board with the names of the contacts that are used."""
    at = {int(n): sheet.hole(h) for n, h in board_holes().items()}
    (x0, y0), (x1, y1) = at[40], at[20]
    middle = ((x0 + x1) / 2, (y0 + y1) / 2)
    sheet.box(middle, (x1 - x0 + 18, y1 - y0 + 20), "#d7ead7", round_=4, more=' stroke="#3a7a3a"')
    sheet.box((x0 + 8, middle[1]), (34, 50), "#ccc", more=' stroke="#777"')
    sheet.words(x0 + 8, middle[1] + 3, "USB", size=8)
    sheet.words(*middle, "Pico class board", size=11)
    named = {EDGE[p.gpio]: f"GP{p.gpio}" for p in pins(BUILD)} | EDGE_NAMES
    for n, (x, y) in at.items():
        sheet.dot((x, y), 3.2, "#3a7a3a" if n in named else "#a9c9a9")
        upper = n > len(at) // 2
        shift, anchor = (7, "end") if upper else (-7, "start")
        sheet.words(x + 2.5, y + shift, named.get(n, ""), anchor=anchor, turn=-90)


def _terminal(sheet: Sheet) -> None:
    at = {net: sheet.hole(places()[SOCKET][pin]) for pin, net in piece(SOCKET).pins.items()}
    x, y = next(iter(at.values()))
    size = (10 * PITCH, 3.8 * PITCH)
    sheet.box((x + 4 * PITCH, y + 0.3 * PITCH), size, "#9ccfe8", more=' fill-opacity="0.75" stroke="#30708f"')
    for net, (x, y) in at.items():
        sheet.dot((x, y), 2.2, "#30708f")
        sheet.dot((x, y + 11), 5.5, "#fff", "#30708f")
        first, _, second = net.partition("_")
        sheet.words(x, y - 14, first, size=5.6)
        sheet.words(x, y - 8, second, size=5.6)


def _two_legs(sheet: Sheet, ref: str, ends: tuple[Point, Point], part: Part) -> None:
    """Draw a part with two legs along the line between its holes; a diode's band is at its first pin, K."""
    (ax, ay), (bx, by) = ends
    length, angle = math.dist(*ends), math.degrees(math.atan2(by - ay, bx - ax))
    middle = ((ax + bx) / 2, (ay + by) / 2)
    unit = part.unit.split()[0]
    half = min(length / 2 - 5, 22 if unit == "ohm" else 15)
    sheet.line(*ends, "#888", 2)
    round_ = 1 if unit == "V" else 4
    sheet.box(middle, (2 * half, 13), FILLS[unit], round_=round_, turn=angle, more=THIN_EDGE)
    if unit == "V":
        share = (half - 3) / (length / 2)
        band = (middle[0] + share * (ax - middle[0]), middle[1] + share * (ay - middle[1]))
        sheet.box(band, (3.5, 13), "#222", turn=angle)
    turn = -90 if abs(math.cos(math.radians(angle))) < 0.5 else 0
    words = value_str(part.each, unit) if unit in ("ohm", "F") and half > LEGS_LONG else ""
    x, y = (middle[0] + 2.4, middle[1]) if turn == -90 else (middle[0], middle[1] + 2.4)
    sheet.words(x, y, f"{ref} {words}".strip(), size=6.6, turn=turn)


def _three_legs(sheet: Sheet, p: Piece, at: list[Point]) -> None:
    """Draw a transistor; a TO-92 shows its pins 1, 2, 3 from left to right to who looks at its flat side."""
    x, y = at[1]
    if p.key == "q_pass":  # its tab is on the far side of its legs
        sheet.box((x, y + 5), (4 * PITCH, 26), "#7a7a7a")
        sheet.box((x, y + 16), (4 * PITCH, 6), "#c8c8c8", more=' stroke="#777"')
    else:
        sheet.half_round((x, y), 30, 10, "#6a6a6a", up=at[0][0] < at[2][0])
    up = at[0][0] < at[2][0] or p.key == "q_pass"
    for (px, py), name in zip(at, p.pins, strict=True):
        sheet.dot((px, py), 2.2, "#eee")
        sheet.words(px, py + (8 if up else -4), name, size=5.5, fill="#fff")
    if p.key == "q_pass":
        sheet.words(x, y + 18.4, p.ref, size=6.5)
    else:
        sheet.words(x, y + (-3.5 if up else 8), p.ref, size=6.5, fill="#fff")


def _pieces(sheet: Sheet) -> None:
    listed = parts(BUILD)
    for p in pieces(BUILD):
        if p.ref in (BOARD, SOCKET):
            continue
        at = [sheet.hole(h) for h in places()[p.ref].values()]
        if len(at) == 2:
            _two_legs(sheet, p.ref, (at[0], at[1]), listed[p.key])
        else:
            _three_legs(sheet, p, at)


def _bridges(sheet: Sheet) -> None:
    for wire in wires():
        sheet.bridge(sheet.hole(wire.a), sheet.hole(wire.b), colour(net_by_hole()[wire.a]))


def breadboard() -> str:
    """Return the breadboard from above."""
    sheet = Sheet("Plain build on a breadboard of 830 holes, from above")
    for draw in (_holes, _names, _board, _terminal, _bridges, _pieces):
        draw(sheet)
    return sheet.svg()


def perfboard_above() -> str:
    """Return the perforated board from above: the same places, the wires under it shown through."""
    sheet = Sheet("Plain build on a perforated board, from above; pale: the bare wires under it")
    _holes(sheet)
    for link in links(measured()):
        sheet.line(sheet.hole(link.a), sheet.hole(link.b), "#d9c48a", 7)
    for draw in (_names, _board, _terminal, _bridges, _pieces):
        draw(sheet)
    return sheet.svg()


def perfboard_below() -> str:
    """Return the bare wires under a perforated board, seen from below."""
    sheet = Sheet("Plain build on a perforated board, from BELOW: bare wires, and where a pin or a bridge is soldered",
                  mirrored=True)  # fmt: skip
    _holes(sheet)
    _names(sheet)
    for link in links(measured()):
        sheet.line(sheet.hole(link.a), sheet.hole(link.b), colour(net_at(link.a)), 5)
    for at in used():
        sheet.dot(sheet.hole(at), 3.4, "#fff", colour(net_by_hole().get(at, "")))
    return sheet.svg()
