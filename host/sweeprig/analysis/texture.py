"""Roughness all over, flat spots, dead bands and rough regions, from the way of the signals."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from sweeprig.analysis import findings as fi
from sweeprig.analysis import flats, renewed, smoothness
from sweeprig.analysis.hum import without_hum
from sweeprig.analysis.model import Finding, TrackMap
from sweeprig.analysis.moves import Moves
from sweeprig.analysis.pinned import pinned_ends
from sweeprig.analysis.stretches import clear_of
from sweeprig.capture.model import Sense, Trace

MOVED_ON = (
    2.0  # widths of a level of B that the lever passes at least while B stays there; own choice, no source
)


def rough_all_over(trace: Trace, a: Moves, m: Moves, *, supply_v: float) -> smoothness.RoughAll | None:
    """Whether signal `m` is rough wherever the lever, by the way of signal A, moves."""
    if trace.window_s > smoothness.SLOWEST_S or renewed.of_moves(m, lsb_v=trace.lsb_v) is not None:
        return None
    return smoothness.rough_everywhere(
        m.path_steady_v,
        a.place,
        free=m.good & clear_of(m.parts, m.path.size, 1),
        resting=a.resting,
        held=a.stays,
        supply_v=supply_v,
        lsb_v=trace.lsb_v,
    )


def regions_found(
    trace: Trace, a: Moves, track: TrackMap | None, sense: Sense, *, supply_v: float
) -> list[Finding]:
    """Flat spots, dead bands and rough regions of signal A."""
    ground = 0.0 if trace.ground_v is None else float(np.median(trace.ground_v))
    path = without_hum(a.path, a.hum, window_s=trace.window_s, parts=a.parts)
    pinned = pinned_ends(
        trace.signal_a,
        path,
        stops=a.stops,
        supply_v=supply_v,
        ground_v=ground,
        window_s=trace.window_s,
        supply=trace.supply,
    )
    rough: tuple[smoothness.Rough, ...] = ()
    if track is not None and trace.window_s <= smoothness.SLOWEST_S:
        rough = smoothness.rough_places(track, supply_v=supply_v, lsb_v=trace.lsb_v)
    return fi.about_flats(_flats(trace, a), pinned, rough, sense)


def flats_of_b(trace: Trace, a: Moves, b: Moves | None) -> list[Finding]:
    """Flat spots of signal B: it stays at a level while signal A says that the lever moves on."""
    if b is None:
        return []
    opposed = float(np.dot(a.place - a.place.mean(), b.place - b.place.mean())) < 0
    found = [f for f in _flats(trace, b) if _moved_on(f, a, b)]
    return [fi.flat_of_b(_mirrored(f) if opposed else f) for f in found]


def _mirrored(f: flats.Flat) -> flats.Flat:
    """Return a flat spot of a track that runs against the other by the places of the other."""
    return replace(f, where=(100.0 - f.where[1], 100.0 - f.where[0]))


def _flats(trace: Trace, m: Moves) -> tuple[flats.Flat, ...]:
    """Levels at which one signal stays; none where the data's own steps are too coarse for it."""
    if not flats.fine_enough(trace.lsb_v, m.span_v):
        return ()
    return flats.find_flats(
        m.place,
        m.strokes,
        window_s=trace.window_s,
        gap_before=trace.gap_before,
        unrest_percent=100 * m.unrest_v / m.span_v,
    )


def _moved_on(f: flats.Flat, a: Moves, b: Moves) -> bool:
    """Whether the lever, by signal A, passes more of its travel at a level of B than that level is wide."""
    there = (b.place >= f.where[0]) & (b.place <= f.where[1])
    parts = [slice(s.start, s.stop) for s in a.strokes if there[s.start : s.stop].any()]
    ways = [float(np.ptp(a.place[part][there[part]])) for part in parts]
    return bool(ways) and float(np.median(ways)) >= MOVED_ON * (f.where[1] - f.where[0])
