"""The cheapest path of one net over the router's grid: A*, compiled by numba (a second instead of minutes)."""

from __future__ import annotations

import heapq
from typing import Any

import numpy as np
from numba import njit

SLANT = 1.414


@njit(cache=False)  # type: ignore[untyped-decorator]
def _ahead(i: int, size: int, columns: int, box: Any) -> float:
    """Return the least that is left to go from a cell to the box about all ends: top, bottom, left, right."""
    r, c = divmod(i % size, columns)
    dr = max(box[0] - r, r - box[1], 0)
    dc = max(box[2] - c, c - box[3], 0)
    return dr + dc - (2 - SLANT) * min(dr, dc)


@njit(cache=False)  # type: ignore[untyped-decorator]
def _best(  # noqa: PLR0917
    track: Any, via: Any, starts: Any, ends: Any, box: Any, columns: int, back: float, via_cost: float
) -> Any:
    """Return (cell reached or -1, cell before each cell). `ends`: 1 at cells that end the search."""
    size = via.size
    best = np.full(track.size, np.inf)
    came = np.full(track.size, -1, dtype=np.int64)
    done = np.zeros(track.size, dtype=np.uint8)
    steps = np.array([-1, 1, -columns, columns, -columns - 1, -columns + 1, columns - 1, columns + 1])
    heap = [(0.0, -1)]
    heapq.heappop(heap)
    for i in starts:
        best[i] = 0.0
        heapq.heappush(heap, (_ahead(i, size, columns, box), i))
    while heap:
        i = heapq.heappop(heap)[1]
        if done[i]:
            continue
        if ends[i]:
            return i, came
        done[i] = 1
        weight = back if i >= size else 1.0
        for k in range(9):
            j = i + steps[k] if k < 8 else (i - size if i >= size else i + size)
            price = track[j] if k < 8 else via[i % size]
            length = (weight if k < 4 else SLANT * weight) if k < 8 else via_cost
            total = best[i] + length + price
            if total < best[j] and not done[j]:
                best[j] = total
                came[j] = i
                heapq.heappush(heap, (total + _ahead(j, size, columns, box), j))
    return -1, came


def search(
    track: np.ndarray,
    via: np.ndarray,
    starts: set[int],
    ends: set[int],
    *,
    columns: int,
    back: float,
    via_cost: float,
) -> list[int] | None:
    """Return the cheapest path from a start to an end; None where there is none.

    `track` is what each cell costs (two layers), `via` what a via costs at each place; `back` weighs the second layer.
    """
    at = np.array(sorted(ends), dtype=np.int64)
    rows, cols = np.divmod(at % via.size, columns)
    box = np.array([rows.min(), rows.max(), cols.min(), cols.max()])
    mask = np.zeros(track.size, dtype=np.uint8)
    mask[at] = 1
    reached, came = _best(
        track, via, np.array(sorted(starts), dtype=np.int64), mask, box, columns, back, via_cost
    )
    if reached < 0:
        return None
    path = [int(reached)]
    while came[path[-1]] >= 0:
        path.append(int(came[path[-1]]))
    return path[::-1]
