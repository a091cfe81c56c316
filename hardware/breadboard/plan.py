"""The plan of the plain build on holes: what it joins on a breadboard and on a perforated board."""

from __future__ import annotations

import re
import tomllib
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from sweeprig.frontend.nets import BOARD, BOARD_PINS, Piece, pieces

HERE = Path(__file__).parent
BUILD = "plain"
UPPER, LOWER = "abcde", "fghij"
# Rows from top to bottom in steps of 2.54 mm: three from a rail strip to row a and from row j, three across the groove.
ROWS = {"U+": 0, "U-": 1, **{r: 4 + i for i, r in enumerate(UPPER)}, **{r: 11 + i for i, r in enumerate(LOWER)},
        "L-": 18, "L+": 19}  # fmt: skip
RAIL_FIRST, RAIL_LAST, RAIL_GROUP = 3, 61, 6  # five holes, then one is missing
Pin = tuple[str, str]


@dataclass(frozen=True, order=True)
class Hole:
    """One hole, by its row's name and its column."""

    row: str
    column: int

    @property
    def xy(self) -> tuple[int, int]:
        """Column and row in steps of 2.54 mm from the upper left."""
        return self.column, ROWS[self.row]

    def __str__(self) -> str:
        return f"{self.row}{self.column}"


@dataclass(frozen=True)
class Wire:
    """A bridge on the component side."""

    a: Hole
    b: Hole


@dataclass(frozen=True)
class Step:
    """What is put in together, and the lines of first power that look at it."""

    title: str
    check: str
    places: Mapping[str, tuple[Hole, ...]]  # reference -> hole of each pin
    wires: tuple[Wire, ...]


def is_hole(at: Hole) -> bool:
    """Tell whether a breadboard has the hole: its rail strips have groups of five."""
    if len(at.row) == 1:
        return 1 <= at.column <= int(table()["columns"])
    in_group = (at.column - RAIL_FIRST) % RAIL_GROUP != RAIL_GROUP - 1
    return RAIL_FIRST <= at.column <= RAIL_LAST and in_group


def hole(text: str) -> Hole:
    """Read c28 or U+28; ValueError where a breadboard has no such hole."""
    found = re.fullmatch(r"([a-j]|[UL][+-])(\d+)", text)
    if not found:
        raise ValueError(f"{text} is no hole: a row a to j, U+, U-, L- or L+, and a column")
    at = Hole(found[1], int(found[2]))
    if not is_hole(at):
        raise ValueError(f"{text} is no hole: row {at.row} has none at column {at.column}")
    return at


@lru_cache(maxsize=1)
def table() -> Mapping[str, object]:
    """Return plan.toml as it stands."""
    return tomllib.loads((HERE / "plan.toml").read_text("utf-8"))


@lru_cache(maxsize=1)
def steps() -> tuple[Step, ...]:
    """Return the steps in the order of building."""
    out = []
    for row in table()["step"]:
        lines = [line.split() for line in row["pieces"]]
        places = {ref: tuple(map(hole, at)) for ref, *at in lines}
        wires = tuple(Wire(*map(hole, line.split())) for line in row["wires"])
        out.append(Step(row["title"], row["check"], places, wires))
    return tuple(out)


def forget() -> None:
    """Read everything anew."""
    for kept in (steps, places, net_by_hole, _by_ref):
        kept.cache_clear()


def board_holes() -> dict[str, Hole]:
    """Return the hole of each contact of the Pico class board."""
    first, (upper, lower) = int(table()["board_column"]), table()["board_rows"]
    half = BOARD_PINS // 2
    low = {str(n): Hole(lower, first + n - 1) for n in range(1, half + 1)}
    return low | {str(BOARD_PINS + 1 - n): Hole(upper, first + n - 1) for n in range(1, half + 1)}


@lru_cache(maxsize=1)
def places() -> Mapping[str, Mapping[str, Hole]]:
    """Return by reference the hole of each pin, the board's included."""
    at = {ref: holes for step in steps() for ref, holes in step.places.items()}
    found = {ref: dict(zip(p.pins, at[ref], strict=True)) for ref, p in _by_ref().items() if ref in at}
    return {BOARD: board_holes()} | found


def wires() -> list[Wire]:
    """Return every bridge."""
    return [w for step in steps() for w in step.wires]


def strip(at: Hole) -> str:
    """Return the name of the strip that a breadboard joins a hole to."""
    if len(at.row) == 2:
        return f"{at.row} {'left' if at.column <= int(table()['split_after']) else 'right'}"
    return f"{'upper' if at.row in UPPER else 'lower'} {at.column}"


