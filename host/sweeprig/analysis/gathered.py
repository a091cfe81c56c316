"""The one place that most strokes met something at."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sweeprig.analysis.model import Event, FloatArray, Span

SAME_PLACE_PERCENT = 3.0
TIGHT_PERCENT = 1.0
REGION_GAP_PERCENT = 1.5  # of span from one event of a region to the next
REGION_PERCENT = 18.0  # of span: more is no place
MOST_TRIED = 200  # events around which a place is looked for
MOST_TIGHT = 0.7  # of the strokes of the wider set, from which the tight one decides


@dataclass(frozen=True)
class Gathered:
    """Where events gather."""

    where: Span
    n_events: int
    n_strokes: int


def gathered_of(own: tuple[Event, ...]) -> Gathered | None:
    """The place that most strokes met something at, and how far it reaches.

    Strokes within TIGHT_PERCENT of one event decide, then those within SAME_PLACE_PERCENT; it reaches as far as
    the wider set only where that holds clearly more strokes, so that events from elsewhere do not blur it.
    """
    placed = [(e.at_percent, -1 if e.stroke is None else e.stroke) for e in own if e.at_percent is not None]
    if not placed:
        return None
    place, stroke = np.array([p for p, _ in placed]), np.array([k for _, k in placed])

    def strokes_near(at: float, reach: float) -> int:
        return int(np.unique(stroke[(np.abs(place - at) <= reach) & (stroke >= 0)]).size)

    tried = place[:MOST_TRIED].tolist()
    keys = [(strokes_near(at, TIGHT_PERCENT), strokes_near(at, SAME_PLACE_PERCENT)) for at in tried]
    tight, wide = max(keys)
    reach = TIGHT_PERCENT if tight >= max(2, MOST_TIGHT * wide) else SAME_PLACE_PERCENT
    near = place[np.abs(place - tried[keys.index((tight, wide))]) <= reach]
    where = _grown(place, (float(near.min()), float(near.max())))
    return Gathered(where, near.size, tight if reach == TIGHT_PERCENT else wide)


def _grown(place: FloatArray, where: Span) -> Span:
    """Reach on to events not far from one another, as in a region; not where that goes on too long."""
    ordered = np.sort(place)
    low, high = where
    for v in ordered[ordered > high].tolist():
        high = v if v - high <= REGION_GAP_PERCENT else high
    for v in ordered[ordered < low][::-1].tolist():
        low = v if low - v <= REGION_GAP_PERCENT else low
    return (low, high) if high - low <= REGION_PERCENT else where


def inside(e: Event, where: Span) -> bool:
    """Whether an event is at a place, give or take 2 % of travel."""
    return e.at_percent is not None and where[0] - 2 <= e.at_percent <= where[1] + 2
