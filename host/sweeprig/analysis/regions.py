"""Regions of travel over which a signal is disturbed from one edge to the other, stroke after stroke.

In a rough region disturbances follow one another so closely that they are one event, which begins at the lower edge
when the signal rises and at the upper edge when it falls. Where events begin then says little about place; the travel
that each stroke is disturbed over says it all: no bad contact and no noise from outside keeps to two edges. Own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sweeprig.analysis.model import Event, Span

NARROWEST_PERCENT, WIDEST_PERCENT = 2.0, 30.0  # of travel: narrower is one place, wider is no region
EDGE_PERCENT, EDGE_SHARE = 1.5, 0.2  # how far the edges of strokes may differ: of travel, and of the width
FEWEST_STROKES = 3
FEWEST_EACH_WAY = 2  # strokes of either direction that meet an edge
SHARE = 0.7  # of the strokes that met anything in movement
FILLED = 0.5  # of the strokes' disturbances at a level, and of the levels of a region
N_LOOKED = 41  # levels
BESIDE_PERCENT = 2.0  # of travel: what begins so near a region is the region's


@dataclass(frozen=True)
class Region:
    """Where a signal is disturbed in movement."""

    where: Span
    n_strokes: int  # that were disturbed from edge to edge
    n_met: int  # strokes that met anything in movement


def find_region(events: tuple[Event, ...]) -> Region | None:
    """Return the region that the strokes' events in movement span alike, up and down; None where they do not."""
    spans: dict[int, list[tuple[float, float]]] = {}
    for e in events:
        if e.stroke is not None and not e.at_rest and e.at_percent is not None and e.to_percent is not None:
            spans.setdefault(e.stroke, []).append((e.at_percent, e.to_percent))
    if len(spans) < FEWEST_STROKES:
        return None
    strokes = list(spans.values())
    return _from_edge_to_edge(strokes) or _met_at_its_edges(strokes)


def _from_edge_to_edge(spans: list[list[tuple[float, float]]]) -> Region | None:
    low = np.array([min(min(s) for s in own) for own in spans])
    high = np.array([max(max(s) for s in own) for own in spans])
    ups = np.array([sum(b - a for a, b in own) > 0 for own in spans])
    where = float(np.median(low)), float(np.median(high))
    width = where[1] - where[0]
    if not NARROWEST_PERCENT <= width <= WIDEST_PERCENT:
        return None
    near = max(EDGE_PERCENT, EDGE_SHARE * width)
    alike = (np.abs(low - where[0]) <= near) & (np.abs(high - where[1]) <= near)
    n = int(np.count_nonzero(alike))
    if n < max(FEWEST_STROKES, SHARE * len(spans)) or len(set(ups[alike].tolist())) < 2:
        return None
    return Region(where, n, len(spans)) if _filled(where, spans) else None


def _met_at_its_edges(spans: list[list[tuple[float, float]]]) -> Region | None:
    """A wide spot that rising strokes meet at its lower edge and falling ones at its upper edge, each at one place.

    What goes on for longer than the lever is over it ends anywhere; it must reach over half of the spot.
    """
    first = np.array([own[0] for own in spans])
    begins, goes = first[:, 0], first[:, 1] - first[:, 0]
    up = goes > 0
    if min(np.count_nonzero(up), np.count_nonzero(~up)) < FEWEST_EACH_WAY:
        return None
    where = float(np.median(begins[up])), float(np.median(begins[~up]))
    width = where[1] - where[0]
    if not NARROWEST_PERCENT <= width <= WIDEST_PERCENT:
        return None
    alike = np.abs(begins - np.where(up, *where)) <= EDGE_PERCENT
    alike &= np.abs(goes) >= FILLED * width
    n, each = int(np.count_nonzero(alike)), [int(np.count_nonzero(alike & way)) for way in (up, ~up)]
    enough = n >= max(FEWEST_STROKES, SHARE * len(spans)) and min(each) >= FEWEST_EACH_WAY
    return Region(where, n, len(spans)) if enough else None


def _filled(where: Span, spans: list[list[tuple[float, float]]]) -> bool:
    """Whether events lie all over a region in most strokes, and not at places at its edges."""
    at = np.linspace(*where, N_LOOKED)
    hit = [[any(min(s) <= x <= max(s) for s in own) for x in at] for own in spans]
    return bool(np.mean(np.mean(hit, axis=0) >= FILLED) >= FILLED)


def outside_of(region: Region, events: tuple[Event, ...]) -> tuple[Event, ...]:
    """Return the events that lie clear of a region, or at no place."""
    low, high = region.where[0] - BESIDE_PERCENT, region.where[1] + BESIDE_PERCENT
    return tuple(e for e in events if e.at_percent is None or not low <= e.at_percent <= high)
