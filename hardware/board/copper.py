"""Reads the nets back from the copper of a kept board file, without KiCad: pads, tracks, vias and filled planes.

Two pieces of copper are joined where they overlap on a layer, whatever net the file says they have. So a track that
leads nowhere, a short and a pad that no plane reaches are seen in the geometry itself.
"""

from __future__ import annotations

import math
import re
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

TOUCH = 0.02  # mm that two pieces must overlap to count as joined
BUCKET = 2.0  # mm, side of the squares by which neighbours are found
STEP = 0.2  # mm between the points that a track is looked at
COPPER = ("F.Cu", "B.Cu")
Point = tuple[float, float]


@dataclass
class Copper:
    """One piece of copper: points along it with a half-width (tracks, vias), or a box (pads), or a filled area."""

    layers: tuple[str, ...]
    points: list[Point]
    half: Point  # half-width and half-height about each point; of an area (0, 0)
    net: str
    round: bool = True  # its corners are round: circles, ovals, tracks
    pin: tuple[str, str] | None = None
    area: list[Point] = field(default_factory=list)


def parse(text: str) -> list[Any]:
    """Read an S-expression into nested lists."""
    stack: list[list[Any]] = [[]]
    for token in re.finditer(r'\(|\)|"((?:[^"\\]|\\.)*)"|[^\s()"]+', text):
        word = token[0]
        if word == "(":
            stack.append([])
        elif word == ")":
            done = stack.pop()
            stack[-1].append(done)
        else:
            stack[-1].append(token[1] if word.startswith('"') else word)
    return list(stack[0][0])


def each_of(node: list[Any], name: str) -> Iterator[list[Any]]:
    """Return the lists in a list that begin with a name."""
    return (x for x in node if isinstance(x, list) and x and x[0] == name)


def one_of(node: list[Any], name: str) -> list[Any]:
    """Return the first list that begins with a name; the bare name where there is none."""
    return next(each_of(node, name), [name])


def xy_of(node: list[Any]) -> Point:
    """Return the place that a list gives after its name."""
    return float(node[1]), float(node[2])


def _layers(pad: list[Any]) -> tuple[str, ...]:
    named = one_of(pad, "layers")[1:]
    return COPPER if "*.Cu" in named else tuple(n for n in named if n in COPPER)


def _reference(footprint: list[Any]) -> str:
    return next(str(t[2]) for t in each_of(footprint, "fp_text") if t[1] == "reference")


def pads(board: list[Any]) -> list[Copper]:
    """Return every pad of copper; its box is turned with its footprint in quarters."""
    out = []
    for footprint in each_of(board, "footprint"):
        at = [float(v) for v in one_of(footprint, "at")[1:]]
        turn = math.radians(at[2] if len(at) > 2 else 0.0)
        for pad in each_of(footprint, "pad"):
            if pad[2] == "np_thru_hole":
                continue
            place = [float(v) for v in one_of(pad, "at")[1:]]
            x = at[0] + place[0] * math.cos(turn) + place[1] * math.sin(turn)
            y = at[1] - place[0] * math.sin(turn) + place[1] * math.cos(turn)
            w, h = xy_of(one_of(pad, "size"))
            if len(place) > 2 and round(place[2] / 90) % 2:
                w, h = h, w
            net = one_of(pad, "net")
            pin = (_reference(footprint), str(pad[1]))
            name, shape = net[2] if len(net) > 2 else "", pad[3] in ("circle", "oval")
            out.append(Copper(_layers(pad), [(x, y)], (w / 2, h / 2), name, shape, pin))
    return out


def _tracks(board: list[Any], names: dict[str, str]) -> Iterator[Copper]:
    for row in each_of(board, "segment"):
        a, b = xy_of(one_of(row, "start")), xy_of(one_of(row, "end"))
        n = max(1, math.ceil(math.dist(a, b) / STEP))
        points = [(a[0] + (b[0] - a[0]) * i / n, a[1] + (b[1] - a[1]) * i / n) for i in range(n + 1)]
        half = float(one_of(row, "width")[1]) / 2
        yield Copper((one_of(row, "layer")[1],), points, (half, half), names[one_of(row, "net")[1]])
    for row in each_of(board, "via"):
        half = float(one_of(row, "size")[1]) / 2
        yield Copper(COPPER, [xy_of(one_of(row, "at"))], (half, half), names[one_of(row, "net")[1]])


