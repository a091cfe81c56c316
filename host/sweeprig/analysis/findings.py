"""From what was seen to what a technician does about it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from sweeprig.analysis.flats import Flat, Pinned
from sweeprig.analysis.model import Cause, Code, Event, Finding, Span, TrackMap, TwoTracks
from sweeprig.analysis.smoothness import Rough
from sweeprig.analysis.supply import CUT_PERCENT, GROUND_SHIFT_V, SAG_PERCENT, SupplySeen
from sweeprig.analysis.track_map import encounters, strokes_at
from sweeprig.words import Sense

CLUSTER_P = 0.01
SAME_PLACE_PERCENT = 3.0
BESIDE_PERCENT = 8.0  # of span: findings so near each other may have one cause
DISAGREE_PERCENT = 3.0  # % of supply
MOST = 0.7  # share of events that makes the rule
FEWEST_ROUGH = 5  # events
TRACK = ("signal A", "signal B", "supply")


@dataclass(frozen=True)
class Place:
    """Where events gather."""

    where: Span
    n_events: int
    n_strokes: int


def about_events(events: tuple[Event, ...], track: TrackMap | None, *, channel: int) -> list[Finding]:
    """Worn place, loose connection or stray event of one signal; the supply's own events are left out."""
    own = tuple(e for e in events if e.channel == channel and not e.with_supply)
    met = encounters(own)
    if not met:
        return []
    if len(met) >= 3 and _share(e.both_ways for e in met) >= MOST:
        return [_interference(met, channel)]
    gathered = _gathered(met)
    p = track.p_clustered if track is not None else None
    if gathered and gathered.n_strokes >= 2 and p is not None and p <= CLUSTER_P:
        rest = tuple(e for e in met if not _inside(e, gathered.where))
        return [
            _worn(own, gathered, p, channel),
            *([_anywhere(rest, p, track, channel)] if len(rest) > 3 else []),
        ]
    if len(met) >= 3:
        return [_anywhere(met, p, track, channel)]
    return [_stray(own, len(met), channel)]


def _gathered(met: tuple[Event, ...]) -> Place | None:
    """The place, at most 4 % wide, that most strokes met something at."""
    best: Place | None = None
    for e in met[:200]:
        if e.at_percent is None:
            continue
        near = [
            m.at_percent
            for m in met
            if m.at_percent is not None and abs(m.at_percent - e.at_percent) <= SAME_PLACE_PERCENT
        ]
        n = len(strokes_at(met, e.at_percent, reach=SAME_PLACE_PERCENT) - {None})
        if best is None or (n, len(near)) > (best.n_strokes, best.n_events):
            best = Place((min(near), max(near)), len(near), n)
    return best


def _inside(e: Event, where: Span) -> bool:
    return e.at_percent is not None and where[0] - 2 <= e.at_percent <= where[1] + 2


def _numbers(events: Iterable[Event]) -> dict[str, float]:
    all_of = tuple(events)
    return {
        "n_events": float(len(all_of)),
        "worst_depth_percent": max(abs(e.depth_percent) for e in all_of),
        "longest_s": max(e.duration_s for e in all_of),
    }


def _span(events: Iterable[Event]) -> Span | None:
    places = [e.at_percent for e in events if e.at_percent is not None]
    return (min(places), max(places)) if places else None


def _worst(events: tuple[Event, ...]) -> str:
    n = _numbers(events)
    return f"deepest {n['worst_depth_percent']:.0f} % of supply, longest {n['longest_s'] * 1e3:.2g} ms"


def _worn(events: tuple[Event, ...], at: Place, p: float, channel: int) -> Finding:
    inside = tuple(e for e in events if _inside(e, at.where))
    text = (
        f"{TRACK[channel]} leaves its path {len(inside)} times in {at.n_strokes} strokes "
        f"between {at.where[0]:.1f} and {at.where[1]:.1f} % of signal span "
        f"({_worst(inside)}); by chance alone so close together: p = {p:.3g}"
    )
    step = "Sweep slowly across that place again; if it shows again, replace the sensor."
    return Finding(
        Code.WORN_PLACE, Cause.TRACK, channel, at.where, text, step, numbers=_numbers(inside) | {"p": p}
    )


def _share(of: Iterable[bool]) -> float:
    values = list(of)
    return sum(values) / len(values) if values else 0.0


def _anywhere(events: tuple[Event, ...], p: float | None, track: TrackMap | None, channel: int) -> Finding:
    """Events that keep to no place: rough all over where none comes at rest, else a loose connection."""
    never_at_rest = not any(e.at_rest for e in events) and len(events) >= FEWEST_ROUGH
    if never_at_rest and track is not None and track.p_at_rest is not None and track.p_at_rest <= CLUSTER_P:
        return _rough_all_over(events, track.p_at_rest, channel)
    return _loose(events, p, track, channel)


