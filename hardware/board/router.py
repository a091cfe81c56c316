"""Routes the printed board on a grid of two layers: shortest path with rip-up, the same result each time.

Read: pads with their nets and sizes, holes, the outline (JSON). Written: tracks and vias in millimetres. Ground is left
to the planes; its pads on one layer get a via beside them.
"""

from __future__ import annotations

import heapq
import math
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from hardware.board.grid import BLOCKED, GRID, Grid
from hardware.board.plane import reached_together
from hardware.board.rules import CLEARANCE, TRACK, VIA, WIDE, clearance_mm
from hardware.board.search import search

VIA_R = VIA / 2
GROUND = "GND"
VIA_COST, BACK_COST, HISTORY = 12.0, 1.5, 6.0
WIDE_NETS = frozenset({"VBUS", "+5V", "PEAK", "SWITCH", "BOOST", "+6V5"})
MOST_TRIES = 3000
GROUND_AWAY = 4  # cells from the middle of a ground pad to its via, at least
GROUND_FAR = 80.0


@dataclass
class Net:
    """One net: its pads as cells, and what its tracks take."""

    name: str
    number: int
    width: float
    pads: list[list[int]] = field(default_factory=list)
    at: list[tuple[float, float]] = field(default_factory=list)
    paths: list[list[int]] = field(default_factory=list)
    taken: set[int] = field(default_factory=set)

    @property
    def away(self) -> float:
        """Return how much more than the rule this net keeps from others [mm]."""
        return max(0.0, clearance_mm(self.name) - CLEARANCE)

    @property
    def reach(self) -> int:
        """Return how many cells about its middle a track needs beyond what pads keep by themselves."""
        return math.ceil(((self.width - TRACK) / 2 + self.away - 0.02) / GRID)

    @property
    def via_reach(self) -> int:
        """Return the same for a via."""
        return math.ceil((VIA_R - TRACK / 2 + self.away - 0.02) / GRID)


@dataclass(frozen=True)
class Costs:
    """What each cell costs one net now: as a piece of track, and as a via (one entry for both layers)."""

    track: NDArray[np.float64]
    via: NDArray[np.float64]


