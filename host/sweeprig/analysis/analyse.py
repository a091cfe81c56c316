"""One capture to one analysis. Composes the parts and holds no method of its own."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sweeprig.analysis import events as ev
from sweeprig.analysis import findings as fi
from sweeprig.analysis import flats, linearity, reach, smoothness, strokes, track_map, two_tracks
from sweeprig.analysis import supply as su
from sweeprig.analysis.ends import find_end
from sweeprig.analysis.model import (
    Analysis,
    Cause,
    Code,
    Event,
    Finding,
    FloatArray,
    Plain,
    Rest,
    Stroke,
    TrackMap,
)
from sweeprig.analysis.sense import find_sense, told_wrong
from sweeprig.capture.model import BoolArray, Channel, Sense, Starts, Trace
from sweeprig.errors import InputError


@dataclass(frozen=True)
class _Moves:
    path: FloatArray
    good: BoolArray
    raw: tuple[ev.RawEvent, ...]
    rests: tuple[Rest, ...]
    strokes: tuple[Stroke, ...]
    place: FloatArray
    noise_v: float


def analyse(
    trace: Trace,
    *,
    starts: Starts,
    told_sense: Sense,
    sensor_kind: str = "unknown",
    zero_based_min_v: float | None = None,
    absolute_line: tuple[float, float] | None = None,
) -> Analysis:
    """All that `trace` shows; see docs/methods.md for each method.

    Arrays of the trace have shape (n,) and no NaN. `absolute_line`: (volts per degree, volts at 0 degrees).
    Raises InputError for a trace too short to hold a movement.
    """
    n = trace.t_s.size
    if n < 20:
        raise InputError(
            "The capture is too short to analyse.",
            seen=f"{n} windows",
            limit="20 or more",
            next_step="Sweep again.",
        )
    seen = su.look(trace.supply, nominal_v=trace.nominal_supply_v)
    rail = seen.median_v if np.isfinite(seen.median_v) and not seen.cut else trace.nominal_supply_v
    refused = reach.refused(trace, rail)
    if refused:
        return _empty(trace, seen, refused, told_sense)
    return _whole(
        trace,
        seen=seen,
        rail=rail,
        starts=starts,
        told=told_sense,
        kind=sensor_kind,
        line=(zero_based_min_v, absolute_line),
    )


def _whole(
    trace: Trace,
    *,
    seen: su.SupplySeen,
    rail: float,
    starts: Starts,
    told: Sense,
    kind: str,
    line: tuple[float | None, tuple[float, float] | None],
) -> Analysis:
    a = _moves(trace.signal_a, trace, rail)
    moved = float(np.ptp(np.quantile(a.path, (0.002, 0.998))))
    still = moved < max(0.02 * rail, 20 * a.noise_v)
    supply_raw = _supply_events(trace, rail)
    events = _events(a.raw, a, trace, rail=rail, channel=0, supply=supply_raw)
    events += _events(supply_raw, a, trace, rail=rail, channel=2, supply=())
    b = None if trace.signal_b is None else _moves(trace.signal_b, trace, rail)
    two = None
    if b is not None:
        events += _events(b.raw, a, trace, rail=rail, channel=1, supply=supply_raw)
        two = two_tracks.compare(a.path, b.path, a.good & b.good, place=a.place, supply_v=rail)
    events = tuple(sorted(events, key=lambda e: (e.start_s, e.channel)))
    map_a = None if still else _map(a, a.path, events, 0)
    map_b = None if still or b is None else _map(a, b.path, events, 1)
    supply_v = None if trace.supply is None else trace.supply.mean_v
    rests = () if still else a.rests
    ends = [
        find_end(a.path, a.good, rests, place=p, lsb_v=trace.lsb_v, supply=supply_v) for p in ("low", "high")
    ]
    ends_b = [
        None
        if b is None or still
        else find_end(b.path, b.good, b.rests, place=p, lsb_v=trace.lsb_v, supply=supply_v)
        for p in ("low", "high")
    ]
    sense, why = find_sense(a.path, rests, a.place, starts=starts, told=told)
    lin = None
    if trace.angle_deg is not None and not still:
        lin = linearity.against_angle(
            trace.angle_deg, a.path, supply_v=rail, zero_based_min_v=line[0], absolute=line[1]
        )
    found = _findings(
        trace,
        a,
        seen=seen,
        rail=rail,
        events=events,
        maps=(map_a, map_b),
        sense=sense,
        moved_v=moved if still else None,
    )
    if still and b is not None and two_tracks.joined_at_rest(a.path, b.path, supply_v=rail):
        found.append(fi.joined_tracks(float(np.median(a.path))))
    found += (
        fi.about_tracks(two) + reach.ends_apart(ends, rail) + told_wrong(a.path, a.place, rests, starts, told)
    )
    return Analysis(
        sense=sense,
        sense_evidence=why,
        low=ends[0],
        high=ends[1],
        strokes=() if still else a.strokes,
        rests=a.rests,
        events=events,
        track_map=map_a,
        track_map_b=map_b,
        two_tracks=two,
        linearity=lin,
        plain=_plain(trace),
        supply_v=seen.median_v,
        supply_min_v=seen.min_v,
        supply_max_v=seen.max_v,
        noise_v=a.noise_v,
        smoothness_percent=None if still else smoothness.departure(a.path, a.place, supply_v=rail),
        findings=tuple(found),
        not_shown=reach.not_shown(trace, len(a.strokes), ends, sense, kind),
        low_b=ends_b[0],
        high_b=ends_b[1],
    )


def _moves(channel: Channel, trace: Trace, rail: float) -> _Moves:
    raw = ev.find(channel, window_s=trace.window_s, lsb_v=trace.lsb_v, supply_v=rail)
    path, good = strokes.clean_path(channel.mean_v, raw)
    noise = strokes.noise_of(path)
    rests = strokes.find_rests(path, good, window_s=trace.window_s, lsb_v=trace.lsb_v)
    moves = strokes.find_strokes(path, noise_v=noise, window_s=trace.window_s)
    low = [r.value_v for r in rests if r.place == "low"]
    high = [r.value_v for r in rests if r.place == "high"]
    bottom, top = (float(q) for q in np.quantile(path, (0.001, 0.999)))
    place = track_map.percent_of(
        path, float(np.mean(low)) if low else bottom, float(np.mean(high)) if high else top
    )
    return _Moves(path, good, raw, rests, moves, place, noise)


def _supply_events(trace: Trace, rail: float) -> tuple[ev.RawEvent, ...]:
    if trace.supply is None:
        return ()
    return ev.find(trace.supply, window_s=trace.window_s, lsb_v=trace.lsb_v, supply_v=2 * rail)


def _events(
    raw: tuple[ev.RawEvent, ...],
    a: _Moves,
    trace: Trace,
    *,
    rail: float,
    channel: int,
    supply: tuple[ev.RawEvent, ...],
) -> tuple[Event, ...]:
    taken = np.zeros(trace.t_s.size, dtype=bool)
    for s in supply:
        taken[max(0, s.start - 1) : s.stop + 1] = True
    stroke_of = np.full(trace.t_s.size, -1)
    for k, stroke in enumerate(a.strokes):
        stroke_of[stroke.start : stroke.stop] = k
    resting = np.zeros(trace.t_s.size, dtype=bool)
    for r in a.rests:
        resting[r.start : r.stop] = True
    out = []
    for e in raw:
        mid = min((e.start + e.stop) // 2, trace.t_s.size - 1)
        out.append(
            Event(
                start_s=float(trace.t_s[e.start]),
                duration_s=e.duration_s,
                channel=channel,
                kind=_kind(e, rail),
                depth_percent=100 * abs(e.depth_v) / rail,
                at_percent=float(a.place[mid]),
                stroke=None if stroke_of[mid] < 0 else int(stroke_of[mid]),
                at_rest=bool(resting[mid]),
                with_supply=channel == 2 or bool(taken[e.start : e.stop].any()),
                score=e.score,
                end_s=float(trace.t_s[min(e.stop, trace.t_s.size) - 1]) + trace.window_s,
                upward=e.depth_v > 0,
                both_ways=e.both_ways,
            )
        )
    return tuple(out)


def _kind(e: ev.RawEvent, rail: float) -> str:
    if e.step:
        return "jump"
    if e.extreme_v < 0.05 * rail:
        return "to-ground"
    return "to-supply" if e.extreme_v > 0.95 * rail else "partial"


def _map(a: _Moves, path: FloatArray, events: tuple[Event, ...], channel: int) -> TrackMap:
    own = tuple(e for e in events if e.channel == channel and not e.with_supply)
    rest = smoothness.residual(path)
    return track_map.fold(place=a.place, residual_v=rest, strokes=a.strokes, rests=a.rests, events=own)


def _findings(
    trace: Trace,
    a: _Moves,
    *,
    seen: su.SupplySeen,
    rail: float,
    events: tuple[Event, ...],
    maps: tuple[TrackMap | None, TrackMap | None],
    sense: Sense,
    moved_v: float | None,
) -> list[Finding]:
    out = fi.about_supply(seen, events, shift_v=su.ground_shift(trace.ground_v))
    if trace.n_lost:
        text, step = f"{trace.n_lost} records are missing", "Use another cable or port and sweep again."
        out.append(
            Finding(
                Code.RECORDS_LOST, Cause.RIG, None, None, text, step, "note", {"n_lost": float(trace.n_lost)}
            )
        )
    if moved_v is not None:
        if not seen.cut:
            out.append(fi.no_movement(float(np.median(a.path)), rail, moved_v))
        return out
    out += fi.about_events(events, maps[0], channel=0) + fi.about_events(events, maps[1], channel=1)
    flat = flats.find_flats(a.place, a.strokes, window_s=trace.window_s)
    ground = 0.0 if trace.ground_v is None else float(np.median(trace.ground_v))
    pinned = flats.pinned_ends(
        trace.signal_a, a.path, supply_v=rail, ground_v=ground, window_s=trace.window_s
    )
    rough = () if maps[0] is None else smoothness.rough_places(maps[0], supply_v=rail)
    return fi.one_cause(out + fi.about_flats(flat, pinned, rough, sense), events)


def _plain(trace: Trace) -> Plain:
    return Plain(float(trace.signal_a.min_v.min()), float(trace.signal_a.max_v.max()))


def _empty(trace: Trace, seen: su.SupplySeen, findings: list[Finding], told: Sense) -> Analysis:
    return Analysis(
        sense=told,
        sense_evidence="told by the operator"
        if told is not Sense.UNKNOWN
        else "not found: no analogue signal",
        low=None,
        high=None,
        strokes=(),
        rests=(),
        events=(),
        track_map=None,
        track_map_b=None,
        two_tracks=None,
        linearity=None,
        plain=_plain(trace),
        supply_v=seen.median_v,
        supply_min_v=seen.min_v,
        supply_max_v=seen.max_v,
        noise_v=float("nan"),
        smoothness_percent=None,
        findings=tuple(findings),
        not_shown=("Ends, dropouts and track: the signal cannot be read as a position.",),
    )
