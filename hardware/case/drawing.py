"""Draws the case with its openings and what stands in it, to scale, sizes in mm: `case.svg`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from xml.sax.saxutils import escape

from hardware.case.dims import BOARD_THICK, PICO_UP, dims
from hardware.case.heights import stands

SCALE, MARGIN = 3.0, 40.0
NUT_POST = 6.8
Pair = tuple[float, float]
SHOWN = ("Q1", "A1", "BOARDL", "U3", "L1", "X1", "LS1", "U2")  # one of each height worth a look


class View:
    """One view: x to the right and y up from its lower left corner, in mm."""

    def __init__(self, left: float, low: float, title: str) -> None:
        self._left, self._low = left, low
        self.items: list[str] = []
        self.words(0, -16, title, size=13)

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Return where a place is on the sheet."""
        return self._left + SCALE * x, self._low - SCALE * y

    def box(self, at: Pair, size: Pair, fill: str = "#fff", *, dash: str = "") -> None:
        """Draw a rectangle from its lower left corner."""
        (x, y), (wide, high) = at, size
        px, py = self.at(x, y + high)
        style = f' stroke-dasharray="{dash}"' if dash else ""
        self.items.append(
            f'<rect x="{px:.1f}" y="{py:.1f}" width="{SCALE * wide:.1f}" height="{SCALE * high:.1f}" fill="{fill}"'
            f' stroke="#222" stroke-width="1.2"{style}/>'
        )

    def hole(self, x: float, y: float, across: float) -> None:
        """Draw a round hole about its middle."""
        px, py = self.at(x, y)
        self.items.append(
            f'<circle cx="{px:.1f}" cy="{py:.1f}" r="{SCALE * across / 2:.1f}" fill="#fff" stroke="#222"/>'
        )

    def words(self, x: float, y: float, text: str, *, size: float = 10, anchor: str = "start") -> None:
        """Write a text; its baseline begins at a place."""
        px, py = self.at(x, y)
        self.items.append(
            f'<text x="{px:.1f}" y="{py:.1f}" font-size="{size}" font-family="sans-serif" text-anchor="{anchor}"'
            f' fill="#204a87">{escape(text)}</text>'
        )


def _sizes(d: Mapping[str, Any]) -> tuple[float, float, float, float]:
    """Return the case's length, width, the base's height and the height of the board's upper side."""
    side = 2 * (d["gap"] + d["wall"])
    top = d["floor_"] + d["standoff"] + BOARD_THICK
    return d["board_w"] + side, d["board_h"] + side, top + d["above"], top


def _end(d: Mapping[str, Any], view: View, *, usb: bool) -> None:
    """Draw one short side from outside. The board's y runs to the right at the socket's end, to the left at USB's."""
    _, wide, high, top = _sizes(d)
    edge = d["gap"] + d["wall"]
    view.box((0, 0), (wide, high), "#eee")
    if not usb:
        x = edge + d["socket_y"]
        view.box((x - d["socket_wide"] / 2, top + d["socket_low"]), (d["socket_wide"], d["socket_high"]))
        view.words(
            2, high + 2, f"socket X1: {d['socket_wide']:g} x {d['socket_high']:g}; {_middle(x, d, 'socket')}"
        )
        return
    view.words(2, high + 2, "dashed: base-driven.stl only; slots 2 x 5 for cable ties")
    for what, name, lines, dash in (
        ("USB", "usb", (15.0, 11.0), ""),
        ("cables of A1, U4, S2", "cable", (7.0, 3.0), "4 3"),
    ):
        x, low = wide - edge - d[f"{name}_y"], _low(d, name)
        size = (d[f"{name}_wide"], d[f"{name}_high"])
        view.box((x - size[0] / 2, low), size, dash=dash)
        for side in (-1, 1):
            view.box((x + side * (size[0] / 2 + 4) - 1, low + size[1] / 2 - 2.5), (2, 5), dash=dash)
        place, anchor = (wide - 2, "end") if name == "usb" else (2.0, "start")
        view.words(place, lines[0], f"{what}: {size[0]:g} x {size[1]:g}", anchor=anchor)
        view.words(place, lines[1], _middle(x, d, name), anchor=anchor)