def used() -> list[Hole]:
    """Return every hole that something stands in, as often as it does."""
    return [h for pins in places().values() for h in pins.values()] + [h for w in wires() for h in (w.a, w.b)]


def links(more: Iterable[Hole] = ()) -> list[Wire]:
    """Return the bare wires under a perforated board: one along every strip that has two holes or more to join.

    `more`: holes beside the used ones that a wire must reach, such as those where the meter looks.
    """
    held: dict[str, set[Hole]] = defaultdict(set)
    for at in [*used(), *more]:
        held[strip(at)].add(at)
    ends = [sorted(h, key=lambda x: x.xy) for h in held.values() if len(h) > 1]
    return [Wire(h[0], h[-1]) for h in sorted(ends, key=lambda h: h[0].xy)]


def on_link(link: Wire, at: Hole) -> bool:
    """Tell whether a hole lies on a straight wire."""
    (x0, y0), (x1, y1), (x, y) = link.a.xy, link.b.xy, at.xy
    return (x1 - x0) * (y - y0) == (y1 - y0) * (x - x0) and x0 <= x <= x1 and y0 <= y <= y1


def roots(groups: Iterable[Iterable[Hole]]) -> dict[Hole, Hole]:
    """Return for each used hole one that stands for all it is joined to, by groups of holes and all bridges."""
    parent: dict[Hole, Hole] = {h: h for h in used()}

    def root(h: Hole) -> Hole:
        while parent[h] != h:
            h = parent[h]
        return h

    for group in [*groups, *((w.a, w.b) for w in wires())]:
        first, *rest = [h for h in group if h in parent]
        for other in rest:
            parent[root(other)] = root(first)
    return {h: root(h) for h in parent}


def joined(root: Mapping[Hole, Hole]) -> list[set[Pin]]:
    """Return the sets of (reference, pin) that are joined."""
    found: dict[Hole, set[Pin]] = defaultdict(set)
    for ref, pins in places().items():
        for pin, at in pins.items():
            found[root[at]].add((ref, pin))
    return list(found.values())


def strips() -> list[list[Hole]]:
    """Return the used holes that a breadboard joins."""
    held: dict[str, list[Hole]] = defaultdict(list)
    for at in used():
        held[strip(at)].append(at)
    return list(held.values())


def on_breadboard() -> list[set[Pin]]:
    """Return what is joined by a breadboard's strips and the bridges."""
    return joined(roots(strips()))


def on_perfboard(more: Iterable[Hole] = ()) -> list[set[Pin]]:
    """Return what is joined by the wires under a perforated board and the bridges."""
    return joined(roots([h for h in used() if on_link(link, h)] for link in links(more)))


@lru_cache(maxsize=1)
def net_by_hole() -> Mapping[Hole, str]:
    """Return the net of every used hole, as the breadboard joins it."""
    root, net = roots(strips()), {}
    for ref, pins in places().items():
        for pin, at in pins.items():
            net[root[at]] = piece(ref).pins[pin]
    return {h: net[r] for h, r in root.items()}


def net_at(at: Hole) -> str:
    """Return the net of a hole, used or free, as the breadboard joins it; empty where nothing is joined to it."""
    return next((net for leg, net in net_by_hole().items() if strip(leg) == strip(at)), "")


@lru_cache(maxsize=1)
def _by_ref() -> Mapping[str, Piece]:
    return {p.ref: p for p in pieces(BUILD)}


def piece(ref: str) -> Piece:
    """Return a piece of the plain build."""
    return _by_ref()[ref]


def wrong(groups: list[set[Pin]]) -> list[str]:
    """Return where groups of joined pins differ from the table of nets, one line each."""
    net_of = {(ref, pin): net for ref, p in _by_ref().items() for pin, net in p.pins.items()}
    out, seen = [], defaultdict(list)
    for group in groups:
        nets = sorted({net_of[pin] for pin in group} - {"-"})
        if len(nets) > 1:
            out.append(f"{' and '.join(nets)} are joined")
        for net in nets:
            if not all(ref == BOARD for ref, _ in group) or net != "GND":  # the board joins its own grounds
                seen[net].append(sorted(group)[0])
    out += [f"{net} is in {len(at)} parts: at {at}" for net, at in seen.items() if len(at) > 1]
    placed = {pin for group in groups for pin in group}
    return out + [f"{ref} pin {pin} has no hole" for ref, pin in sorted(set(net_of) - placed)]
