"""From what was seen to what a technician does about it."""

from __future__ import annotations

import numpy as np

from sweepboard.wire import CHANNEL_NAMES, SIGNAL_B
from sweeprig.analysis.bridges import Bridge, Joined
from sweeprig.analysis.dips import Dip
from sweeprig.analysis.end_events import ends_there
from sweeprig.analysis.event_findings import from_outside
from sweeprig.analysis.event_texts import ROUGH_HERE, chance_in_words, interference, numbers_of, worst
from sweeprig.analysis.flats import BY_CHANCE, Flat
from sweeprig.analysis.gathered import inside
from sweeprig.analysis.model import Cause, Code, Event, Finding, FloatArray, TwoTracks
from sweeprig.analysis.pinned import Pinned
from sweeprig.analysis.sense import end_names
from sweeprig.analysis.smoothness import Rough
from sweeprig.analysis.supply import CUT_PERCENT, GROUND_SHIFT_V, SAG_PERCENT, SupplySeen
from sweeprig.analysis.track_map import encounters
from sweeprig.analysis.unplugged import Off
from sweeprig.capture.model import Trace
from sweeprig.words import Sense

LOOK_FOR_BRIDGE = "Unplug and measure between the two signal pins; look for a bridge in plug and harness."
BESIDE_PERCENT = 8.0  # of span: findings so near each other may have one cause
DIP_FAULT_PERCENT = (
    1.0  # % of supply; a shallower dip, and one in which the signal goes on, is a doubt: own choice
)
DISAGREE_PERCENT = 3.0  # % of supply


def about_supply(seen: SupplySeen, events: tuple[Event, ...], *, shift_v: float) -> list[Finding]:
    """Supply cut, dropouts and sag, and the sensor's ground."""
    out = []
    if seen.cut:
        text = f"supply at the sensor is {seen.median_v:z.2f} V, under {CUT_PERCENT:.0f} % of nominal"
        out.append(
            Finding(
                Code.SUPPLY_CUT, Cause.SUPPLY, 2, None, text, "Check the supply wire, its pin and the source."
            )
        )
        return out
    own = tuple(e for e in events if e.channel == 2)
    if own and from_outside(encounters(own), own):
        out.append(interference(own, 2))
    elif own:
        text = f"supply: {len(own)} dropout{'s' if len(own) > 1 else ''}, {worst(own)}; the sensor is not the cause"
        step = (
            "Check the supply pin, its wire, and where it comes from (the rig's USB plug, if the rig powers the "
            "sensor). Move plug and leads while watching the supply."
        )
        out.append(Finding(Code.SUPPLY_DROPOUT, Cause.SUPPLY, 2, None, text, step, numbers=numbers_of(own)))
    if seen.sag_percent > SAG_PERCENT and not any(e.duration_s > 0.01 for e in own):
        text = f"the supply falls slowly by {seen.sag_percent:.1f} % of its level"
        step = "Look for other loads on this supply, and measure the resistance of its wire."
        numbers = {"sag_percent": seen.sag_percent}
        out.append(Finding(Code.SUPPLY_SAG, Cause.SUPPLY, 2, None, text, step, numbers=numbers))
    if shift_v > GROUND_SHIFT_V:
        text = f"ground offset {shift_v * 1e3:z.0f} mV"
        step = "Clean the ground point and check the ground wire for resistance."
        out.append(
            Finding(Code.GROUND_SHIFT, Cause.GROUND, None, None, text, step, numbers={"shift_v": shift_v})
        )
    return out


