"""One signal's way through a capture: clean path, rests, strokes, place; and its events with their surroundings."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from sweeprig.analysis import events as ev
from sweeprig.analysis import strokes, track_map, unrest
from sweeprig.analysis.channel_events import channel_events
from sweeprig.analysis.coarse import is_coarse
from sweeprig.analysis.held import held_at_ends
from sweeprig.analysis.hum import Hum, least_of, noise_for_a_time, steady_noise, without_hum
from sweeprig.analysis.model import Event, FloatArray, IntArray, Rest, Stroke
from sweeprig.analysis.settle import settled
from sweeprig.analysis.stays import with_stays, without_stays
from sweeprig.analysis.stretches import Stretches, stretches
from sweeprig.analysis.sunk import sunk_at_last
from sweeprig.analysis.supply import Steady
from sweeprig.analysis.unplugged import Off, at_one_place, gone_and_back, off_runs, windows_of
from sweeprig.analysis.visits import Stop, placed, stop_of, visits_of
from sweeprig.capture.model import BoolArray, Channel, Trace

AT_REST_S = 0.03  # s between an event and the rest that it breaks off or interrupts
RINGS_ON_S = (
    0.01  # s after a burst from outside in which it dies down: five times 2 ms; own choice, no source
)
AT_REST_PERCENT = 1.0  # of span: how far the levels around such an event may be from the rest's


@dataclass(frozen=True)
class Moves:
    """One signal over a capture: its path, the rests and strokes in it, its place on the travel. Arrays (n,)."""

    path: FloatArray  # [V]
    path_steady_v: FloatArray  # [V] the path at a steady supply: what rests, strokes and places are found in
    good: BoolArray  # windows without an event
    raw: tuple[ev.RawEvent, ...]
    rests: tuple[Rest, ...]
    strokes: tuple[Stroke, ...]
    place: FloatArray  # % of travel
    span_v: float
    noise_v: float
    resting: BoolArray
    parts: Stretches  # nothing is missing inside one
    stops: tuple[Stop | None, Stop | None]  # low and high
    off: tuple[Off, ...]  # times at a rail that a jump leads to
    unrest_v: float  # [V] peak to peak, in movement
    hum: Hum | None = None  # what never stops; None: no more than usual
    stays: tuple[slice, ...] = ()  # where the lever is held at an end, however noisy
    noisy_v: float = 0.0  # [V] peak to peak, in stays at both ends; 0: no more than usual


def moves_of(channel: Channel, trace: Trace, rail: float, steady: Steady) -> Moves:
    """Return the way of one signal."""
    parts = stretches(trace.gap_before)
    raw, off = _events_of(channel, trace, rail, parts)
    away = windows_of(off, channel.mean_v.size)
    path, good = strokes.clean_path(channel.mean_v, raw, away)
    shape = steady.of(path)
    hum = _hum(channel, shape, good, trace, rail)
    calm = without_hum(shape, hum, window_s=trace.window_s, parts=parts)
    noise = strokes.noise_of(calm, parts)
    found = strokes.find_rests(
        calm,
        good,
        window_s=trace.window_s,
        lsb_v=trace.lsb_v,
        parts=parts,
        single=trace.undithered,
        off=away,
    )
    thinned = strokes.thin(calm, noise_v=noise, window_s=trace.window_s)
    rests, stops = _at_ends(found, thinned, calm, good, noise_v=strokes.noise_of(shape, parts), trace=trace)
    low, high = _span(rests, thinned.values)
    span_v = high - low
    moves = strokes.find_strokes(thinned, (low, high), noise_v=noise, window_s=trace.window_s, t_s=trace.t_s)
    place = track_map.percent_of(calm, low, high)
    resting = _resting(found, raw, calm, span_v=span_v, window_s=trace.window_s)
    own_v = unrest.in_movement(shape, moves, good=good, window_s=trace.window_s)
    stays, noisy_v = _stays(channel, shape, trace, rail)
    seen = (path, shape, good, raw, rests, moves, place, span_v, noise, resting, parts, stops, off, own_v)
    return Moves(*seen, hum=hum, stays=stays, noisy_v=noisy_v)


def _stays(channel: Channel, shape: FloatArray, trace: Trace, rail: float) -> tuple[tuple[slice, ...], float]:
    """Return where the lever is held at an end, however noisy, and the unrest that both ends show there [V]."""
    stays = held_at_ends(shape, window_s=trace.window_s)
    least_v = least_of(supply_v=rail, lsb_v=trace.lsb_v, single=trace.undithered)
    return stays, noise_for_a_time(channel, shape, stays=stays, window_s=trace.window_s, least_v=least_v)


def _hum(channel: Channel, shape: FloatArray, good: BoolArray, trace: Trace, rail: float) -> Hum | None:
    return steady_noise(
        channel,
        shape,
        good=good,
        window_s=trace.window_s,
        supply_v=rail,
        lsb_v=trace.lsb_v,
        single=trace.undithered,
    )


def _at_ends(
    found: tuple[Rest, ...],
    thinned: strokes.Thinned,
    shape: FloatArray,
    good: BoolArray,
    *,
    noise_v: float,
    trace: Trace,
) -> tuple[tuple[Rest, ...], tuple[Stop | None, Stop | None]]:
    """Return the rests with their places, those at an end without creep, and the stops."""
    standing = settled(
        found,
        visits_of(shape, thinned.turns, found),
        shape,
        good,
        noise_v=noise_v,
        window_s=trace.window_s,
        lsb_v=trace.lsb_v,
        single=trace.undithered,
    )
    visits = visits_of(shape, thinned.turns, standing)
    stops = stop_of(visits, low=True), stop_of(visits, low=False)
    return placed(standing, *stops), stops


def _events_of(
    channel: Channel, trace: Trace, rail: float, parts: Stretches
) -> tuple[tuple[ev.RawEvent, ...], tuple[Off, ...]]:
    """Return a signal's events, and the times at a rail that are longer than an event."""
    raw = ev.find(channel, window_s=trace.window_s, lsb_v=trace.lsb_v, supply_v=rail, parts=parts)
    if is_coarse(trace.window_s):
        raw = _with_gone(raw, gone_and_back(channel.mean_v, supply_v=rail, window_s=trace.window_s))
    at = {"supply_v": rail, "window_s": trace.window_s}
    off = at_one_place(off_runs(channel.mean_v, **at), channel.mean_v, **at)
    if not any(r.at_place for r in off):
        raw = with_stays(raw, channel.mean_v, **at)
        off = without_stays(off, raw, **at)
    off += sunk_at_last(channel.mean_v, trace.supply, off, supply_v=rail, window_s=trace.window_s)
    return raw, off


