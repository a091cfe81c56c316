"""A pen for schematics: parts, wires, ends of nets, at given points."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import pairwise
from xml.etree.ElementTree import register_namespace

import schemdraw
from schemdraw import elements as elm

from hardware.schematic_sheet import Block, Drawn, Point
from hardware.values import value_str
from sweeprig.frontend.tables import Part, contacts, pins

schemdraw.svgconfig.text = "text"  # no outlines of letters: the same file on every machine
SVG = "http://www.w3.org/2000/svg"
NET = "#204a87"
DIODES = (elm.Diode, elm.Schottky, elm.Zener)


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
        self._drawn = Drawn()

    def block(self, heading: str, notes: tuple[str, ...] = ()) -> Block:
        """Return what is drawn as a block of a sheet."""
        return Block(heading, self.svg(), notes, self._drawn)

    def svg(self) -> str:
        """Return the drawing as SVG. Its namespace has no prefix, whatever other libraries have set."""
        register_namespace("", SVG)
        return str(self._drawing.get_imagedata("svg").decode("utf-8"))

    def add(self, element: elm.Element) -> elm.Element:
        """Place an element."""
        self._drawing += element
        return element

    def pins(self, at: Mapping[str, Point]) -> None:
        """Say which pins of pieces a symbol has, as R20.1, and where."""
        self._drawn.pins.extend((name, (float(x), float(y))) for name, (x, y) in at.items())

    def dots(self, *points: Point) -> None:
        """Draw junctions."""
        self._drawn.dots.extend(points)
        for point in points:
            self.add(elm.Dot().at(point))

    def end(self, at: Point, text: str, side: str) -> None:
        """Draw the end of a net with its name; of several lines each names a net of another channel."""
        self._drawn.names.append((text, at))
        self.add(elm.Dot(open=True).at(at).label(text, loc=side, color=NET, fontsize=10))

    def wire(self, *points: Point) -> None:
        """Draw a line through the points."""
        for a, b in pairwise(points):
            self._drawn.wires.append((a, b))
            self.add(elm.Line().at(a).to(b))

    def part(self, element: type, a: Point, b: Point, text: str, *, loc: str = "top", ends: str = "") -> None:
        """Draw a part with two ends, anode first; `ends` are its pins where the text does not tell: "R501.1 R501.2"."""
        ref, names = (
            text.split(maxsplit=1)[0] if text else "",
            ("A", "K") if element in DIODES else ("1", "2"),
        )
        first, second = ends.split() if ends else (f"{ref}.{n}" for n in names)
        self._drawn.pins.extend([(first, a), (second, b)])
        self.add(element().at(a).to(b).label(text, loc=loc, fontsize=10))

    def electrolytic(self, a: Point, b: Point, text: str, *, loc: str = "bottom") -> None:
        """Draw an upright capacitor with its plus at the upper end `a`, the text opposite of it."""
        ref = text.split(maxsplit=1)[0]
        self.part(elm.Capacitor, a, b, text, loc=loc, ends=f"{ref}.+ {ref}.-")
        side = 0.3 if loc == "top" else -0.5
        self.legs({"+": (a[0] + side, (a[1] + b[1]) / 2 + 0.25)})

    def ground(self, at: Point) -> None:
        """Draw the rig's ground."""
        self._drawn.names.append(("ground", at))
        self.add(elm.Ground().at(at))

    def rail(self, at: Point, text: str = "3.3 V") -> None:
        """Draw a supply."""
        self._drawn.names.append((text, at))
        self.add(elm.Vdd().at(at).label(text, fontsize=10))

    def note(self, at: Point, text: str) -> None:
        """Write a reference beside a symbol."""
        self.add(elm.Label().at(at).label(text, fontsize=10))

    def bjt(self, element: elm.Element, ref: str, letters: Mapping[str, Point]) -> None:
        """Draw a transistor with its letters."""
        placed = self.add(element)
        ends = (("E", placed.emitter), ("B", placed.base), ("C", placed.collector))
        self.pins({f"{ref}.{name}": at for name, at in ends})
        self.legs(letters)

    def chip(self, element: elm.Element, ref: str, names: Iterable[str]) -> elm.Element:
        """Draw a box with pins; what stands before a space in a name is the pin."""
        placed = self.add(element)
        self.pins({f"{ref}.{name.split()[0]}": getattr(placed, name) for name in names})
        return placed

    def fet(self, drain: Point, ref: str, piece: str = "") -> None:
        """Draw an N-channel MOSFET: drain at the top, source 1.5 below, gate 1.37 left and 0.75 below."""
        x, y = drain
        ends = {"D": drain, "S": (x, y - 1.5), "G": (x - 1.37, y - 0.75)}
        self.pins({f"{piece or ref}.{name}": at for name, at in ends.items()})
        self.add(elm.NFet(bulk=True).theta(0).reverse().anchor("drain").at(drain))
        self.add(elm.Line().at((x, y - 0.75)).to((x, y - 1.5)))  # the body hangs on the source
        self.note((x + 0.6, y - 0.85), ref)
        self.legs({"D": (x + 0.25, y - 0.25), "S": (x + 0.25, y - 1.55), "G": (x - 1.25, y - 0.5)})

    def closed(self, a: Point, b: Point, text: str, *, ends: str = "") -> None:
        """Draw a switch that is closed at rest, between two points of one height."""
        (x0, y), (x1, _) = a, b
        ref = text.split(maxsplit=1)[0]
        self.pins(dict(zip((ends or f"{ref}.1 {ref}.2").split(), (a, b), strict=True)))
        left, right = x0 + (x1 - x0) * 0.32, x0 + (x1 - x0) * 0.68
        for one, other in (
            (a, (left, y)),
            ((right, y), b),
            ((left - 0.1, y + 0.14), (right + 0.1, y + 0.14)),
        ):
            self.add(elm.Line().at(one).to(other))
        self.add(elm.Dot(open=True).at((left, y)))
        self.add(elm.Dot(open=True).at((right, y)))
        self.note(((x0 + x1) / 2, y + 0.45), text)

    def legs(self, at: Mapping[str, Point]) -> None:
        """Write the names or numbers of pins where they leave a symbol."""
        for name, place in at.items():
            self.add(elm.Label().at(place).label(name, fontsize=8))