def about_off(
    runs: tuple[Off, ...], trace: Trace, channel: int, place: FloatArray | None = None
) -> list[Finding]:
    """A signal that is gone for good, or for longer than a contact bounces, and not with its supply."""
    lasting = [r for r in runs if r.lasts and not _unfed(r, trace)]
    if not lasting:
        return []
    first = lasting[0]
    if first.at_place:
        return [ends_there(lasting, trace, channel, place)]
    rail, wire = ("the supply", "ground wire") if first.high else ("ground", "signal wire")
    seconds = sum(r.stop - r.start for r in lasting) * trace.window_s
    at = f"{trace.t_s[first.start]:.2f} s"
    text = f"{CHANNEL_NAMES[channel]} jumps to {rail} at {at}, faster than a lever can move, "
    if first.sinks:
        text = f"{CHANNEL_NAMES[channel]} goes to {rail} from {at} on, beyond the end that the lever met before, "
    text += f"and is {'off' if first.sinks else 'there'} for {seconds:.2f} s in total"
    step = f"Look at plug and {wire} for an open or shorted wire; sweep again."
    return [Finding(Code.OPEN_SIGNAL, Cause.WIRING, channel, None, text, step, numbers={"off_s": seconds})]


def _unfed(run: Off, trace: Trace) -> bool:
    """Whether the supply was gone as well: that is the cause."""
    if trace.supply is None or run.high:
        return False
    level = trace.supply.mean_v
    return float(np.median(level[run.start : run.stop])) < CUT_PERCENT / 100 * float(np.median(level))


def about_flats(
    flats: tuple[Flat, ...], pinned: tuple[Pinned, ...], rough: tuple[Rough, ...], sense: Sense
) -> list[Finding]:
    """Flat spots, dead bands and rough regions of signal A."""
    out = [_flat(f) for f in flats]
    for p in pinned:
        closed = (p.place == "low") != (sense is Sense.FALLING)
        code = Code.DEAD_BAND_CLOSED if closed else Code.DEAD_BAND_OPEN
        text = (
            f"the {end_names(sense)[p.place != 'low']} end stays at {p.level_v:z.3f} V for {p.seconds:.2f} s, "
            f"{abs(p.level_v - p.rail_v) * 1e3:z.0f} mV from {'ground' if p.place == 'low' else 'the supply'}, with "
            f"{p.noise_ratio:.2f} times the noise of the other places"
            + ("" if sense is not Sense.UNKNOWN else "; sense unknown, low end is taken as closed")
        )
        step = (
            "If the mount allows it, turn the sensor until neither end is near ground or supply; else check the stop, "
            "and that it is the right part."
        )
        where = (0.0, 1.0) if closed else (99.0, 100.0)
        out.append(Finding(code, Cause.MOUNTING, 0, where, text, step, numbers={"level_v": p.level_v}))
    for r in rough:
        text = f"noise {r.noise_v * 1e3:z.1f} mV against {r.usual_v * 1e3:z.1f} mV elsewhere"
        numbers = {"noise_v": r.noise_v}
        out.append(Finding(Code.ROUGH_TRACK, Cause.TRACK, 0, r.where, text, ROUGH_HERE, numbers=numbers))
    return out


def _flat(f: Flat) -> Finding:
    """A doubt where a hand that waits there would do the same often enough."""
    text = f"signal stays {f.dwell_s * 1e3:.0f} ms at one level in {f.n_seen} of {f.n_strokes} strokes"
    step = "Sweep slowly across it again; if the level stays while the lever moves, replace the sensor."
    severity, numbers = "fault", {"dwell_s": f.dwell_s}
    if f.p_by_hand > BY_CHANCE:
        severity = "doubt"
        text += f"; a hand that stops by chance would do the same {chance_in_words(f.p_by_hand)}"
        step = "Sweep again without a stop there, at another speed; if the level stays, replace the sensor."
    elif f.wide:
        severity = "doubt"
        text += ", as a lever that stops there does, or a track that is worn through over a stretch"
        step = (
            "Sweep again without a stop there; if the level stays while the lever moves, replace the sensor."
        )
    return Finding(Code.FLAT_SPOT, Cause.TRACK, 0, f.where, text, step, severity, numbers)


