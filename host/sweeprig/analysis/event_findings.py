"""From the events of one signal to their cause: worn spot, loose connection, interference, roughness."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from sweepboard.wire import CHANNEL_NAMES
from sweeprig.analysis.detection_power import (
    CLUSTER_P,
    LEAST_SHARE,
    WORTH_ASKING,
    detection_numbers,
    how_to_sweep,
    in_words,
)
from sweeprig.analysis.gathered import Gathered, gathered_of, inside
from sweeprig.analysis.model import Cause, Code, Event, Finding, Span, TrackMap
from sweeprig.analysis.regions import Region, find_region, outside_of
from sweeprig.analysis.smoothness import RoughAll
from sweeprig.analysis.track_map import encounters

NEVER_AT_REST_P = 0.001  # p-value up to which events are taken to come in movement only
CLOSE_TOGETHER = "Chance would hardly put them so close together"
MOST = 0.7  # share of events from which on they count as all alike
RINGING = 0.1  # share of events seen both ways from which events of either sign are a burst from outside
RINGING_PLACE = 0.35  # share of events seen both ways from which a place is rough and no lift
CHAIN_S = 0.5  # s that events go on for, each close upon the last: no single burst does
FEWEST_LEFT = 2  # encounters away from a named place, from which on they are a finding of their own
EITHER_SIGN = 0.2  # share of the rarer sign
FEWEST_ROUGH = 5  # events
FEWEST_SURE = 3  # strokes that show a place, from which no other sweep is asked for; own choice, no source
SWEEP_AGAIN = "Sweep slowly across that place again; if it shows again, replace the sensor."
ROUGH_HERE = "Sweep slowly across it again; noise that stays at this place means a worn track."
ROUGH_IN_MOVEMENT = (
    "Sweep slowly again; noise that comes with movement only means a worn track: replace the sensor."
)
WORN_TOO = "the track has a worn spot as well"
NEARLY_ALL = 0.75  # of the strokes over a place, or of the events: it is there; own choice, no source
TEXTURE_PERCENT = (
    10.0  # % of supply: events of a rough track; a wire that opens when the lever moves goes deeper
)


def about_events(
    events: tuple[Event, ...], track: TrackMap | None, *, channel: int, rough: RoughAll | None
) -> list[Finding]:
    """What the events of one signal come from; the supply's own events are left out.

    On a track that is rough all over the shallow ones in movement are its texture.
    """
    own = tuple(e for e in events if e.channel == channel and not e.with_supply)
    if rough is None:
        return _by_place(own, track, channel)
    deep = tuple(e for e in own if e.at_rest or e.depth_percent > rough.reach_percent)
    return [_texture(rough, len(own) - len(deep), channel), *_by_place(deep, track, channel)]


def _by_place(own: tuple[Event, ...], track: TrackMap | None, channel: int) -> list[Finding]:
    met = encounters(own)
    if not met:
        return []
    region = find_region(own)
    if region is not None:
        rest = outside_of(region, own)
        left = encounters(rest)
        first = _region(tuple(e for e in own if e not in rest), region, channel)
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
    if more is None or more.n_strokes < max(FEWEST_SURE, NEARLY_ALL * _passes_at(more, track)):
        return _elsewhere(met, own, p, track, channel)
    first = _at_place(own, more, p, channel, n_passes=_passes_at(more, track))
    left = _outside(met, more.where)
    if len(left) < FEWEST_LEFT:
        return [first]
    return [first, *_beside(left, _outside(own, more.where), p, track, channel)]


def _outside(events: tuple[Event, ...], where: Span) -> tuple[Event, ...]:
    return tuple(e for e in events if not inside(e, where))


def _at_place(own: tuple[Event, ...], at: Gathered, p: float, channel: int, *, n_passes: int) -> Finding:
    there = tuple(e for e in own if inside(e, at.where))
    rings = _share(e.both_ways for e in there) >= RINGING_PLACE
    return _rough_place(there, at, p, channel) if rings else _worn(there, at, p, channel, n_passes)


def _elsewhere(
    met: tuple[Event, ...], own: tuple[Event, ...], p: float | None, track: TrackMap | None, channel: int
) -> list[Finding]:
    if from_outside(met, own):
        return [interference(own, channel)]
    return [_anywhere(met, p, track, channel) if len(met) >= 3 else _stray(met, track, channel)]


def from_outside(met: tuple[Event, ...], own: tuple[Event, ...]) -> bool:
    """Return whether events come from outside the sensor: bursts that ring.

    Most events go both ways, or some do and the rest come with either sign. `met`: encounters, a burst counts once;
    `own`: every event of the signal.
    """
    if len(met) < 3 and own[-1].start_s - own[0].start_s < CHAIN_S:
        return False
    ringing, up = _share(e.both_ways for e in own), _share(e.upward for e in own)
    return ringing >= MOST or (ringing >= RINGING and min(up, 1 - up) >= EITHER_SIGN)


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


def numbers_of(events: Iterable[Event]) -> dict[str, float]:
    """Count, deepest [% of supply] and longest [s]."""
    all_of = tuple(events)
    return {
        "n_events": float(len(encounters(all_of))),
        "worst_depth_percent": max(abs(e.depth_percent) for e in all_of),
        "longest_s": max(e.duration_s for e in all_of),
    }


def _span(events: Iterable[Event]) -> Span | None:
    places = [e.at_percent for e in events if e.at_percent is not None]
    return (min(places), max(places)) if places else None


def worst(events: tuple[Event, ...]) -> str:
    """Return in words how far the signal went and how long it was away."""
    n, deepest = numbers_of(events), max(events, key=lambda e: abs(e.depth_percent))
    way = "rising" if deepest.upward else "falling"
    way = "swinging" if deepest.both_ways else way
    rail = {"to-ground": ", down to ground", "to-supply": ", up to the supply"}.get(deepest.kind, "")
    depth = f"{way} by up to {n['worst_depth_percent']:.0f} % of the supply voltage{rail}"
    return f"{depth}, for up to {n['longest_s'] * 1e3:.2g} ms"


def _rough_place(there: tuple[Event, ...], at: Gathered, p: float, channel: int) -> Finding:
    """Events that go up and down at one place: the track there, not a burst from outside."""
    text = (
        f"{CHANNEL_NAMES[channel]} jumps up and down {len(there)} times in {at.n_strokes} strokes between "
        f"{at.where[0]:.1f} and {at.where[1]:.1f} % of travel ({worst(there)}). {CLOSE_TOGETHER} "
        f"(clustering p-value {p:.3g})"
    )
    numbers = numbers_of(there) | {"p": p}
    return Finding(Code.ROUGH_TRACK, Cause.TRACK, channel, at.where, text, ROUGH_HERE, numbers=numbers)


def _region(there: tuple[Event, ...], at: Region, channel: int) -> Finding:
    """Events over one stretch of travel: rough where they are shallow or go up and down, else worn.

    The depth of a jump is how far the lever moved in it.
    """
    low, high = at.where
    lifts = tuple(e for e in there if e.kind != "jump")
    deep = bool(lifts) and float(np.median([e.depth_percent for e in lifts])) > TEXTURE_PERCENT
    rough = not deep or _share(e.both_ways for e in there) >= RINGING_PLACE
    text = (
        f"{CHANNEL_NAMES[channel]} {'jumps up and down' if rough else 'breaks off'} from {low:.1f} to {high:.1f} % of "
        f"travel, from edge to edge in {at.n_strokes} of {at.n_met} strokes, rising and falling"
    )
    code, step = (Code.ROUGH_TRACK, ROUGH_HERE) if rough else (Code.WORN_SPOT, SWEEP_AGAIN)
    text += f" ({worst(lifts)})" if lifts else ""
    return Finding(code, Cause.TRACK, channel, at.where, text, step, numbers=numbers_of(there))


def _worn(there: tuple[Event, ...], at: Gathered, p: float, channel: int, n_passes: int) -> Finding:
    text = (
        f"{CHANNEL_NAMES[channel]}: {len(encounters(there))} dropouts in {at.n_strokes} of {n_passes} strokes "
        f"between {at.where[0]:.1f} and {at.where[1]:.1f} % of travel "
        f"({worst(there)}). {CLOSE_TOGETHER} (clustering p-value {p:.3g})"
    )
    again = at.n_strokes >= FEWEST_SURE and at.n_strokes >= NEARLY_ALL * n_passes
    step = (
        f"Replace the sensor: the place shows in {at.n_strokes} of {n_passes} strokes."
        if again
        else SWEEP_AGAIN
    )
    return Finding(
        Code.WORN_SPOT, Cause.TRACK, channel, at.where, text, step, numbers=numbers_of(there) | {"p": p}
    )


def _share(of: Iterable[bool]) -> float:
    values = list(of)
    return sum(values) / len(values) if values else 0.0


def _anywhere(events: tuple[Event, ...], p: float | None, track: TrackMap | None, channel: int) -> Finding:
    """Events that keep to no place: rough all over where none comes at rest, else a loose connection."""
    shallow = float(np.median([e.depth_percent for e in events])) <= TEXTURE_PERCENT
    never_at_rest = not any(e.at_rest for e in events) and len(events) >= FEWEST_ROUGH and shallow
    p_rest = None if track is None else track.p_at_rest
    if never_at_rest and p_rest is not None and p_rest <= NEVER_AT_REST_P:
        return _rough_all_over(events, p_rest, channel)
    return _loose(events, p, track, channel)


def _texture(rough: RoughAll, n_events: int, channel: int) -> Finding:
    text = (
        f"{CHANNEL_NAMES[channel]} is noisy wherever it moves: {rough.noise_v * 1e3:z.1f} mV from window to window in "
        f"three quarters or more of {rough.n_regions} regions, {rough.rest_v * 1e3:z.1f} mV at rest"
        + (f"; with {n_events} shallow dropouts in movement" if n_events else "")
    )
    numbers = {"noise_v": rough.noise_v, "rest_v": rough.rest_v}
    return Finding(Code.ROUGH_TRACK, Cause.TRACK, channel, None, text, ROUGH_IN_MOVEMENT, numbers=numbers)


def _rough_all_over(events: tuple[Event, ...], p: float, channel: int) -> Finding:
    text = (
        f"{CHANNEL_NAMES[channel]}: {len(events)} dropouts, all during movement ({worst(events)}). "
        f"Chance would have put some of them at rest (p-value {p:.3g})"
    )
    numbers, where = numbers_of(events) | {"p": p}, _span(events)
    return Finding(Code.ROUGH_TRACK, Cause.TRACK, channel, where, text, ROUGH_IN_MOVEMENT, numbers=numbers)


def interference(events: tuple[Event, ...], channel: int) -> Finding:
    """Bursts from outside on one channel."""
    ringing = 100 * _share(e.both_ways for e in events)
    text = (
        f"{CHANNEL_NAMES[channel]}: {len(encounters(events))} disturbances, {ringing:.0f} % of them up and down "
        f"within one burst ({worst(events)}). A contact that opens pulls one way only"
    )
    step = "Move the leads away from ignition, motors and relays; check the cable's shield, and sweep again."
    numbers = numbers_of(events)
    return Finding(Code.INTERFERENCE, Cause.INTERFERENCE, channel, None, text, step, numbers=numbers)


def _loose(events: tuple[Event, ...], p: float | None, track: TrackMap | None, channel: int) -> Finding:
    at_rest = sum(e.at_rest for e in events)
    chance = (
        ""
        if p is None
        else f"; scattered along the travel, as chance would do it (clustering p-value {p:.3g})"
    )
    name = CHANNEL_NAMES[channel]
    text = f"{name}: {len(events)} dropouts, {at_rest} of them while the lever was still ({worst(events)}){chance}"
    step = (
        "Hold the lever still and move plug and harness by hand; "
        "clean or replace the contact where the dropouts come."
    )
    cause, pulled, first = _pulled(events)
    asks = track is not None and track.more_strokes is not None
    able, more = in_words(track, WORN_TOO) if asks else ("", "")
    numbers = numbers_of(events) | detection_numbers(track)
    text, step = text + pulled + able, first + step + f" {more}".rstrip()
    return Finding(Code.LOOSE_CONNECTION, cause, channel, None, text, step, numbers=numbers)


def _pulled(events: tuple[Event, ...]) -> tuple[Cause, str, str]:
    """Cause by the way the signal is pulled, and what to add to the evidence and before the next step."""
    if _share(e.upward for e in events) < MOST:
        return Cause.CONNECTION, "", ""
    return (
        Cause.GROUND,
        "; upwards each time, as when the sensor's ground wire opens",
        "Begin with the sensor's ground wire and its pin. ",
    )


def _stray(events: tuple[Event, ...], track: TrackMap | None, channel: int) -> Finding:
    cause, pulled, first = _pulled(events)
    able, more = in_words(track)
    text = (
        f"{CHANNEL_NAMES[channel]}: {len(events)} dropout{'s' if len(events) > 1 else ''} ({worst(events)}), "
        f"too few to find the cause{pulled}{able}"
    )
    step = first + (more or f"Sweep again with more slow strokes {how_to_sweep(WORTH_ASKING)}. ")
    step += "Another dropout at the same place means a worn track."
    numbers = numbers_of(events) | detection_numbers(track)
    return Finding(Code.STRAY_DROPOUT, cause, channel, _span(events), text, step, "doubt", numbers)
