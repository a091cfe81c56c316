"""What the events of one signal are called, with their evidence and the next step."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np

from sweepboard.wire import CHANNEL_NAMES
from sweeprig.analysis.detection_power import (
    CLUSTER_P,
    WORTH_ASKING,
    detection_numbers,
    how_to_sweep,
    in_words,
)
from sweeprig.analysis.gathered import Gathered
from sweeprig.analysis.model import Cause, Code, Event, Finding, Span, TrackMap
from sweeprig.analysis.one_end import OneEnd
from sweeprig.analysis.regions import Region
from sweeprig.analysis.smoothness import RoughAll
from sweeprig.analysis.track_map import encounters

RINGING = 0.1  # share of events seen both ways from which events of either sign are a burst from outside
MOST = 0.7  # share of events from which on they count as all alike
RINGING_PLACE = 0.35  # share of events seen both ways from which a place is rough and no lift
FEWEST_SURE = 3  # strokes that show a place, from which no other sweep is asked for; own choice, no source
SWEEP_AGAIN = "Sweep slowly across that place again; if it shows again, replace the sensor."
ROUGH_HERE = "Sweep slowly across it again; noise that stays at this place means a worn track."
ROUGH_IN_MOVEMENT = (
    "Sweep slowly again; noise that comes with movement only means a worn track: replace the sensor."
)
HOLD_THERE = (
    "Hold the lever at that end and move plug and harness by hand. Where dropouts come with that, clean or replace the "
    "contact; where they come without, replace the sensor."
)
WORN_TOO = "the track has a worn spot as well"
NEARLY_ALL = 0.75  # of the strokes over a place, or of the events: it is there; own choice, no source
TEXTURE_PERCENT = (
    10.0  # % of supply: events of a rough track; a wire that opens when the lever moves goes deeper
)


def numbers_of(events: Iterable[Event]) -> dict[str, float]:
    """Count, deepest [% of supply] and longest [s]."""
    all_of = tuple(events)
    return {
        "n_events": float(len(encounters(all_of))),
        "worst_depth_percent": max(abs(e.depth_percent) for e in all_of),
        "longest_s": max(e.duration_s for e in all_of),
    }


def worst(events: tuple[Event, ...]) -> str:
    """Return in words how far the signal went and how long it was away."""
    n, deepest = numbers_of(events), max(events, key=lambda e: (round(abs(e.depth_percent)), e.duration_s))
    up = "the signal jumps up each time, " if all(e.upward and not e.both_ways for e in events) else ""
    return f"{up}{_depth(deepest)}, for up to {_time(n['longest_s'])}"


def _time(seconds: float) -> str:
    return f"{seconds:.2g} s" if seconds >= 0.995 else f"{float(f'{seconds * 1e3:.2g}'):g} ms"


def _depth(e: Event) -> str:
    """Return in words from where to where the signal went."""
    depth, way = f"{abs(e.depth_percent):.0f} % of supply", "up" if e.upward else "down"
    if e.both_ways:
        return f"up and down by up to {depth}"
    if not math.isfinite(e.path_v + e.extreme_v):
        return f"{way} by up to {depth}"
    change = "rise" if e.upward else "drop"
    return f"at worst from {max(e.path_v, 0.0):z.2f} V {way} to {max(e.extreme_v, 0.0):z.2f} V, a {change} of {depth}"


def chance_in_words(p: float) -> str:
    """Return a probability as so many times in 1000."""
    n = round(1000 * p)
    return "less than once in 1000" if n < 1 else "once in 1000" if n == 1 else f"{n} times in 1000"


def _close_together(p: float) -> str:
    return (
        f"Dropouts at random places would lie this close together {chance_in_words(p)}: it is the track at this place"
        f" (clustering p-value {p:.3g})"
    )


def share(of: Iterable[bool]) -> float:
    """Return the share of those that are so; 0 of none."""
    values = list(of)
    return sum(values) / len(values) if values else 0.0


def _span(events: Iterable[Event]) -> Span | None:
    places = [e.at_percent for e in events if e.at_percent is not None]
    return (min(places), max(places)) if places else None


def _pulled(events: tuple[Event, ...]) -> tuple[Cause, str, str]:
    """Cause by the way the signal is pulled, and what to add to the evidence and before the next step."""
    if share(e.upward for e in events) < MOST:
        return Cause.CONNECTION, "", ""
    return (
        Cause.GROUND,
        "; a ground wire of the sensor that opens does this",
        "Look at the sensor's ground wire and its pin first. ",
    )


def rough_place(there: tuple[Event, ...], at: Gathered, p: float, channel: int) -> Finding:
    """Events that go up and down at one place: the track there, not a burst from outside."""
    text = (
        f"{CHANNEL_NAMES[channel]} jumps up and down {len(there)} times in {at.n_strokes} strokes between "
        f"{at.where[0]:.1f} and {at.where[1]:.1f} % of travel ({worst(there)}). {_close_together(p)}"
    )
    numbers = numbers_of(there) | {"p": p}
    return Finding(Code.ROUGH_TRACK, Cause.TRACK, channel, at.where, text, ROUGH_HERE, numbers=numbers)


def rough_or_worn_region(there: tuple[Event, ...], at: Region, channel: int) -> Finding:
    """Events over one stretch of travel: worn where they are deep, or one in each stroke, all the same way; else rough.

    The depth of a jump is how far the lever moved in it.
    """
    low, high = at.where
    lifts = tuple(e for e in there if e.kind != "jump")
    deep = bool(lifts) and float(np.median([e.depth_percent for e in lifts])) > TEXTURE_PERCENT
    ringing, upward = share(e.both_ways for e in there), share(e.upward for e in there)
    lift = len(there) == len(lifts) <= at.n_met and ringing == 0 and upward in (0.0, 1.0)
    rough = ringing >= RINGING_PLACE or not (deep or lift)
    text = (
        f"{CHANNEL_NAMES[channel]} {'jumps up and down' if rough else 'breaks off'} from {low:.1f} to {high:.1f} % of "
        f"travel, from edge to edge in {at.n_strokes} of {at.n_met} strokes, rising and falling"
    )
    code, step = (Code.ROUGH_TRACK, ROUGH_HERE) if rough else (Code.WORN_SPOT, SWEEP_AGAIN)
    text += f" ({worst(lifts)})" if lifts else ""
    return Finding(
        code,
        Cause.TRACK,
        channel,
        at.where,
        text,
        step,
        numbers=numbers_of(there),
        unconfirmed=step is SWEEP_AGAIN,
    )


def worn(
    there: tuple[Event, ...], at: Gathered, p: float, channel: int, *, n_passes: int, one_way: bool = False
) -> Finding:
    """Dropouts at one place: the track does not carry there. `one_way`: in passes of one direction."""
    strokes = f"{at.n_strokes} of {n_passes} strokes" + (" of one direction" if one_way else "")
    text = (
        f"{CHANNEL_NAMES[channel]}: {len(encounters(there))} dropouts in {strokes} "
        f"between {at.where[0]:.1f} and {at.where[1]:.1f} % of travel "
        f"({worst(there)}). {_close_together(p)}"
    )
    again = at.n_strokes >= FEWEST_SURE and at.n_strokes >= NEARLY_ALL * n_passes
    step = f"Replace the sensor: the place shows in {strokes}." if again else SWEEP_AGAIN
    return Finding(
        Code.WORN_SPOT,
        Cause.TRACK,
        channel,
        at.where,
        text,
        step,
        numbers=numbers_of(there) | {"p": p},
        unconfirmed=step is SWEEP_AGAIN,
    )


def at_one_end(there: tuple[Event, ...], end: OneEnd, channel: int) -> Finding:
    """Dropouts while the lever rests at one end and not at the other: the track there, or a harness moved there."""
    text = (
        f"{CHANNEL_NAMES[channel]}: {len(encounters(there))} dropouts in {end.n_visits} stays at "
        f"{end.where[0]:.1f} to {end.where[1]:.1f} % of travel ({worst(there)}), of {end.here_s:.1f} s in total; none "
        f"in {end.there_s:.1f} s at the other end. By chance they would keep to one end {chance_in_words(end.p)}: "
        "a track worn at its end, or plug and harness that move with the lever there"
    )
    numbers = numbers_of(there) | {"p": end.p}
    return Finding(
        Code.WORN_SPOT, Cause.TRACK, channel, end.where, text, HOLD_THERE, numbers=numbers, or_contact=True
    )


def texture(rough: RoughAll, n_events: int, channel: int) -> Finding:
    """Noise wherever the lever moves, with the shallow dropouts that belong to it."""
    text = (
        f"{CHANNEL_NAMES[channel]} is noisy wherever it moves: {rough.noise_v * 1e3:z.1f} mV of noise in at least "
        f"three quarters of the {rough.n_regions} parts of its travel, {rough.rest_v * 1e3:z.1f} mV at rest"
        + (f"; with {n_events} shallow dropouts in movement" if n_events else "")
    )
    numbers = {"noise_v": rough.noise_v, "rest_v": rough.rest_v}
    return Finding(Code.ROUGH_TRACK, Cause.TRACK, channel, None, text, ROUGH_IN_MOVEMENT, numbers=numbers)


def rough_all_over(events: tuple[Event, ...], p: float, channel: int) -> Finding:
    """Shallow dropouts that come in movement only, at no place."""
    text = (
        f"{CHANNEL_NAMES[channel]}: {len(events)} dropouts, all during movement ({worst(events)}). "
        f"By chance all of them would come in movement {chance_in_words(p)} (p-value {p:.3g})"
    )
    numbers, where = numbers_of(events) | {"p": p}, _span(events)
    return Finding(Code.ROUGH_TRACK, Cause.TRACK, channel, where, text, ROUGH_IN_MOVEMENT, numbers=numbers)


def interference(events: tuple[Event, ...], channel: int) -> Finding:
    """Bursts from outside on one channel."""
    ringing, up = 100 * share(e.both_ways for e in events), 100 * share(e.upward for e in events)
    how = f"in {ringing:.0f} % of them the signal goes both up and down"
    if ringing < 100 * RINGING:
        how = f"{up:.0f} % of them go up and the others down"
    text = (
        f"{CHANNEL_NAMES[channel]}: {len(encounters(events))} disturbances; {how} ({worst(events)}). "
        "A contact that opens moves the signal one way only"
    )
    step = "Move the leads away from ignition, motors and relays; check the cable's shield, and sweep again."
    numbers = numbers_of(events)
    return Finding(Code.INTERFERENCE, Cause.INTERFERENCE, channel, None, text, step, numbers=numbers)


def loose(events: tuple[Event, ...], p: float | None, track: TrackMap | None, channel: int) -> Finding:
    """Dropouts that keep to no place: a contact that opens."""
    at_rest = sum(e.at_rest for e in events)
    chance = (
        ""
        if p is None
        else f"; at more than one place of the travel (clustering p-value {p:.3g})"
        if p <= CLUSTER_P
        else f"; spread along the travel, not gathered at one place (clustering p-value {p:.3g})"
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


def stray(events: tuple[Event, ...], track: TrackMap | None, channel: int) -> Finding:
    """Too few dropouts to find their cause: a doubt."""
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