def flat_of_b(f: Flat) -> Finding:
    """A flat spot of track B: signal A moves meanwhile, so no hand waits there."""
    stays = f"signal B stays {f.dwell_s * 1e3:.0f} ms at one level in {f.n_seen} of {f.n_strokes} strokes"
    text = f"{stays}, while signal A moves on"
    step = "Sweep slowly across it again; if signal B stays there again, replace the sensor."
    return Finding(Code.FLAT_SPOT, Cause.TRACK, SIGNAL_B, f.where, text, step, numbers={"dwell_s": f.dwell_s})


def about_hum(noise_v: float, found: list[Finding], channel: int) -> list[Finding]:
    """Unrest at rest, where nothing else of this signal or of all of them says so."""
    if any(f.code is Code.INTERFERENCE for f in found):
        return []
    name = CHANNEL_NAMES[channel]
    text = f"{name} never rests: {noise_v * 1e3:z.0f} mV peak to peak where the lever hardly moves"
    step = "Move the leads away from motors, alternator and mains; check screen and ground, and sweep again."
    numbers = {"noise_v": noise_v}
    return [Finding(Code.INTERFERENCE, Cause.INTERFERENCE, channel, None, text, step, "doubt", numbers)]


def about_noise_for_a_time(noise_v: float, found: list[Finding], channel: int) -> list[Finding]:
    """Unrest in some of the stays at both ends, as of a motor that ran then; nothing where interference is named."""
    if not noise_v or any(f.code is Code.INTERFERENCE for f in found):
        return []
    name = CHANNEL_NAMES[channel]
    at_ends = f"{noise_v * 1e3:z.0f} mV peak to peak while the lever is at its ends"
    text = f"{name} does not rest for a part of the sweep: {at_ends}"
    step = "Move the leads away from motors, alternator and mains; check screen and ground, and sweep again."
    numbers = {"noise_v": noise_v}
    return [Finding(Code.INTERFERENCE, Cause.INTERFERENCE, channel, None, text, step, "doubt", numbers)]


def about_dip(dip: Dip, found: list[Finding], channel: int, *, supply_v: float) -> list[Finding]:
    """A place that reads low in every pass, where no other finding of the track is and not all of it is rough."""
    share = 100 * dip.depth_v / supply_v
    severity = "fault" if dip.back and not dip.which and share >= DIP_FAULT_PERCENT else "doubt"
    named = [f for f in found if f.cause is Cause.TRACK and f.channel == channel]
    named = [f for f in named if f.severity in ("fault", severity)]
    text = (
        f"{CHANNEL_NAMES[channel]} reads {dip.depth_v * 1e3:z.0f} mV low between {dip.where[0]:.1f} and "
        f"{dip.where[1]:.1f} % of travel in {dip.n_seen} of {dip.n_strokes} {dip.which or 'strokes, up and down'}"
    )
    step = "Sweep slowly across it again; a dip that stays at this place is the track's: replace the sensor."
    if dip.which:
        text += f"; a hand that {'turns back' if dip.back else 'slows'} there each time does the same"
    numbers = {"worst_depth_percent": share}
    own = Finding(Code.WORN_SPOT, Cause.TRACK, channel, dip.where, text, step, severity, numbers)
    everywhere = any(f.where_percent is None for f in named)
    return [] if everywhere or _touch(own, named) else [own]


def joined_tracks(level_v: float) -> Finding:
    """Two signals that stand at one level together: opposed tracks that are joined."""
    text = f"signals A and B both stay at {level_v:z.3f} V: typical of opposed tracks shorted together"
    numbers = {"level_v": level_v}
    return Finding(Code.TRACKS_SHORTED, Cause.WIRING, None, None, text, LOOK_FOR_BRIDGE, numbers=numbers)


def bridged_tracks(bridge: Bridge) -> Finding:
    """Tracks whose difference is what a bridge of some ohms leaves of it."""
    text = (
        f"signals A and B are {abs(bridge.ends_v) * 1e3:z.0f} mV apart at the ends and "
        f"{abs(bridge.middle_v) * 1e3:z.0f} mV in the middle, as two tracks with some ohms between them are"
    )
    numbers = {"ends_v": bridge.ends_v, "middle_v": bridge.middle_v}
    return Finding(Code.TRACKS_SHORTED, Cause.WIRING, None, None, text, LOOK_FOR_BRIDGE, numbers=numbers)