def ringing_on(raw: tuple[ev.RawEvent, ...], n: int, window_s: float) -> BoolArray:
    """Return the windows just after events that go both ways, shape (n,)."""
    out = np.zeros(n, dtype=bool)
    for e in raw:
        if e.both_ways:
            out[e.stop : e.stop + round(RINGS_ON_S / window_s)] = True
    return out


def _with_gone(raw: tuple[ev.RawEvent, ...], gone: tuple[ev.RawEvent, ...]) -> tuple[ev.RawEvent, ...]:
    """Return the events in order of time, those at a rail in place of what peaks show of them."""
    others = [e for e in raw if not any(e.start < g.stop and g.start < e.stop for g in gone)]
    return tuple(sorted([*others, *gone], key=lambda e: e.start))


def _span(rests: tuple[Rest, ...], thinned: FloatArray) -> tuple[float, float]:
    """Levels of both ends: of the rests there, else the extremes of the thinned path [V]."""
    low = [r.value_v for r in rests if r.place == "low"]
    high = [r.value_v for r in rests if r.place == "high"]
    return (
        float(np.mean(low)) if low else float(thinned.min()),
        float(np.mean(high)) if high else float(thinned.max()),
    )


def _resting(
    rests: tuple[Rest, ...], raw: tuple[ev.RawEvent, ...], path: FloatArray, *, span_v: float, window_s: float
) -> BoolArray:
    """Windows at rest; those of an event where it interrupts one: beside a rest, both levels around it the rest's."""
    resting = track_map.resting_windows(path.size, rests)
    near_v, within = AT_REST_PERCENT / 100 * span_v, round(AT_REST_S / window_s)
    if not rests:
        return resting
    starts = np.array([r.start for r in rests])
    for e in raw:
        k = int(np.searchsorted(starts, e.start, side="right")) - 1
        around = (path[max(0, e.start - 2)], path[min(path.size - 1, e.stop + 1)])
        for r in rests[max(0, k) : k + 2]:
            close = e.start <= r.stop + within and e.stop >= r.start - within
            if close and all(abs(v - r.value_v) <= near_v for v in around):
                resting[e.start : e.stop] = True
    return resting


def placed_events(
    raw: tuple[ev.RawEvent, ...],
    a: Moves,
    trace: Trace,
    *,
    rail: float,
    channel: int,
    supply: tuple[ev.RawEvent, ...],
) -> tuple[Event, ...]:
    """Return events with their place, their stroke and whether the lever rested, by the way of signal A."""
    stroke_of = np.full(trace.t_s.size, -1)
    for k, stroke in enumerate(a.strokes):
        stroke_of[stroke.start : stroke.stop] = k
    events = channel_events(raw, trace, rail=rail, channel=channel, supply=supply)
    return tuple(_placed(event, e, a, stroke_of) for event, e in zip(events, raw, strict=True))


def _placed(event: Event, e: ev.RawEvent, a: Moves, stroke_of: IntArray) -> Event:
    mid = min((e.start + e.stop) // 2, stroke_of.size - 1)
    return replace(
        event,
        at_percent=float(a.place[e.start]),  # where it began: a long one moves on with the lever
        to_percent=float(a.place[min(e.stop, stroke_of.size - 1)]),
        stroke=None if stroke_of[mid] < 0 else int(stroke_of[mid]),
        at_rest=bool(a.resting[mid]),
    )
