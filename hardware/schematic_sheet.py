"""Puts drawn blocks under one another on pages of A4, each with its heading."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from html import escape

MARGIN = 24.0
HEADING = 22.0
NOTE = 18.0
GAP = 22.0
WIDE = 900.0  # A4, upright
HIGH = WIDE * 297 / 210
TOP = MARGIN + 26.0
FONT = "font-family='sans-serif'"
SIZE = re.compile(r'<svg[^>]*?height="([\d.]+)pt"[^>]*?width="([\d.]+)pt"', re.S)
NUMBER = re.compile(r"-?\d+\.\d{3,}")


Point = tuple[float, float]


@dataclass(frozen=True)
class Drawn:
    """What a drawing joins: lines, junctions, pins of pieces ("R20.1") and names of nets, each with its place."""

    wires: list[tuple[Point, Point]] = field(default_factory=list)
    dots: list[Point] = field(default_factory=list)
    pins: list[tuple[str, Point]] = field(default_factory=list)
    names: list[tuple[str, Point]] = field(default_factory=list)


@dataclass(frozen=True)
class Block:
    """One drawing with what stands above and below it."""

    heading: str
    svg: str
    notes: tuple[str, ...] = ()
    drawn: Drawn = field(default_factory=Drawn)

    @property
    def size(self) -> tuple[float, float]:
        """(width, height) of the drawing in points."""
        found = SIZE.search(self.svg)
        if not found:
            raise ValueError(f"the drawing of '{self.heading}' has no size in points")
        return float(found[2]), float(found[1])

    @property
    def height(self) -> float:
        """Height with heading and notes."""
        return HEADING + self.size[1] + NOTE * len(self.notes)


def _placed(block: Block, top: float) -> str:
    """Return a block at a height on the sheet."""
    width, height = block.size
    inner = block.svg[block.svg.index("<svg") :]
    inner = re.sub(r'height="[\d.]+pt"', f'height="{height:.2f}"', inner, count=1)
    inner = re.sub(r'width="[\d.]+pt"', f'width="{width:.2f}"', inner, count=1)
    inner = inner.replace("<svg", f'<svg x="{MARGIN:g}" y="{top + HEADING:.2f}"', 1)
    text = f"<text x='{MARGIN:g}' y='{top + 14:.2f}' {FONT} font-size='15' font-weight='bold'>"
    lines = [f"{text}{escape(block.heading)}</text>", inner]
    for i, note in enumerate(block.notes):
        y = top + HEADING + height + NOTE * (i + 0.8)
        lines.append(f"<text x='{MARGIN:g}' y='{y:.2f}' {FONT} font-size='12'>{escape(note)}</text>")
    return "\n".join(lines)


def sheets(title: str, blocks: list[Block]) -> list[str]:
    """Return pages of A4, each filled from the top; numbers are rounded, so that they are the same on every machine."""
    pages: list[list[Block]] = [[]]
    left = HIGH - TOP
    for block in blocks:
        if pages[-1] and block.height > left:
            pages.append([])
            left = HIGH - TOP
        pages[-1].append(block)
        left -= block.height + GAP
    n = len(pages)
    return [_page(f"{title}: schematic, page {i} of {n}", page) for i, page in enumerate(pages, 1)]


def _page(title: str, blocks: list[Block]) -> str:
    top, parts = TOP, []
    for block in blocks:
        parts.append(_placed(block, top))
        top += block.height + GAP
    head = (
        f"<svg xmlns='http://www.w3.org/2000/svg' width='210mm' height='297mm' "
        f"viewBox='0 0 {WIDE:.0f} {HIGH:.0f}'>\n<title>{escape(title)}</title>\n"
        f"<rect width='100%' height='100%' fill='white'/>\n"
        f"<text x='{MARGIN:g}' y='{MARGIN + 12:g}' {FONT} font-size='20'>{escape(title)}</text>\n"
    )
    body = NUMBER.sub(lambda m: f"{float(m[0]):.2f}", "\n".join(parts))
    return head + body + "\n</svg>\n"
