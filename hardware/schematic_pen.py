"""A pen for schematics: parts, wires, ends of nets, at given points."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from xml.etree.ElementTree import register_namespace

import schemdraw
from schemdraw import elements as elm

from hardware.values import value_str
from sweeprig.frontend.tables import Part, contacts, pins

schemdraw.svgconfig.text = "text"  # no outlines of letters: the same file on every machine
SVG = "http://www.w3.org/2000/svg"
NET = "#204a87"
Point = tuple[float, float]


def mark(part: Part) -> str:
    """Return reference and value as they stand beside a symbol."""
    series = f"{part.series} x " if part.series > 1 else ""
    shown = value_str(part.each, part.unit)
    return f"{part.ref}\n{series}{shown}" if shown else part.ref


def pin(build: str, name: str) -> str:
    """Return a pin of the board as it stands on a sheet: GP26 SIGNAL_A."""
    found = next(p for p in pins(build) if p.name == name)
    return f"GP{found.gpio} {found.name}"


def contact(name: str) -> str:
    """Return a contact of the socket as it stands on a sheet."""
    found = next(c for c in contacts() if c.name == name)
    return f"{found.number} {found.name}"


class Pen:
    """Draws one block."""

    def __init__(self) -> None:
        self._drawing = schemdraw.Drawing(
            canvas="svg", show=False, unit=2.4, fontsize=11, font="sans-serif", margin=0.3
        )

    def svg(self) -> str:
        """Return the drawing as SVG. Its namespace has no prefix, whatever other libraries have set."""
        register_namespace("", SVG)
        return str(self._drawing.get_imagedata("svg").decode("utf-8"))

    def add(self, element: elm.Element) -> elm.Element:
        """Place an element."""
        self._drawing += element
        return element

    def dots(self, *points: Point) -> None:
        """Draw junctions."""
        for point in points:
            self.add(elm.Dot().at(point))

    def end(self, at: Point, text: str, side: str) -> None:
        """Draw the end of a net with its name."""
        self.add(elm.Dot(open=True).at(at).label(text, loc=side, color=NET, fontsize=10))

    def wire(self, *points: Point) -> None:
        """Draw a line through the points."""
        for a, b in pairwise(points):
            self.add(elm.Line().at(a).to(b))

    def part(self, element: type, a: Point, b: Point, text: str, *, loc: str = "top") -> None:
        """Draw a part with two ends."""
        self.add(element().at(a).to(b).label(text, loc=loc, fontsize=10))

    def electrolytic(self, a: Point, b: Point, text: str, *, loc: str = "bottom") -> None:
        """Draw an upright capacitor with its plus at the upper end `a`, the text opposite of it."""
        self.part(elm.Capacitor, a, b, text, loc=loc)
        side = 0.3 if loc == "top" else -0.5
        self.legs({"+": (a[0] + side, (a[1] + b[1]) / 2 + 0.25)})

    def ground(self, at: Point) -> None:
        """Draw the rig's ground."""
        self.add(elm.Ground().at(at))

    def rail(self, at: Point, text: str = "3.3 V") -> None:
        """Draw a supply."""
        self.add(elm.Vdd().at(at).label(text, fontsize=10))

    def note(self, at: Point, text: str) -> None:
        """Write a reference beside a symbol."""
        self.add(elm.Label().at(at).label(text, fontsize=10))

    def fet(self, drain: Point, ref: str) -> None:
        """Draw an N-channel MOSFET: drain at the top, source 1.5 below, gate 1.37 left and 0.75 below."""
        x, y = drain
        self.add(elm.NFet(bulk=True).theta(0).reverse().anchor("drain").at(drain))
        self.wire((x, y - 0.75), (x, y - 1.5))  # the body hangs on the source
        self.note((x + 0.6, y - 0.85), ref)
        self.legs({"D": (x + 0.25, y - 0.25), "S": (x + 0.25, y - 1.55), "G": (x - 1.25, y - 0.6)})

    def closed(self, a: Point, b: Point, text: str) -> None:
        """Draw a switch that is closed at rest, between two points of one height."""
        (x0, y), (x1, _) = a, b
        left, right = x0 + (x1 - x0) * 0.32, x0 + (x1 - x0) * 0.68
        self.wire(a, (left, y))
        self.wire((right, y), b)
        self.wire((left - 0.1, y + 0.14), (right + 0.1, y + 0.14))
        self.add(elm.Dot(open=True).at((left, y)))
        self.add(elm.Dot(open=True).at((right, y)))
        self.note(((x0 + x1) / 2, y + 0.45), text)

    def legs(self, at: Mapping[str, Point]) -> None:
        """Write the names or numbers of pins where they leave a symbol."""
        for name, place in at.items():
            self.add(elm.Label().at(place).label(name, fontsize=8))