class Router:
    """Routes all nets of one board."""

    def __init__(self, plan: dict[str, Any]) -> None:
        self.grid = Grid(plan["width"], plan["height"])
        self.nets: dict[int, Net] = {}
        self._by_name: dict[str, Net] = {}
        self.stubs: list[tuple[Net, list[int]]] = []  # ground's vias beside its pads
        self._middles: dict[int, set[int]] = {}  # cell -> nets whose tracks run through it
        for pad in plan["pads"]:
            self._add(pad)

    def _add(self, pad: dict[str, Any]) -> None:
        net = self._net(pad["net"]) if pad["net"] else None
        reach = TRACK / 2 + CLEARANCE + (net.away if net else 0.0)
        for layer in pad["layers"]:
            cells = self.grid.box(layer, pad["x"], pad["y"], pad["w"] / 2 + reach, pad["h"] / 2 + reach)
            self.grid.block(cells, net.number if net else BLOCKED)
        if net:
            net.pads.append([self.grid.cell(layer, pad["x"], pad["y"]) for layer in pad["layers"]])
            net.at.append((pad["x"], pad["y"]))

    def _net(self, name: str) -> Net:
        if name not in self._by_name:
            width = WIDE if name in WIDE_NETS else TRACK
            net = Net(name, len(self._by_name) + 1, width)
            self._by_name[name] = self.nets[net.number] = net
        return self._by_name[name]

    # ------------------------------------------------------------ search

    def _costs(self, net: Net) -> Costs:
        via = self.grid.price(net.number, net.via_reach).reshape(2, -1).max(axis=0)
        return Costs(self.grid.price(net.number, net.reach), via)

    # ------------------------------------------------------------ nets

    def _book(self, net: Net, path: list[int]) -> None:
        """Note what a path takes, clearance and half of a neighbour's track included."""
        reach = net.width / 2 + CLEARANCE + net.away + TRACK / 2
        around = VIA_R + CLEARANCE + net.away + TRACK / 2
        for before, i in pairwise([path[0], *path]):
            net.taken.update(self.grid.round(i, reach))
            if abs(before - i) == self.grid.size:
                net.taken.update(self.grid.round(i, around))
                net.taken.update(self.grid.round(before, around))
            self._middles.setdefault(i, set()).add(net.number)
        net.paths.append(path)

    def rip(self, net: Net) -> None:
        """Take a net's tracks away."""
        self.grid.remove(net.taken, net.number)
        for path in net.paths:
            for i in path:
                self._middles.get(i, set()).discard(net.number)
        net.paths, net.taken = [], set()

    def connect(self, net: Net) -> bool:
        """Join all pads of a net, the nearest first; of ground those that no plane reaches."""
        groups = self._plane(net) if net.name == GROUND else [[i] for i in range(len(net.pads))]
        cells = [{c for i in group for c in net.pads[i]} for group in groups]
        tree, left, costs = cells[0], cells[1:], self._costs(net)
        while left:
            path = search(costs.track, costs.via, tree, set().union(*left), columns=self.grid.columns, back=BACK_COST,
                          via_cost=VIA_COST)  # fmt: skip
            if path is None:
                return False
            self._book(net, path)
            reached = next(group for group in left if path[-1] in group)
            tree |= {*path, *reached}
            left.remove(reached)
        return True

    def _plane(self, net: Net) -> list[list[int]]:
        vias = [path[-1] for owner, path in self.stubs if owner is net]
        return reached_together(self.grid, net.number, net.pads, vias, reach=0)

    def crossed(self, net: Net) -> set[int]:
        """Return the nets that this one's tracks come too near, and remember where."""
        found: set[int] = set()
        for path in net.paths:
            for i in path:
                for number in self.grid.owners.get(i, ()):
                    if number != net.number:
                        found.add(number)
                        self.grid.history[i] += HISTORY
        for i in net.taken:
            found |= self._middles.get(i, set())
        return found - {net.number}

    def route(self) -> list[str]:
        """Route every net, ground last: its tracks go where its planes are; return those that did not come through."""
        queue = sorted(self.nets.values(), key=lambda n: (n.name == GROUND, _length(n)))
        failed: list[str] = []
        for turn in range(MOST_TRIES):
            if not queue:
                break
            net = queue.pop(0 if queue[0].name != GROUND or len(queue) == 1 else 1)
            if not self.connect(net):
                failed.append(net.name)
            ripped = self.crossed(net)
            for number in sorted(ripped):
                self.rip(self.nets[number])
                queue.append(self.nets[number])
            self.grid.put(net.taken, net.number)
            if turn % 25 == 0 or net.name == GROUND:
                print(f"turn {turn}: {len(queue)} nets to go, {net.name} {len(net.paths)}", flush=True)
        return failed + [n.name for n in queue]

    # ------------------------------------------------------------ ground

    def ground(self) -> list[str]:
        """Give every ground pad of one layer a via to the plane; return those that have none."""
        net, missing = self._by_name[GROUND], []
        for pad, at in zip(net.pads, net.at, strict=True):
            if len(pad) == 1 and not self._via_beside(net, pad[0]):
                missing.append(f"{GROUND} at {at}")
        return missing

    def _via_beside(self, net: Net, start: int) -> bool:
        costs = self._costs(net)
        heap: list[tuple[float, int, list[int]]] = [(0.0, start, [start])]
        seen: set[int] = set()
        while heap:
            cost, i, path = heapq.heappop(heap)
            if i in seen or cost > GROUND_FAR:
                continue
            seen.add(i)
            if len(path) > GROUND_AWAY and costs.via[i % self.grid.size] == 0.0:
                self._keep(net, [*path, (i + self.grid.size) % (2 * self.grid.size)])
                return True
            for j in (i - 1, i + 1, i - self.grid.columns, i + self.grid.columns):
                if costs.track[j] == 0.0:
                    heapq.heappush(heap, (cost + 1, j, [*path, j]))
        return False

    def _keep(self, net: Net, path: list[int]) -> None:
        """Hold a path for good: nothing may push it away later."""
        self._book(net, path)
        self.grid.block(net.taken, net.number)
        self.stubs.append((net, path))
        net.paths, net.taken = [], set()

    # ------------------------------------------------------------ result

    def result(self) -> dict[str, Any]:
        """Return tracks (net, layer, x, y, x, y, width) and vias (net, x, y)."""
        tracks: list[list[Any]] = []
        vias: list[list[Any]] = []
        for net in self.nets.values():
            held = net.paths + [path for owner, path in self.stubs if owner is net]
            for path in held:
                tracks += self._segments(net, path)
                vias += [
                    [net.name, *self.grid.at(a)[1:]]
                    for a, b in pairwise(path)
                    if abs(a - b) == self.grid.size
                ]
            tracks += self._into_pads(net, {i for path in held for i in path})
        return {"tracks": tracks, "vias": vias}

    def _segments(self, net: Net, path: list[int]) -> list[list[Any]]:
        """Return a path as straight tracks."""
        out: list[list[Any]] = []
        start = 0
        for k in range(1, len(path)):
            step = path[k] - path[k - 1]
            if abs(step) == self.grid.size:
                start = k
            elif k + 1 == len(path) or path[k + 1] - path[k] != step:
                layer, x0, y0 = self.grid.at(path[start])
                out.append([net.name, layer, x0, y0, *self.grid.at(path[k])[1:], net.width])
                start = k
        return out

    def _into_pads(self, net: Net, used: set[int]) -> list[list[Any]]:
        """From the cell where a path ends to the very middle of its pad."""
        out: list[list[Any]] = []
        for cells, (x, y) in zip(net.pads, net.at, strict=True):
            for i in cells:
                layer, cx, cy = self.grid.at(i)
                if i in used and max(abs(cx - x), abs(cy - y)) > GRID / 1000:
                    out.append([net.name, layer, cx, cy, x, y, TRACK])
        return out


def _length(net: Net) -> tuple[float, str]:
    xs, ys = [x for x, _ in net.at], [y for _, y in net.at]
    return max(xs) - min(xs) + max(ys) - min(ys), net.name


def routed(plan: dict[str, Any]) -> dict[str, Any]:
    """Route the board of a plan; the result has tracks and vias. SystemExit where a net does not come through."""
    router = Router(plan)
    missing = router.ground() + router.route()
    if missing:
        raise SystemExit(f"no way found for {', '.join(missing)}: move pieces in placement.toml")
    return router.result()
