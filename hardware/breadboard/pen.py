"""Lines, bodies and words on a sheet of holes; everything as pieces of SVG."""

from __future__ import annotations

import math
from xml.sax.saxutils import escape

from hardware.breadboard.plan import Hole

PITCH, LEFT, TOP = 16.0, 30.0, 64.0
COLUMNS_WIDE, ROWS_HIGH = 68, 21.5
WIDTH, HEIGHT = LEFT + COLUMNS_WIDE * PITCH, TOP + ROWS_HIGH * PITCH
FIXED = {"+3V3": "#cc0000", "GND": "#111111", "+5V": "#e07000", "VBUS": "#e07000", "SUPPLY_OUT": "#8f5902"}
OTHERS = ("#204a87", "#4e9a06", "#75507b", "#06989a", "#c17d11", "#a40000")
Point = tuple[float, float]


def colour(net: str) -> str:
    """Return a net's colour: always the same one."""
    return FIXED.get(net) or OTHERS[sum(map(ord, net)) % len(OTHERS)]


class Sheet:
    """One drawing. Mirrored, it shows the board from below: left and right are exchanged."""

    def __init__(self, title: str, *, mirrored: bool = False) -> None:
        self.mirrored = mirrored
        self._items = [f'<rect width="{WIDTH:.0f}" height="{HEIGHT:.0f}" fill="#fff"/>']
        self.words(LEFT, 26, title, size=15, anchor="start")

    def at(self, column: float, row: float) -> Point:
        """Return where a place of the grid is on the sheet."""
        x = LEFT + column * PITCH
        return (WIDTH - x if self.mirrored else x), TOP + row * PITCH

    def hole(self, at: Hole) -> Point:
        """Return where a hole is on the sheet."""
        return self.at(*at.xy)

    def add(self, item: str) -> None:
        """Put a piece of SVG on top."""
        self._items.append(item)

    def words(
        self, x: float, y: float, text: str, *, size: float = 7, fill: str = "#222", anchor: str = "middle",
        turn: float = 0,
    ) -> None:  # fmt: skip
        """Write a text."""
        turned = f' transform="rotate({turn:.0f} {x:.1f} {y:.1f})"' if turn else ""
        self.add(
            f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size}" fill="{fill}" text-anchor="{anchor}"'
            f' font-family="sans-serif"{turned}>{escape(text)}</text>'
        )

    def line(self, a: Point, b: Point, stroke: str, width: float) -> None:
        """Draw a straight wire."""
        self.add(
            f'<line x1="{a[0]:.1f}" y1="{a[1]:.1f}" x2="{b[0]:.1f}" y2="{b[1]:.1f}" stroke="{stroke}"'
            f' stroke-width="{width}" stroke-linecap="round"/>'
        )

    def bridge(self, a: Point, b: Point, stroke: str) -> None:
        """Draw an insulated wire, bowed where it is long, so that two in one row can be told apart."""
        length = math.dist(a, b)
        bow = min(0.06 * length, 26.0) if length > 5 * PITCH else 0.0
        mx = (a[0] + b[0]) / 2 - bow * (b[1] - a[1]) / length
        my = (a[1] + b[1]) / 2 + bow * (b[0] - a[0]) / length
        self.add(
            f'<path d="M{a[0]:.1f} {a[1]:.1f} Q{mx:.1f} {my:.1f} {b[0]:.1f} {b[1]:.1f}" fill="none"'
            f' stroke="{stroke}" stroke-width="3" stroke-opacity="0.8" stroke-linecap="round"/>'
        )
        for end in (a, b):
            self.dot(end, 3, stroke)

    def dot(self, at: Point, radius: float, fill: str, stroke: str = "none") -> None:
        """Draw a round spot."""
        self.add(f'<circle cx="{at[0]:.1f}" cy="{at[1]:.1f}" r="{radius}" fill="{fill}" stroke="{stroke}"/>')

    def box(
        self, at: Point, size: Point, fill: str, *, round_: float = 0, turn: float = 0, more: str = ""
    ) -> None:
        """Draw a box about a point."""
        x, y = at[0] - size[0] / 2, at[1] - size[1] / 2
        turned = f' transform="rotate({turn:.0f} {at[0]:.1f} {at[1]:.1f})"' if turn else ""
        self.add(
            f'<rect x="{x:.1f}" y="{y:.1f}" width="{size[0]:.1f}" height="{size[1]:.1f}" rx="{round_}"'
            f' fill="{fill}"{more}{turned}/>'
        )

    def half_round(self, at: Point, half: float, deep: float, fill: str, *, up: bool) -> None:
        """Draw a body with one flat side: below where its round side is up."""
        x, y = at
        flat, bow, sweep = (y + deep, y - deep, 1) if up else (y - deep, y + deep, 0)
        r = deep * 1.6
        self.add(
            f'<path d="M{x - half:.1f} {flat:.1f} A{half:.1f} {r:.1f} 0 0 {sweep} {x:.1f} {bow:.1f}'
            f' A{half:.1f} {r:.1f} 0 0 {sweep} {x + half:.1f} {flat:.1f} Z" fill="{fill}"/>'
        )

    def svg(self) -> str:
        """Return the whole drawing."""
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:.0f} {HEIGHT:.0f}"'
            f' width="{WIDTH:.0f}" height="{HEIGHT:.0f}">'
        )
        return "\n".join([head, *self._items, "</svg>", ""])
