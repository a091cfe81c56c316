"""The grid that the printed board is routed on: who owns which cell. Two layers, millimetres outside."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

GRID = 0.25
EDGE = 0.8
BLOCKED = -1
CROSS_COST = 12.0  # of a cell that another net's track takes, in cells of way


class Grid:
    """`fixed` belongs to pads (0 free, BLOCKED nobody's, else a net); `count`: how many nets' tracks take a cell."""

    def __init__(self, width: float, height: float) -> None:
        self.columns, self.rows = round(width / GRID) + 1, round(height / GRID) + 1
        self.size = self.columns * self.rows
        self.fixed = np.zeros(2 * self.size, dtype=np.int32)
        self.count = np.zeros(2 * self.size, dtype=np.int32)
        self.history = np.zeros(2 * self.size)
        self.owners: dict[int, set[int]] = {}
        margin = math.ceil(EDGE / GRID)
        both = self.fixed.reshape(2, self.rows, self.columns)
        both[:, :margin] = both[:, -margin:] = both[:, :, :margin] = both[:, :, -margin:] = BLOCKED

    def cell(self, layer: int, x: float, y: float) -> int:
        """Return the cell nearest to a point [mm]."""
        return layer * self.size + round(y / GRID) * self.columns + round(x / GRID)

    def at(self, i: int) -> tuple[int, float, float]:
        """Return (layer, x, y) of a cell [mm]."""
        layer, rest = divmod(i, self.size)
        r, c = divmod(rest, self.columns)
        return layer, c * GRID, r * GRID

    def box(self, layer: int, x: float, y: float, half_w: float, half_h: float) -> list[int]:
        """Return the cells of a box about a point [mm]."""
        first, last = math.ceil((x - half_w) / GRID), math.floor((x + half_w) / GRID)
        out: list[int] = []
        for r in range(math.ceil((y - half_h) / GRID), math.floor((y + half_h) / GRID) + 1):
            if 0 <= r < self.rows:
                start = layer * self.size + r * self.columns
                out += range(start + max(first, 0), start + min(last, self.columns - 1) + 1)
        return out

    def round(self, i: int, radius: float) -> list[int]:
        """Return the cells within a circle about a cell [mm]."""
        layer, x, y = self.at(i)
        near = self.box(layer, x, y, radius, radius)
        return [j for j in near if math.hypot(self.at(j)[1] - x, self.at(j)[2] - y) <= radius]

    def block(self, cells: Iterable[int], number: int) -> None:
        """Give cells to a net's pad; cells of two nets are nobody's."""
        for i in cells:
            self.fixed[i] = number if self.fixed[i] in (0, number) else BLOCKED

    def put(self, cells: set[int], number: int) -> None:
        """Add a net's tracks."""
        for i in cells:
            self.owners.setdefault(i, set()).add(number)
            self.count[i] = len(self.owners[i])

    def remove(self, cells: set[int], number: int) -> None:
        """Take a net's tracks away."""
        for i in cells:
            self.owners[i].discard(number)
            self.count[i] = len(self.owners[i])

    def price(self, number: int, reach: int) -> NDArray[np.float64]:
        """Return what each cell costs a net with `reach` cells about it: inf where a pad of another net stands."""
        taken = (CROSS_COST + self.history) * self.count
        taken[(self.fixed != 0) & (self.fixed != number)] = np.inf
        worst = taken.reshape(2, self.rows, self.columns)
        for axis in (1, 2):
            worst = _spread(worst, axis, reach)
        return worst.reshape(-1)


def _spread(values: NDArray[np.float64], axis: int, reach: int) -> NDArray[np.float64]:
    """Return the most within `reach` cells along one axis."""
    out = values.copy()
    for shift in range(1, reach + 1):
        ahead, behind = np.roll(values, -shift, axis), np.roll(values, shift, axis)
        out = np.maximum(
            out, np.maximum(ahead, behind)
        )  # the border is blocked: what comes round matters to none
    return out
