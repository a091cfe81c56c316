"""What the lever's own way hides on its track, each with what to do."""

from __future__ import annotations

import math

from sweeprig.analysis import dips, flats
from sweeprig.analysis.model import Span
from sweeprig.analysis.moves import Moves
from sweeprig.analysis.smoothness import SLOWEST_S
from sweeprig.capture.model import Trace

MOST_SPANS = 3  # places that a text names


def hidden_by_the_lever(trace: Trace, m: Moves) -> tuple[str, ...]:
    """What of one signal's track could not show where the lever starts, stops, waits or sticks."""
    stays = 0.0
    spans: tuple[Span, ...] = ()
    if flats.fine_enough(trace.lsb_v, m.span_v):
        stays = flats.stays_per_stroke(
            m.place, m.strokes, window_s=trace.window_s, gap_before=trace.gap_before
        )
    if trace.window_s <= SLOWEST_S:  # readings further apart show no shallow dip at all
        spans = dips.unlooked(m.place, m.strokes, gap_before=trace.gap_before)
    return (*_sticking(stays), *_restless(m), *_unlooked(spans))


def _restless(m: Moves) -> list[str]:
    percent = flats.UNREST * 100 * m.unrest_v / max(m.span_v, 1e-9)
    if percent <= flats.NARROWEST_PERCENT or not m.strokes:
        return []
    return [
        f"Flat spots narrower than {percent:.1f} % of travel: the signal goes to and fro by {m.unrest_v * 1e3:z.0f} mV "
        "while it moves. Keep motors, chargers and mains away from the leads, and sweep again."
    ]


def _sticking(stays: float) -> list[str]:
    if stays < flats.STICKS:
        return []
    return [
        f"Flat spots: the lever stops at some {stays:.0f} places in a stroke, and a flat spot looks the same. "
        "Move it more evenly."
    ]


def _unlooked(spans: tuple[Span, ...]) -> list[str]:
    if not spans:
        return []
    where = ", ".join(f"{math.floor(a)} to {math.ceil(b)}" for a, b in spans[:MOST_SPANS])
    more = f" and {len(spans) - MOST_SPANS} more places" if len(spans) > MOST_SPANS else ""
    return [
        f"Shallow dips at {where} % of travel{more}, and flat spots within {flats.EDGE_PERCENT:.0f} % of either end: "
        "the lever starts, stops or waits there. Dropouts would show there too. To see more, move it slowly and evenly."
    ]