def _areas(board: list[Any]) -> Iterator[Copper]:
    for zone in each_of(board, "zone"):
        for filled in each_of(zone, "filled_polygon"):
            outline = [xy_of(p) for p in each_of(one_of(filled, "pts"), "xy")]
            yield Copper(
                (one_of(filled, "layer")[1],), outline, (0.0, 0.0), one_of(zone, "net_name")[1], area=outline
            )


def copper(path: Path) -> list[Copper]:
    """Return all copper of a board file."""
    board = parse(path.read_text("utf-8"))
    names = {row[1]: row[2] for row in each_of(board, "net")}
    return [*pads(board), *_tracks(board, names), *_areas(board)]


def _inside(area: list[Point], at: Point) -> bool:
    x, y = at
    odd = False
    for (x0, y0), (x1, y1) in zip(area, area[1:] + area[:1], strict=True):
        if (y0 > y) != (y1 > y) and x < x0 + (y - y0) * (x1 - x0) / (y1 - y0):
            odd = not odd
    return odd


def _far(c: Copper, at: Point, q: Point) -> float:
    """Return how far a point is from the edge of a spot; negative inside. A round spot is a line with round ends."""
    dx, dy = abs(q[0] - at[0]), abs(q[1] - at[1])
    (w, h), r = c.half, min(c.half)
    if c.round:
        return math.hypot(max(dx - (w - r), 0.0), max(dy - (h - r), 0.0)) - r
    return math.hypot(max(dx - w, 0.0), max(dy - h, 0.0)) or max(dx - w, dy - h)


def _touch(a: Copper, p: Point, b: Copper, q: Point) -> bool:
    """Tell whether two spots overlap; tracks, vias and corners of areas are round, so one of the two always is."""
    if a.pin:
        a, p, b, q = b, q, a, p
    return _far(b, q, p) < a.half[0] - TOUCH


def joined(found: list[Copper]) -> list[set[int]]:
    """Return the sets of pieces (by index) that are one piece of copper."""
    parent = list(range(len(found)))

    def root(i: int) -> int:
        while parent[i] != i:
            parent[i] = parent[parent[i]]
            i = parent[i]
        return i

    for layer in COPPER:
        for i, j in _contacts(found, layer):
            parent[root(i)] = root(j)
    groups: dict[int, set[int]] = defaultdict(set)
    for i in range(len(found)):
        groups[root(i)].add(i)
    return list(groups.values())


def _contacts(found: list[Copper], layer: str) -> Iterator[tuple[int, int]]:
    squares: dict[tuple[int, int], list[tuple[int, Point]]] = defaultdict(list)
    areas = [i for i, c in enumerate(found) if c.area and layer in c.layers]
    for i, c in enumerate(found):
        if layer in c.layers:
            for p in c.points:
                squares[int(p[0] // BUCKET), int(p[1] // BUCKET)].append((i, p))
            if not c.area:  # tracks, vias and pads with full contact lie in a plane; spokes reach other pads
                yield from ((i, k) for k in areas if _inside(found[k].area, c.points[0]))
    for (sx, sy), here in squares.items():
        near = [x for dx in (0, 1) for dy in (-1, 0, 1) for x in squares.get((sx + dx, sy + dy), ())]
        for i, p in here:
            for j, q in near:
                if i != j and not (found[i].area and found[j].area) and _touch(found[i], p, found[j], q):
                    yield i, j


def nets(path: Path) -> list[set[tuple[str, str]]]:
    """Return the sets of (reference, pad) that the copper of a board file joins."""
    found = copper(path)
    return [{p for i in group if (p := found[i].pin)} for group in joined(found)]
