"""What the lever's own way hides on its track, each with what to do."""

from __future__ import annotations

import math

from sweeprig.analysis import dips, flats, renewed
from sweeprig.analysis.model import Span
from sweeprig.analysis.moves import Moves
from sweeprig.analysis.smoothness import SLOWEST_S
from sweeprig.capture.model import Trace

MOST_SPANS = 3  # places that a text names


def hidden_by_the_lever(trace: Trace, m: Moves) -> tuple[str, ...]:
    """What of one signal's track could not show where the lever starts, stops, waits or sticks."""
    stays = 0.0
    spans: tuple[Span, ...] = ()
    one_way: list[str] = []
    if flats.fine_enough(trace.lsb_v, m.span_v):
        stays = flats.stays_per_stroke(
            m.place, m.strokes, window_s=trace.window_s, gap_before=trace.gap_before
        )
    if trace.window_s <= SLOWEST_S:  # readings further apart show no shallow dip at all
        spans = dips.unlooked(m.place, m.strokes, gap_before=trace.gap_before)
        one_way = _one_way(trace, m)
    return (*_renewed(trace, m), *_sticking(stays), *_restless(m), *one_way, *_unlooked(spans))


def _one_way(trace: Trace, m: Moves) -> list[str]:
    """Dips in strokes of one direction only that are too shallow for a doubt."""
    falling = bool(m.strokes) and (m.place[m.strokes[0].stop - 1] > m.place[m.strokes[0].start]) != (
        m.strokes[0].direction > 0
    )
    found = dips.one_way(
        100.0 - m.place if falling else m.place,
        m.strokes,
        gap_before=trace.gap_before,
        span_v=m.span_v,
        supply_v=trace.nominal_supply_v,
        least_v=dips.least_of(trace.lsb_v, single=trace.undithered),
    )
    found = tuple(d for d in found if d.depth_v < dips.ONE_WAY_PERCENT / 100 * trace.nominal_supply_v)
    return [_one_way_text(dips.mirrored(d) if falling else d) for d in found]


def _one_way_text(d: dips.Dip) -> str:
    return (
        f"A dip in one direction: signal A reads {d.depth_v * 1e3:z.0f} mV low between {d.where[0]:.1f} and "
        f"{d.where[1]:.1f} % of travel in {d.n_seen} of {d.n_strokes} {d.which} only. A hand that slows there does the "
        "same. Sweep again at another pace: if it stays there, the track is worn."
    )


def _renewed(trace: Trace, m: Moves) -> list[str]:
    every = renewed.of_moves(m, lsb_v=trace.lsb_v) if trace.window_s <= SLOWEST_S else None
    if every is None:
        return []
    return [
        f"Roughness all over: the sensor's output is renewed every {1e3 * every * trace.window_s:.1f} ms and stays "
        "equal between, so it moves in steps. Ask for the sensor's type: a Hall sensor may have a clock of its own."
    ]


def _restless(m: Moves) -> list[str]:
    percent = flats.UNREST * 100 * m.unrest_v / max(m.span_v, 1e-9)
    if percent <= flats.NARROWEST_PERCENT or not m.strokes:
        return []
    return [
        f"Flat spots narrower than {percent:.1f} % of travel: noise of {m.unrest_v * 1e3:z.0f} mV hides them "
        "while the lever moves. (A flat spot: the signal does not change while the lever moves.) Keep "
        "motors, chargers and mains away from the leads, and sweep again."
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
        "the lever starts, stops or waits there. Full dropouts there are still found. To see more, move it slowly and "
        "evenly."
    ]
