"""Draws a kept board file as SVG without KiCad: pads, tracks, print. The planes are the dark ground."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

from hardware.board.copper import Point, copper, each_of, one_of, parse, xy_of

SIDES = {"top": "F.Cu", "bottom": "B.Cu"}
GROUND, TRACK, PAD, HOLE, PRINT = "#1f5f3a", "#3f9a63", "#d9b45b", "#ffffff", "#f4f4f4"
SCALE = 8.0  # points a millimetre


def picture(path: Path, side: str) -> str:
    """Return one side of a board; the bottom is seen through from above."""
    board, layer = parse(path.read_text("utf-8")), SIDES[side]
    w, h = _size(board)
    items = [
        f'<rect width="{w:g}" height="{h:g}" rx="1" fill="{GROUND}"/>',
        *_copper(path, layer),
        *_holes(board),
    ]
    if side == "top":
        items += _print(board)
    body = "\n".join(['<rect x="-2" y="-2" width="100%" height="100%" fill="#fff"/>', *items])
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="-2 -2 {w + 4:g} {h + 4:g}" width="{SCALE * (w + 4):g}"'
        f' height="{SCALE * (h + 4):g}">\n{body}\n</svg>\n'
    )


def _size(board: list[Any]) -> Point:
    edges = [
        xy_of(one_of(x, "end")) for x in each_of(board, "gr_line") if one_of(x, "layer")[1] == "Edge.Cuts"
    ]
    return max(x for x, _ in edges), max(y for _, y in edges)


def _copper(path: Path, layer: str) -> Iterator[str]:
    found = [c for c in copper(path) if layer in c.layers and not c.area]
    for c in found:
        if not c.pin and len(c.points) > 1:
            (x0, y0), (x1, y1) = c.points[0], c.points[-1]
            yield _line((x0, y0), (x1, y1), TRACK, 2 * c.half[0])
        elif not c.pin:
            x, y = c.points[0]
            yield f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{c.half[0]:g}" fill="{TRACK}"/>'
    for c in found:
        if c.pin:
            (x, y), (w, h) = c.points[0], c.half
            r = min(w, h) if c.round else 0
            yield (f'<rect x="{x - w:.2f}" y="{y - h:.2f}" width="{2 * w:g}" height="{2 * h:g}" rx="{r:g}"'
                   f' fill="{PAD}"/>')  # fmt: skip


def _line(a: Point, b: Point, stroke: str, width: float) -> str:
    return (f'<line x1="{a[0]:.2f}" y1="{a[1]:.2f}" x2="{b[0]:.2f}" y2="{b[1]:.2f}" stroke="{stroke}"'
            f' stroke-width="{width:g}" stroke-linecap="round"/>')  # fmt: skip


def _turned(footprint: list[Any], at: Point) -> Point:
    place = [float(v) for v in one_of(footprint, "at")[1:]]
    turn = math.radians(place[2] if len(place) > 2 else 0.0)
    x, y = at
    return (
        place[0] + x * math.cos(turn) + y * math.sin(turn),
        place[1] - x * math.sin(turn) + y * math.cos(turn),
    )


def _holes(board: list[Any]) -> Iterator[str]:
    for footprint in each_of(board, "footprint"):
        for pad in each_of(footprint, "pad"):
            drill = [v for v in one_of(pad, "drill")[1:] if isinstance(v, str) and v != "oval"]
            if drill:
                x, y = _turned(footprint, xy_of(one_of(pad, "at")))
                yield f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{float(drill[0]) / 2:g}" fill="{HOLE}"/>'
    for via in each_of(board, "via"):
        x, y = xy_of(one_of(via, "at"))
        yield f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{float(one_of(via, "drill")[1]) / 2:g}" fill="{HOLE}"/>'


def _print(board: list[Any]) -> Iterator[str]:
    for footprint in each_of(board, "footprint"):
        for shape in footprint:
            if isinstance(shape, list) and one_of(shape, "layer")[1:] == ["F.SilkS"]:
                yield from _shape(footprint, shape)
    for text in each_of(board, "gr_text"):
        if one_of(text, "layer")[1] == "F.SilkS":
            yield _words(str(text[1]), xy_of(one_of(text, "at")), _angle(one_of(text, "at")), text)


def _angle(at: list[Any]) -> float:
    return float(at[3]) if len(at) > 3 else 0.0


def _shape(footprint: list[Any], shape: list[Any]) -> Iterator[str]:
    kind = shape[0]
    if kind == "fp_text":
        if "hide" not in shape:
            yield _words(
                str(shape[2]),
                _turned(footprint, xy_of(one_of(shape, "at"))),
                _angle(one_of(shape, "at")),
                shape,
            )
    elif kind == "fp_line":
        yield _line(
            _turned(footprint, xy_of(one_of(shape, "start"))),
            _turned(footprint, xy_of(one_of(shape, "end"))),
            PRINT,
            0.12,
        )
    elif kind == "fp_circle":
        (x, y), end = (_turned(footprint, xy_of(one_of(shape, n))) for n in ("center", "end"))
        yield _ring(x, y, math.dist((x, y), end))
    elif kind == "fp_arc":
        a, b, c = (_turned(footprint, xy_of(one_of(shape, n))) for n in ("start", "mid", "end"))
        yield (f'<path d="M{a[0]:.2f} {a[1]:.2f} Q{2 * b[0] - (a[0] + c[0]) / 2:.2f} {2 * b[1] - (a[1] + c[1]) / 2:.2f}'
               f' {c[0]:.2f} {c[1]:.2f}" fill="none" stroke="{PRINT}" stroke-width="0.12"/>')  # fmt: skip


def _ring(x: float, y: float, r: float) -> str:
    return f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{r:.2f}" fill="none" stroke="{PRINT}" stroke-width="0.12"/>'


def _words(text: str, at: Point, angle: float, node: list[Any]) -> str:
    size = float(one_of(one_of(one_of(node, "effects"), "font"), "size")[1])
    turned = f' transform="rotate({-angle:g} {at[0]:.2f} {at[1]:.2f})"' if angle % 360 else ""
    return (f'<text x="{at[0]:.2f}" y="{at[1] + 0.4 * size:.2f}" font-size="{1.25 * size:.2f}" text-anchor="middle"'
            f' font-family="monospace" fill="{PRINT}"{turned}>{escape(text)}</text>')  # fmt: skip