def _low(d: Mapping[str, Any], name: str) -> float:
    """Return where an opening begins over the case's underside."""
    top = _sizes(d)[3]
    return float(top + (d["usb_mid"] - d["usb_high"] / 2 if name == "usb" else d[f"{name}_low"]))


def _middle(x: float, d: Mapping[str, Any], name: str) -> str:
    low = _low(d, name)
    return f"middle {x:.1f} from the left, {low:.1f} to {low + d[f'{name}_high']:.1f} up"


def _lid(d: Mapping[str, Any], view: View) -> None:
    """Draw the lid from above, socket to the left."""
    long, wide, _, _ = _sizes(d)
    edge = d["gap"] + d["wall"]
    view.box((0, 0), (long, wide), "#eee")
    for x, y in d["holes"]:
        view.hole(edge + x, wide - edge - y, NUT_POST)
    for name, across, to in (
        ("buzzer", 5.0, "buzzer"),
        ("button", d["button_d"], "panel button"),
        ("light", d["light_d"], "light"),
    ):
        x, y = edge + d[name][0], wide - edge - d[name][1]
        view.hole(x, y, across)
        above = 2.5 if name == "buzzer" else -1.0  # clear of the button's hole
        view.words(
            x + across / 2 + 1.5, y + above, f"{to} {across:g}: {x:.1f} from the left, {y:.1f} from below"
        )
    view.words(2, wide + 2, f"{long:g} x {wide:g}; circles in the corners: posts with nuts inside, not open")


def _inside(d: Mapping[str, Any], view: View) -> None:
    """Draw floor, board, lid and the heights that matter, one beside the other."""
    long, _, high, top = _sizes(d)
    view.box((0, 0), (long, d["floor_"]), "#ccc")
    view.box((0, high), (long, d["floor_"]), "#ccc")
    view.box((d["gap"] + d["wall"], top - BOARD_THICK), (d["board_w"], BOARD_THICK), "#1f6b3a")
    by_ref = {s.ref: s for s in stands()}
    for i, ref in enumerate(SHOWN):
        s, x = by_ref[ref], 6 + i * 19
        view.box((x, top), (12, s.high), "#f4e2b8")
        if ref == "BOARDL":
            view.box((x - 2, top + PICO_UP - 1), (16, 1), "#1f6b3a")
        view.words(
            x + 6, top + s.high + 1, f"{'Pico' if ref == 'BOARDL' else ref} {s.high:g}", anchor="middle"
        )
    view.words(
        2,
        high + d["floor_"] + 2,
        f"outside {high + d['floor_']:g} high; {d['above']:g} from board to lid, {d['standoff']:g} under it",
    )


def drawing() -> str:
    """Return the sheet: both ends, the lid, and the heights inside."""
    d = dims()
    _, wide, high, _ = _sizes(d)
    row, column = SCALE * (high + 30), MARGIN + SCALE * (wide + 18)
    views = [View(MARGIN, row, "Socket end, from outside"), View(column, row, "USB end, from outside")]
    _end(d, views[0], usb=False)
    _end(d, views[1], usb=True)
    views += [
        View(MARGIN, 2 * row, "Inside, heights over the board"),
        View(MARGIN, 2 * row + SCALE * (wide + 30), "Lid, from above"),
    ]
    _inside(d, views[2])
    _lid(d, views[3])
    sheet = (column + SCALE * wide + MARGIN, 2 * row + SCALE * (wide + 30) + 70)
    items = [item for view in views for item in view.items]
    head = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {sheet[0]:.0f} {sheet[1]:.0f}">'
    return "\n".join([head, '<rect width="100%" height="100%" fill="#fff"/>', *items, "</svg>", ""])