def _rough_all_over(events: tuple[Event, ...], p: float, channel: int) -> Finding:
    text = (
        f"{TRACK[channel]} leaves its path {len(events)} times, all of them while it moves ({_worst(events)}); "
        f"by chance none at rest: p = {p:.3g}"
    )
    step = "Sweep slowly again; noise that comes with movement only means a worn track: replace the sensor."
    return Finding(
        Code.ROUGH_TRACK, Cause.TRACK, channel, _span(events), text, step, numbers=_numbers(events) | {"p": p}
    )


def _interference(events: tuple[Event, ...], channel: int) -> Finding:
    text = (
        f"{TRACK[channel]} leaves its path {len(events)} times, upwards and downwards within one burst "
        f"({_worst(events)}): a contact that opens pulls one way only"
    )
    step = "Move the leads away from ignition, motors and relays; check the screen, and sweep again."
    return Finding(Code.INTERFERENCE, Cause.INTERFERENCE, channel, None, text, step, numbers=_numbers(events))


def _loose(events: tuple[Event, ...], p: float | None, track: TrackMap | None, channel: int) -> Finding:
    at_rest = sum(e.at_rest for e in events)
    chance = "" if p is None else f"; kept to one place: p = {p:.3g}"
    if track is not None and track.p_at_rest is not None:
        chance += f"; share at rest against time: p = {track.p_at_rest:.3g}"
    name = TRACK[channel]
    text = f"{name} leaves its path {len(events)} times, {at_rest} at rest ({_worst(events)}){chance}"
    step = (
        "Hold the lever still and move plug and harness by hand; clean or renew the contact where it shows."
    )
    cause = Cause.CONNECTION
    if _share(e.upward for e in events) >= MOST:
        cause = Cause.GROUND
        text += "; upwards each time, as when the sensor's ground wire opens"
        step = "Begin with the sensor's ground wire and its pin. " + step
    return Finding(Code.LOOSE_CONNECTION, cause, channel, None, text, step, numbers=_numbers(events))


def _stray(events: tuple[Event, ...], n: int, channel: int) -> Finding:
    name = TRACK[channel]
    text = f"{name} leaves its path {n} time(s) ({_worst(events)}): too few to tell its cause"
    step = "Sweep again with more slow strokes; an event at the same place again is the track."
    return Finding(
        Code.STRAY_DROPOUT,
        Cause.CONNECTION,
        channel,
        _span(events),
        text,
        step,
        severity="doubt",
        numbers=_numbers(events),
    )


def about_supply(seen: SupplySeen, events: tuple[Event, ...], *, shift_v: float) -> list[Finding]:
    """Supply cut, dropouts and sag, and the sensor's ground."""
    out = []
    if seen.cut:
        text = f"supply at the sensor is {seen.median_v:.2f} V, under {CUT_PERCENT:.0f} % of nominal"
        out.append(
            Finding(
                Code.SUPPLY_CUT, Cause.SUPPLY, 2, None, text, "Check the supply wire, its pin and the source."
            )
        )
        return out
    own = tuple(e for e in events if e.channel == 2)
    if own:
        text = f"supply leaves its level {len(own)} time(s), {_worst(own)}; the signal is not to blame"
        step = "Check the supply pin and the source; move the harness while watching the supply."
        out.append(Finding(Code.SUPPLY_DROPOUT, Cause.SUPPLY, 2, None, text, step, numbers=_numbers(own)))
    if seen.sag_percent > SAG_PERCENT and not any(e.duration_s > 0.01 for e in own):
        text = f"supply sags slowly by {seen.sag_percent:.1f} % of its level"
        step = "Look for other loads and for resistance in the supply wire."
        numbers = {"sag_percent": seen.sag_percent}
        out.append(Finding(Code.SUPPLY_SAG, Cause.SUPPLY, 2, None, text, step, numbers=numbers))
    if shift_v > GROUND_SHIFT_V:
        text = f"sensor ground moves or stands off by {shift_v * 1e3:.0f} mV"
        step = "Clean the ground point and check the ground wire for resistance."
        out.append(
            Finding(Code.GROUND_SHIFT, Cause.GROUND, None, None, text, step, numbers={"shift_v": shift_v})
        )
    return out


