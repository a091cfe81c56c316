"""From the events of one signal to their cause: worn spot, loose connection, interference, roughness."""

from __future__ import annotations

import numpy as np

from sweeprig.analysis.detection_power import CLUSTER_P, LEAST_SHARE
from sweeprig.analysis.end_events import beyond_end
from sweeprig.analysis.event_texts import (
    FEWEST_SURE,
    MOST,
    NEARLY_ALL,
    RINGING,
    RINGING_PLACE,
    TEXTURE_PERCENT,
    at_one_end,
    interference,
    loose,
    rough_all_over,
    rough_or_worn_region,
    rough_place,
    share,
    stray,
    texture,
    worn,
)
from sweeprig.analysis.gathered import Gathered, gathered_of, inside
from sweeprig.analysis.model import Code, Event, Finding, Span, TrackMap
from sweeprig.analysis.one_end import OneEnd, is_at
from sweeprig.analysis.one_way import passes_one_way
from sweeprig.analysis.regions import find_region, outside_of
from sweeprig.analysis.smoothness import RoughAll
from sweeprig.analysis.track_map import encounters

NEVER_AT_REST_P = 0.001  # p-value up to which events are taken to come in movement only
CHAIN_S = 0.5  # s that events go on for, each close upon the last: no single burst does
FEWEST_LEFT = 2  # encounters away from a named place, from which on they are a finding of their own
EITHER_SIGN = 0.2  # share of the rarer sign
BURST_S = 0.004  # of single bursts, at most: one or two readings of a table of 500 Hz; own choice, no source
FEWEST_BURSTS = 5
NO_PLACE = (Code.LOOSE_CONNECTION, Code.STRAY_DROPOUT)
FEWEST_ROUGH = 5  # events


def about_events(
    events: tuple[Event, ...],
    track: TrackMap | None,
    *,
    channel: int,
    rough: RoughAll | None,
    end: OneEnd | None = None,
    regions: tuple[Span, ...] = (),
) -> list[Finding]:
    """What the events of one signal come from; the supply's own events are left out.

    On a track that is rough all over the shallow ones in movement are its texture. `end`: where they keep to.
    `regions`: where the track is rough; shallow events in movement there are no other fault.
    """
    own = tuple(e for e in events if e.channel == channel and not e.with_supply)
    if rough is None:
        found = _at_end(own, end, track, channel) or _by_place(own, track, channel)
        return _clear_of(regions, found, own, track, channel)
    deep = tuple(e for e in own if e.at_rest or e.depth_percent > rough.reach_percent)
    return [texture(rough, len(own) - len(deep), channel), *_by_place(deep, track, channel)]


def _clear_of(
    regions: tuple[Span, ...],
    found: list[Finding],
    own: tuple[Event, ...],
    track: TrackMap | None,
    channel: int,
) -> list[Finding]:
    """Return the findings, those of no place without what a rough region makes."""
    left = tuple(e for e in own if not any(_of_region(e, where) for where in regions))
    if len(left) == len(own) or not any(f.code in NO_PLACE for f in found):
        return found
    placed = [f for f in found if f.code not in NO_PLACE]
    return placed + [f for f in _by_place(left, track, channel) if f.code in NO_PLACE]


def _of_region(e: Event, where: Span) -> bool:
    return inside(e, where) and not e.at_rest and e.depth_percent <= TEXTURE_PERCENT


def _at_end(
    own: tuple[Event, ...], end: OneEnd | None, track: TrackMap | None, channel: int
) -> list[Finding]:
    """Events at rest at one end only, and what is left elsewhere; nothing where they do not keep to an end."""
    if end is None or from_outside(encounters(own), own):
        return []
    rest = tuple(e for e in own if not is_at(e, end))
    first = at_one_end(tuple(e for e in own if is_at(e, end)), end, channel)
    left = encounters(rest)
    return [first, *(_elsewhere(left, rest, None, track, channel) if len(left) >= FEWEST_LEFT else [])]


def _by_place(own: tuple[Event, ...], track: TrackMap | None, channel: int) -> list[Finding]:
    beyond, left = beyond_end(own, channel)
    if beyond is None:
        return _of_places(own, track, channel)
    return [beyond, *(_of_places(left, track, channel) if len(encounters(left)) >= FEWEST_LEFT else [])]


def _of_places(own: tuple[Event, ...], track: TrackMap | None, channel: int) -> list[Finding]:
    met = encounters(own)
    if not met:
        return []
    region = find_region(own)
    if region is not None:
        rest = outside_of(region, own)
        left = encounters(rest)
        first = rough_or_worn_region(tuple(e for e in own if e not in rest), region, channel)
        return [first, *(_elsewhere(left, rest, None, track, channel) if len(left) >= FEWEST_LEFT else [])]
    gathered = gathered_of(own)
    p = track.p_clustered if track is not None else None
    if gathered is None or p is None:
        return _elsewhere(met, own, p, track, channel)
    rest = _outside(met, gathered.where)
    if not _again(gathered, p, track, alone=len(rest) <= (1 - NEARLY_ALL) * len(met)):
        return _elsewhere(met, own, p, track, channel)
    first = _at_place(own, gathered, p, channel, n_passes=_passes_at(gathered, track))
    if len(rest) < FEWEST_LEFT:
        return [first]
    return [first, *_beside(rest, _outside(own, gathered.where), p, track, channel)]