def tracks_joined_at_times(times: tuple[Joined, ...], trace: Trace) -> Finding:
    """Two signals that move as one for a part of the sweep."""
    first, seconds = times[0], sum(j.stop - j.start for j in times) * trace.window_s
    text = (
        f"signals A and B move as one from {trace.t_s[first.start]:.2f} s on, for {seconds:.2f} s in total, and are "
        f"{first.apart_v:.2g} V or more apart at once before or after: joined at times"
    )
    step = f"Move plug and harness by hand. {LOOK_FOR_BRIDGE}"
    return Finding(Code.TRACKS_SHORTED, Cause.WIRING, None, None, text, step, numbers={"joined_s": seconds})


def about_tracks(two: TwoTracks | None) -> list[Finding]:
    """Shorted or disagreeing tracks."""
    if two is None:
        return []
    if two.relation == "same":
        text = (
            f"B follows A with slope {two.slope:.4f} and {two.offset_v * 1e3:z.0f} mV: the tracks are shorted"
        )
        numbers = {"slope": two.slope}
        return [
            Finding(Code.TRACKS_SHORTED, Cause.WIRING, None, None, text, LOOK_FOR_BRIDGE, numbers=numbers)
        ]
    if two.max_error_percent > DISAGREE_PERCENT or two.relation == "none":
        at = two.at_percent
        where = None if at is None else (max(0.0, at - 1), min(100.0, at + 1))
        line = f"{two.slope:.3f} A {two.offset_v:+z.3f} V"
        text = f"B departs from the line {line} by {two.max_error_percent:.1f} % of supply"
        step = "Sweep each track alone to see which one bends; check its wiring, then replace the sensor."
        numbers = {"max_error_percent": two.max_error_percent}
        return [Finding(Code.TRACKS_DISAGREE, Cause.TRACK, 1, where, text, step, numbers=numbers)]
    return []


def one_cause(found: list[Finding], events: tuple[Event, ...]) -> list[Finding]:
    """Leave out what another finding at the same place already says.

    On a track that is rough all over its texture makes stands and regions: they are left out. A jump at the
    edge of a flat spot is the flat spot's; roughness at a worn spot or flat spot is theirs.
    """
    found = _without_texture(found)
    flat, worn = _of(found, Code.FLAT_SPOT), _of(found, Code.WORN_SPOT)
    sure = [f for f in flat if f.severity == "fault"]
    edges = [f for f in worn if _touch(f, sure) and _all_jumps(f, events)]
    placed = flat + [f for f in worn if f not in edges]
    theirs = [f for f in _of(found, Code.ROUGH_TRACK) if _touch(f, placed)]
    return [f for f in found if f not in edges + theirs]


def _without_texture(found: list[Finding]) -> list[Finding]:
    rough = _of(found, Code.ROUGH_TRACK)
    if not any(f.where_percent is None and f.channel == 0 for f in rough):
        return found
    made = [f for f in rough + _of(found, Code.FLAT_SPOT) if f.where_percent is not None]
    return [f for f in found if f not in made]


def _of(found: list[Finding], code: Code) -> list[Finding]:
    return [f for f in found if f.code is code]


def _touch(one: Finding, others: list[Finding]) -> bool:
    spans = [o.where_percent for o in others if o.where_percent is not None]
    w = one.where_percent
    return w is not None and any(
        w[0] <= s[1] + BESIDE_PERCENT and s[0] <= w[1] + BESIDE_PERCENT for s in spans
    )


def _all_jumps(worn: Finding, events: tuple[Event, ...]) -> bool:
    at = worn.where_percent
    mine = [e for e in events if at is not None and e.channel == worn.channel and inside(e, at)]
    return all(e.kind == "jump" for e in mine)