def about_flats(
    flats: tuple[Flat, ...], pinned: tuple[Pinned, ...], rough: tuple[Rough, ...], sense: Sense
) -> list[Finding]:
    """Flat spots, dead bands and rough regions of signal A."""
    out = []
    for f in flats:
        text = f"signal stays {f.dwell_s * 1e3:.0f} ms at one level in {f.n_seen} of {f.n_strokes} strokes"
        step = "Sweep slowly across it; a level that stays while the lever moves means a new sensor."
        out.append(
            Finding(Code.FLAT_SPOT, Cause.TRACK, 0, f.where, text, step, numbers={"dwell_s": f.dwell_s})
        )
    for p in pinned:
        closed = (p.place == "low") != (sense is Sense.FALLING)
        code = Code.DEAD_BAND_CLOSED if closed else Code.DEAD_BAND_OPEN
        text = (
            f"{p.place} end stands at {p.level_v:.3f} V for {p.seconds:.2f} s, "
            f"{abs(p.level_v - p.rail_v) * 1e3:.0f} mV from its rail; "
            f"range there {p.noise_ratio:.2f} of elsewhere"
            + ("" if sense is not Sense.UNKNOWN else "; sense unknown, low end is taken as closed")
        )
        step = "Turn an adjustable sensor until both ends leave the rails, or check stop and part."
        where = (0.0, 1.0) if closed else (99.0, 100.0)
        out.append(Finding(code, Cause.MOUNTING, 0, where, text, step, numbers={"level_v": p.level_v}))
    for r in rough:
        text = f"noise {r.noise_v * 1e3:.1f} mV against {r.usual_v * 1e3:.1f} mV elsewhere"
        step = "Sweep slowly across it again; noise that stays at this place means a worn track."
        out.append(
            Finding(Code.ROUGH_TRACK, Cause.TRACK, 0, r.where, text, step, numbers={"noise_v": r.noise_v})
        )
    return out


def joined_tracks(level_v: float) -> Finding:
    """Two signals that stand at one level together: opposed tracks that are joined."""
    text = f"signals A and B both stay at {level_v:.3f} V: opposed tracks whose signals are joined do so"
    step = "Unplug and measure between the two signal pins; look for a bridge in plug and harness."
    return Finding(Code.TRACKS_SHORTED, Cause.WIRING, None, None, text, step, numbers={"level_v": level_v})


def about_tracks(two: TwoTracks | None) -> list[Finding]:
    """Shorted or disagreeing tracks."""
    if two is None:
        return []
    if two.relation == "same":
        text = (
            f"B follows A with slope {two.slope:.4f} and {two.offset_v * 1e3:.0f} mV: the tracks are joined"
        )
        step = "Unplug and measure between the two signal pins; look for a bridge in plug and harness."
        return [
            Finding(Code.TRACKS_SHORTED, Cause.WIRING, None, None, text, step, numbers={"slope": two.slope})
        ]
    if two.max_error_percent > DISAGREE_PERCENT or two.relation == "none":
        at = two.at_percent
        where = None if at is None else (max(0.0, at - 1), min(100.0, at + 1))
        line = f"{two.slope:.3f} A {two.offset_v:+.3f} V"
        text = f"B leaves the line {line} by {two.max_error_percent:.1f} % of supply"
        step = "Sweep each track alone to see which one bends; check its wiring, then replace the sensor."
        numbers = {"max_error_percent": two.max_error_percent}
        return [Finding(Code.TRACKS_DISAGREE, Cause.TRACK, 1, where, text, step, numbers=numbers)]
    return []


def no_movement(level_v: float, supply_v: float, moved_v: float) -> Finding:
    """One finding for a signal that never moved."""
    numbers = {"level_v": level_v, "moved_v": moved_v}
    share = 100 * level_v / supply_v if supply_v > 0 else np.nan
    text = f"signal A stays at {level_v:.3f} V ({share:.0f} % of supply) and moves by {moved_v * 1e3:.0f} mV"
    if share < 2:
        step = "Check for a short to ground, an open signal wire, no supply; bias tells open from 0 V."
        return Finding(Code.STUCK_LOW, Cause.WIRING, 0, None, text, step, numbers=numbers)
    if share > 98:
        step = "Check for a short of signal to supply and for an open ground wire."
        return Finding(Code.STUCK_HIGH, Cause.WIRING, 0, None, text, step, numbers=numbers)
    step = "Move the lever over its whole travel; if it did move, check the coupling of lever and sensor."
    return Finding(Code.NO_MOVEMENT, Cause.MOUNTING, 0, None, text, step, numbers=numbers)


def one_cause(found: list[Finding], events: tuple[Event, ...]) -> list[Finding]:
    """Leave out what another finding at the same place already says.

    A jump at the edge of a flat spot is the flat spot's; roughness at a worn place or flat spot is theirs.
    """
    flat = [f for f in found if f.code is Code.FLAT_SPOT]
    worn = [f for f in found if f.code is Code.WORN_PLACE]
    worn = [f for f in worn if not (_touch(f, flat) and _all_jumps(f, events))]
    out = [f for f in found if f.code is not Code.WORN_PLACE or f in worn]
    return [f for f in out if f.code is not Code.ROUGH_TRACK or not _touch(f, flat + worn)]


def _touch(one: Finding, others: list[Finding]) -> bool:
    spans = [o.where_percent for o in others if o.where_percent is not None]
    w = one.where_percent
    return w is not None and any(
        w[0] <= s[1] + BESIDE_PERCENT and s[0] <= w[1] + BESIDE_PERCENT for s in spans
    )


def _all_jumps(worn: Finding, events: tuple[Event, ...]) -> bool:
    at = worn.where_percent
    mine = [e for e in events if at is not None and e.channel == worn.channel and _inside(e, at)]
    return all(e.kind == "jump" for e in mine)
