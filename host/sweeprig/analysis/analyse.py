"""One capture to one analysis. Calls the parts in their order; no algorithm is here."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from sweeprig.analysis import (
    both_tracks,
    dips,
    grain,
    linearity,
    reach,
    repeated,
    second_ends,
    smoothness,
    texture,
    track_map,
)
from sweeprig.analysis import findings as fi
from sweeprig.analysis import moves as mv
from sweeprig.analysis import supply as su
from sweeprig.analysis.angle_noise import despiked
from sweeprig.analysis.channel_events import supply_raw
from sweeprig.analysis.event_findings import about_events
from sweeprig.analysis.hidden import hidden_by_the_lever
from sweeprig.analysis.late_angle import late_s
from sweeprig.analysis.model import (
    Analysis,
    Code,
    End,
    Event,
    Finding,
    LinearityResult,
    Span,
    Stroke,
    TrackMap,
)
from sweeprig.analysis.no_movement import STILL_SHARE, no_movement, stays_at_rail
from sweeprig.analysis.noisy_end import find_noisy_ends
from sweeprig.analysis.one_end import kept_to_one_end
from sweeprig.analysis.sense import Given, find_sense, sense_conflict
from sweeprig.analysis.stretches import clear_of
from sweeprig.analysis.strokes import clean_path
from sweeprig.analysis.unplugged import without_off_edges
from sweeprig.capture.model import Sense, Starts, Trace
from sweeprig.errors import AnalysisError


@dataclass(frozen=True)
class _Seen:
    """What is known before the findings."""

    a: mv.Moves
    b: mv.Moves | None
    events: tuple[Event, ...]
    supply: su.SupplySeen
    rail: float
    moved_v: float
    still: bool
    both: both_tracks.Both
    maps: tuple[TrackMap | None, TrackMap | None]


def analyse(
    trace: Trace,
    *,
    starts: Starts,
    given_sense: Sense,
    sensor_kind: str = "unknown",
) -> Analysis:
    """All that `trace` shows; see docs/methods.md for each method.

    Arrays of the trace have shape (n,) and no NaN.
    Raises AnalysisError for a trace too short to hold a movement.
    """
    trace = trace.usable()
    n = trace.t_s.size
    if n < 20:
        raise AnalysisError(
            "The capture is too short to analyse.",
            seen=f"{n} windows",
            limit="20 or more",
            next_step="Sweep again.",
        )
    seen = su.look(trace.supply, nominal_v=trace.nominal_supply_v, window_s=trace.window_s)
    rail = seen.median_v if np.isfinite(seen.median_v) and not seen.cut else trace.nominal_supply_v
    refused = reach.refused(trace, rail)
    if refused:
        return reach.empty(trace, seen, refused, given_sense)
    return _whole(
        trace,
        seen=seen,
        rail=rail,
        starts=starts,
        given=given_sense,
        kind=sensor_kind,
    )


def _whole(
    trace: Trace,
    *,
    seen: su.SupplySeen,
    rail: float,
    starts: Starts,
    given: Sense,
    kind: str,
) -> Analysis:
    s, (sense, why, wrong) = _look(trace, seen, rail, starts, given)
    ends, ends_b = _ends(trace, s.a, s.still), _ends(trace, s.b, s.still)
    found = _findings(trace, s, sense)
    found = both_tracks.without_ends_of_stuck(found + _ends_apart(trace, s, ends, ends_b, sense)) + wrong
    line = _linearity(trace, s)
    found += linearity.dead_angles(line, sense)
    return Analysis(
        sense=sense,
        sense_evidence=why,
        low=ends[0],
        high=ends[1],
        strokes=_strokes(s),
        rests=s.a.rests,
        events=s.events,
        track_map=s.maps[0],
        track_map_b=s.maps[1],
        two_tracks=s.both.two,
        linearity=line,
        plain=reach.plain(trace),
        supply_v=seen.median_v,
        noise_v=s.a.noise_v,
        smoothness_percent=_smoothness(s),
        findings=tuple(found),
        not_shown=(
            *reach.not_shown(trace, _strokes(s), ends, sense, kind, span_v=s.a.span_v, line=line),
            *(() if s.still else hidden_by_the_lever(trace, s.a)),
        ),
        low_b=ends_b[0],
        high_b=ends_b[1],
    )


def _smoothness(s: _Seen) -> float | None:
    clear = clear_of(s.a.parts, s.a.path.size, 4)
    return (
        None if s.still else smoothness.departure(s.a.path_steady_v, s.a.place, clear=clear, supply_v=s.rail)
    )


def _ends_apart(
    trace: Trace, s: _Seen, ends: list[End | None], ends_b: list[End | None], sense: Sense
) -> list[Finding]:
    """Ends that differ from rest to rest though neither supply nor ground made them; track B's where A's do not."""
    if s.still or su.ground_shift(trace.ground_v) > su.GROUND_SHIFT_V:
        return []
    found = repeated.of_track(trace, s.a, ends, sense, s.rail)
    if s.b is None or s.both.two is None or s.both.joined_runs or s.both.bridge is not None:
        return found
    second = repeated.of_second(trace, s.b, ends_b, sense, supply_v=s.rail, two=s.both.two)
    sure = [f for f in second if f.severity == "fault"]
    return found + (sure if found and found[0].severity != "fault" else [] if found else second)


def _strokes(s: _Seen) -> tuple[Stroke, ...]:
    return () if s.still else s.a.strokes


def _look(
    trace: Trace, seen: su.SupplySeen, rail: float, starts: Starts, given: Sense
) -> tuple[_Seen, tuple[Sense, str, list[Finding]]]:
    """What both tracks did, and the sense with its evidence; places count from closed where the sense is known."""
    bridged = None
    if trace.supply is not None:
        bridged, _ = clean_path(trace.supply.mean_v, supply_raw(trace, rail))
    steady = su.steady_of(
        trace.supply, seen, bridged, level_v=rail, window_s=trace.window_s, in_turn=trace.single
    )
    a = mv.moves_of(trace.signal_a, trace, rail, steady)
    b = None if trace.signal_b is None else mv.moves_of(trace.signal_b, trace, rail, steady)
    low, high = (float(q) for q in np.quantile(a.path, (0.002, 0.998)))
    still = high - low < max(STILL_SHARE * rail, 20 * a.noise_v) or stays_at_rail(low, high, rail)
    rests = () if still else a.rests
    said = Given(starts, given, missing_s=trace.n_lost_before * trace.window_s, window_s=trace.window_s)
    sense, why = find_sense(rests, a.place, said)
    wrong = sense_conflict(rests, a.place, said)
    if sense is Sense.FALLING:
        a = replace(a, place=100.0 - a.place)
    both = both_tracks.look(trace, a, b, supply_v=rail)
    if b is not None and both.two is not None:
        b = second_ends.at_the_stops(b, a, slope=both.two.slope, trace=trace)
    events = _events(trace, a, b, rail, both)
    maps: tuple[TrackMap | None, TrackMap | None] = (None, None)
    if still:  # nothing moved, so no event has a place
        events = tuple(
            replace(e, at_percent=None, to_percent=None, stroke=None, at_rest=True) for e in events
        )
    else:
        maps = _map(a, a, events, 0, trace.window_s), _map(a, b, events, 1, trace.window_s)
    return _Seen(a, b, events, seen, rail, high - low, still, both, maps), (sense, why, wrong)


def _events(
    trace: Trace, a: mv.Moves, b: mv.Moves | None, rail: float, both: both_tracks.Both
) -> tuple[Event, ...]:
    supply = supply_raw(trace, rail)
    own = both_tracks.without_joints(without_off_edges(a.raw, a.off), both.joined_runs)
    found = mv.placed_events(own, a, trace, rail=rail, channel=0, supply=supply)
    found += mv.placed_events(supply, a, trace, rail=rail, channel=2, supply=())
    if b is not None:
        own = both_tracks.without_joints(without_off_edges(b.raw, b.off), both.joined_runs)
        found += mv.placed_events(own, a, trace, rail=rail, channel=1, supply=supply)
    return tuple(sorted(found, key=lambda e: (e.start_s, e.channel)))


def _map(
    a: mv.Moves, own: mv.Moves | None, events: tuple[Event, ...], channel: int, window_s: float
) -> TrackMap | None:
    """The track map of one signal over the place of signal A."""
    if own is None:
        return None
    mine = tuple(e for e in events if e.channel == channel and not e.with_supply)
    return track_map.fold(
        place=a.place,
        path=own.path_steady_v,
        strokes=a.strokes,
        resting=a.resting,
        events=mine,
        parts=a.parts,
        ringing=mv.ringing_on(own.raw, a.place.size, window_s),
    )


def _ends(trace: Trace, m: mv.Moves | None, still: bool) -> list[End | None]:
    return [None, None] if m is None or still else repeated.ends_of(trace, m)


def _linearity(trace: Trace, s: _Seen) -> LinearityResult | None:
    if trace.angle_deg is None or s.still:
        return None
    angle_deg = despiked(trace.angle_deg)
    line = linearity.against_angle(angle_deg, s.a.path, supply_v=s.rail)
    if line is None:
        return None
    return replace(line, late_s=late_s(angle_deg, s.a.path, t_s=trace.t_s, supply_v=s.rail))


def _findings(trace: Trace, s: _Seen, sense: Sense) -> list[Finding]:
    out = fi.about_supply(s.supply, s.events, shift_v=su.ground_shift(trace.ground_v))
    out += reach.about_records(trace)
    if s.both.joined:
        out.append(fi.joined_tracks(float(np.median(s.a.path))))
    elif s.still and not s.supply.cut:
        still = no_movement(float(np.median(s.a.path)), s.rail, s.moved_v)
        out.append(reach.at_rest_so_far(still, trace))
        if still.code is Code.NO_MOVEMENT:
            out += [
                f for channel in (0, 1) for f in about_events(s.events, None, channel=channel, rough=None)
            ]
    if s.still or s.both.joined:
        return out
    for channel, m in ((0, s.a), (1, s.b)):
        out += [] if m is None else fi.about_off(m.off, trace, channel, s.a.place)
    regions = texture.regions_found(trace, s.a, s.maps[0], sense, supply_v=s.rail)
    regions += texture.flats_of_b(trace, s.a, s.b)
    own = fi.one_cause(regions, s.events)
    spans = tuple(f.where_percent for f in own if f.code is Code.ROUGH_TRACK and f.where_percent is not None)
    both = (s.a,) if s.b is None else (s.a, s.b)
    grains = grain.of_signals(trace, both, supply_v=s.rail)
    rough = tuple(grain.sure_spans(g) + (() if k else spans) for k, g in enumerate(grains))
    track = fi.one_cause(_events_found(trace, s, rough) + regions, s.events)
    track = grain.with_grains(track, grains)
    track += find_noisy_ends(trace, both, out + track, supply_v=s.rail)
    for channel, m in enumerate(both):
        track += [] if m.hum is None else fi.about_hum(m.hum.peak_v, out + track, channel)
        track += fi.about_noise_for_a_time(m.noisy_v, out + track, channel)
    if not any(f.code is Code.INTERFERENCE for f in out + track):
        for channel, dip in dips.of_signals(trace, both, falling=sense is Sense.FALLING, supply_v=s.rail):
            track += fi.about_dip(dip, track, channel, supply_v=s.rail)
    return out + both_tracks.beside(track, both_tracks.findings_of(s.both, trace, supply_v=s.rail))


def _events_found(trace: Trace, s: _Seen, rough_spans: tuple[tuple[Span, ...], ...]) -> list[Finding]:
    """What the events of both signals come from; `rough_spans`: regions over which each is rough."""
    out = []
    for channel, m in ((0, s.a), (1, s.b)):
        if m is not None:
            rough = texture.rough_all_over(trace, s.a, m, supply_v=s.rail)
            end = kept_to_one_end(s.events, s.a.place, trace, channel=channel)
            regions = rough_spans[channel]
            out += about_events(
                s.events, s.maps[channel], channel=channel, rough=rough, end=end, regions=regions
            )
    return out