def _beside(
    met: tuple[Event, ...], own: tuple[Event, ...], p: float, track: TrackMap | None, channel: int
) -> list[Finding]:
    """What is left beside one place: another place that nearly every stroke met, or events elsewhere."""
    more = gathered_of(own)
    n_passes = 0 if more is None else _passes_at(more, track)
    one_way = None if more is None else passes_one_way(own, more, n_passes)
    if more is None or (one_way is None and more.n_strokes < max(FEWEST_SURE, NEARLY_ALL * n_passes)):
        return _elsewhere(met, own, p, track, channel)
    first = _at_place(own, more, p, channel, n_passes=one_way or n_passes, one_way=one_way is not None)
    left = _outside(met, more.where)
    if len(left) < FEWEST_LEFT:
        return [first]
    return [first, *_beside(left, _outside(own, more.where), p, track, channel)]


def _outside(events: tuple[Event, ...], where: Span) -> tuple[Event, ...]:
    return tuple(e for e in events if not inside(e, where))


def _at_place(
    own: tuple[Event, ...], at: Gathered, p: float, channel: int, *, n_passes: int, one_way: bool = False
) -> Finding:
    there = tuple(e for e in own if inside(e, at.where))
    rings = share(e.both_ways for e in there) >= RINGING_PLACE
    if rings:
        return rough_place(there, at, p, channel)
    return worn(there, at, p, channel, n_passes=n_passes, one_way=one_way)


def _elsewhere(
    met: tuple[Event, ...], own: tuple[Event, ...], p: float | None, track: TrackMap | None, channel: int
) -> list[Finding]:
    if from_outside(met, own) or of_either_sign(own):
        return [interference(own, channel)]
    return [_anywhere(met, p, track, channel) if len(met) >= 3 else stray(met, track, channel)]


def from_outside(met: tuple[Event, ...], own: tuple[Event, ...]) -> bool:
    """Return whether events come from outside the sensor: bursts that ring.

    Most events go both ways, or some do and the rest come with either sign. `met`: encounters, a burst counts once;
    `own`: every event of the signal.
    """
    if len(met) < 3 and own[-1].start_s - own[0].start_s < CHAIN_S:
        return False
    ringing, up = share(e.both_ways for e in own), share(e.upward for e in own)
    return ringing >= MOST or (ringing >= RINGING and min(up, 1 - up) >= EITHER_SIGN)


def of_either_sign(own: tuple[Event, ...]) -> bool:
    """Return whether short events go up and down, also at rest: bursts of which each leaves a reading or two.

    A table holds too few readings of a burst to show that it rings; a contact pulls one way, and no track does it at
    rest.
    """
    short = tuple(e for e in own if e.kind != "jump" and e.duration_s <= BURST_S)
    if len(short) < max(FEWEST_BURSTS, NEARLY_ALL * len(own)):
        return False
    up = share(e.upward for e in short)
    return min(up, 1 - up) >= EITHER_SIGN and len({e.upward for e in short if e.at_rest}) == 2


def _again(at: Gathered, p: float, track: TrackMap | None, *, alone: bool) -> bool:
    """Hardly by chance, seen in two strokes at least, and in a fair share of the passes over the place.

    Or in three strokes and hardly anything elsewhere (`alone`): a contact that opens anywhere does not keep to a place.
    """
    if track is None or p > CLUSTER_P or at.n_strokes < 2:
        return False
    return at.n_strokes >= LEAST_SHARE * _passes_at(at, track) or (alone and at.n_strokes >= FEWEST_SURE)


def _passes_at(at: Gathered, track: TrackMap | None) -> int:
    """Strokes that crossed the middle of a place; never fewer than those that met something there."""
    if track is None:
        return at.n_strokes
    centre = min(int(sum(at.where) / 2 * track.strokes_seen.size / 100), track.strokes_seen.size - 1)
    return max(int(track.strokes_seen[centre]), at.n_strokes)


def _anywhere(events: tuple[Event, ...], p: float | None, track: TrackMap | None, channel: int) -> Finding:
    """Events that keep to no place: rough all over where none comes at rest, else a loose connection."""
    shallow = float(np.median([e.depth_percent for e in events])) <= TEXTURE_PERCENT
    never_at_rest = not any(e.at_rest for e in events) and len(events) >= FEWEST_ROUGH and shallow
    p_rest = None if track is None else track.p_at_rest
    if never_at_rest and p_rest is not None and p_rest <= NEVER_AT_REST_P:
        return rough_all_over(events, p_rest, channel)
    return loose(events, p, track, channel)
