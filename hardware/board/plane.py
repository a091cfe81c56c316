"""Which ground pads a plane reaches, on the router's grid."""

from __future__ import annotations

from collections import defaultdict

import numpy as np
from scipy import ndimage

from hardware.board.grid import Grid


def reached_together(
    grid: Grid, number: int, pads: list[list[int]], vias: list[int], *, reach: int
) -> list[list[int]]:
    """Return the pads (by index) that free copper joins, the largest group first.

    A plane goes where a cell with `reach` cells about it is free; pads with holes and vias join both layers.
    """
    free = grid.price(number, reach).reshape(2, grid.rows, grid.columns) == 0.0
    labels = np.concatenate([_label(free[0], 0).reshape(-1), _label(free[1], 10**6).reshape(-1)])
    parent: dict[int, int] = {}

    def root(i: int) -> int:
        while parent.setdefault(i, i) != i:
            i = parent[i]
        return i

    through = [[via % grid.size, via % grid.size + grid.size] for via in vias]
    spots = [[int(labels[i]) for i in cells] for cells in pads + through]
    for k, spot in enumerate(spots):
        for label in spot:
            if label % 10**6:
                parent[root(label)] = root(-1 - k)
    groups: dict[int, list[int]] = defaultdict(list)
    for k in range(len(pads)):
        groups[root(-1 - k)].append(k)
    return sorted(groups.values(), key=lambda g: (-len(g), g))


def _label(free: np.ndarray, offset: int) -> np.ndarray:
    found, _ = ndimage.label(free, structure=np.ones((3, 3)))
    return np.where(found > 0, found + offset, 0)
