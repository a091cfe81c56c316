"""The faults of the connection test: open, shorted, swapped, on a wrong pin, not following. Where two of them cannot be
told apart by measuring, the finding says so.

What is measured: the supply and its limiter, the signal with the burden on and off, and the signal while the
bias line pulls at the divided node, at both lever positions. For a potentiometer with ends a, b and wiper w:

- an open signal wire leaves the divided node to its lower resistor alone, so the bias pulls it further;
- with the ground lead open or the supply on the wiper, the signal is at the supply through part of the
  track, so that the rig's load brings it down a little; joined to the supply directly, it does not move;
- with the ground on the wiper or the supply lead open, the signal is at ground as in a short;
- a supply on the wiper is shorted at one lever position only.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from sweeprig.bench.connection.model import (
    ConnectionFinding,
    ConnectionTest,
    Joint,
    Position,
    WiringFault,
    joint_of,
    not_analogue,
)
from sweeprig.bench.connection.stuck import at_ground, at_supply, not_following, open_signal
from sweeprig.bench.readings.limits import least_supply_v, limit
from sweeprig.bench.readings.live import Levels
from sweeprig.frontend import FrontEnd
from sweeprig.judge.profile import Profile
from sweeprig.words import Sense


def diagnose(
    closed: Position,
    opened: Position | None,
    *,
    end: FrontEnd,
    profile: Profile,
    given_sense: Sense = Sense.UNKNOWN,
    track: str = "signal",
    toggles: str = "",
) -> ConnectionTest:
    """Return what the measurements at both lever positions show; `opened` None: only one was measured.

    `toggles` is the result of `sweeprig.analysis.not_analogue.toggles`: a signal that switches shows no position of a
    lever, so the test is undecided.
    """
    places = (closed,) if opened is None else (closed, opened)
    joint = _joint(places, end)
    supply = closed.on.supply_v or profile.supply.nominal_v
    moved = 0.0 if opened is None else opened.on.signal_v - closed.on.signal_v
    found = _about_supply(places, end)
    if toggles and not _faulty(found):
        found.append(not_analogue(toggles, places))
    elif not found:
        found = _about_signal(places, joint=joint, end=end, profile=profile, supply=supply, moved=moved)
    sense = Sense.UNKNOWN if toggles else _sense(moved, supply, found)
    if sense is not Sense.UNKNOWN:
        found += _about_sense(sense, given_sense, profile)
    lines = _lines(places, track=track, joint=joint, sense=sense, moved=moved)
    return ConnectionTest(_verdict(found, one_place=opened is None), sense, moved, joint, tuple(found), lines)


def _joint(places: Sequence[Position], end: FrontEnd) -> Joint:
    """Return what the bias line shows of the signal lead, where it was tried."""
    tried = (joint_of(p, end) for p in places)
    return next((j for j in tried if j is not Joint.NOT_TESTED), Joint.NOT_TESTED)


def _sense(moved: float, supply: float, found: Sequence[ConnectionFinding]) -> Sense:
    """Return which way a signal runs that follows the lever [V]; unknown where something worse is wrong with it."""
    if abs(moved) < limit("check.follows_percent") / 100 * supply:
        return Sense.UNKNOWN
    if _faulty([f for f in found if f.fault is not WiringFault.SMALL_SPAN]):
        return Sense.UNKNOWN
    return Sense.RISING if moved > 0 else Sense.FALLING


def _faulty(found: Sequence[ConnectionFinding]) -> bool:
    return any(f.severity == "fault" for f in found)


def _verdict(found: Sequence[ConnectionFinding], *, one_place: bool) -> str:
    if _faulty(found):
        return "fault"
    return "undecided" if one_place or any(f.severity == "doubt" for f in found) else "connected"


def signal_b(place: Position) -> Position | None:
    """Return the same measurements with signal B in the place of signal A; None where B was not measured."""
    if place.on.signal_b_v is None:
        return None
    bare, up = (None if lv is None else _b(lv) for lv in (place.bare, place.up))
    return Position(_b(place.on), bare, up)


def _b(levels: Levels) -> Levels:
    assert levels.signal_b_v is not None
    return replace(levels, signal_v=levels.signal_b_v, signal_b_v=None)


def _about_supply(places: Sequence[Position], end: FrontEnd) -> list[ConnectionFinding]:
    bad = [p for p in places if p.on.overloaded]
    if not bad:
        return _low_supply(places[0].on, end)
    supply = bad[0].on.supply_v
    shown = "not measured" if supply is None else f"{supply:z.2f} V"
    if len(bad) < len(places):
        return [_bad_at_one(shown, "closed" if bad[0] is places[0] else "open")]
    short = supply is None or supply < limit("first_power.short_v")
    return [
        ConnectionFinding(
            WiringFault.SUPPLY_SHORT if short else WiringFault.SUPPLY_OVERLOAD,
            "The sensor's supply is shorted."
            if short
            else "The sensor's supply current exceeds the rig's limit.",
            f"supply {shown}, the limiter acts at every lever position checked; the supply is off",
            "look for supply against ground in plug and lead; unplug the sensor and check again",
            "short in the lead or in the sensor: check again with the sensor unplugged",
        )
    ]


def _bad_at_one(shown: str, where: str) -> ConnectionFinding:
    return ConnectionFinding(
        WiringFault.WRONG_PIN,
        "The supply or the ground is on the wiper's pin.",
        f"the supply is overloaded at {where} throttle only (supply {shown} there)",
        "take the plug off and identify the pins with an ohmmeter: sweeprig pins",
    )


def _low_supply(seen: Levels, end: FrontEnd) -> list[ConnectionFinding]:
    least = least_supply_v(end)
    if seen.supply_v is None or seen.supply_v >= least:
        return []
    return [
        ConnectionFinding(
            WiringFault.SUPPLY_LOW,
            "The supply at the sensor is low.",
            f"{seen.supply_v:z.2f} V, the limiter does not act; at least {least:z.2f} V is expected",
            "another USB port or cable; look for resistance in the supply lead",
        )
    ]


def _about_signal(
    places: Sequence[Position],
    *,
    joint: Joint,
    end: FrontEnd,
    profile: Profile,
    supply: float,
    moved: float,
) -> list[ConnectionFinding]:
    ohm = profile.sensor.track_ohm.high if profile.sensor.track_ohm is not None else 0.0
    load = end.load_ohm(burden_on=end.burden_ohm is not None)
    high = load / (load + ohm) - limit("check.hard_percent") / 100
    shares = [p.on.signal_v / supply for p in places]
    if joint is Joint.OPEN:
        return [open_signal(shares)]
    if min(shares) > high:
        return [at_supply(places, end, supply)]
    if max(shares) < limit("check.rail_percent") / 100:
        return [at_ground(places, joint, supply)]
    return [] if len(places) == 1 else _about_moving(places, profile, supply, moved)


def _about_moving(
    places: Sequence[Position], profile: Profile, supply: float, moved: float
) -> list[ConnectionFinding]:
    if abs(moved) < limit("check.follows_percent") / 100 * supply:
        return [not_following(places, supply)]
    if abs(moved) < profile.limits.span.value * supply / profile.supply.nominal_v:
        return [_small_span(moved, profile)]
    return []


def _small_span(moved: float, profile: Profile) -> ConnectionFinding:
    return ConnectionFinding(
        WiringFault.SMALL_SPAN,
        "The signal follows the lever, but the travel is too small.",
        f"{abs(moved):z.2f} V between closed and open; the profile asks for {profile.limits.span.value:z.1f} V",
        "move the lever from stop to stop; on the plain build look at the ground pin too",
        "lever not moved to its stops, ground wire open (a low-resistance input shows a signal), or wrong profile",
        severity="note",
    )


def _about_sense(sense: Sense, given: Sense, profile: Profile) -> list[ConnectionFinding]:
    wanted = given
    if wanted is Sense.UNKNOWN and profile.sensor.sense != "either":
        wanted = Sense(profile.sensor.sense)
    if sense is wanted or (wanted is Sense.UNKNOWN and sense is Sense.RISING):
        return []
    hall = profile.sensor.kind == "hall"
    return [
        ConnectionFinding(
            WiringFault.REVERSED,
            f"The signal is {sense} as the throttle opens."
            + ("" if wanted is Sense.UNKNOWN else f" {wanted.capitalize()} was expected."),
            "lever at closed throttle first, then open",
            "check the pins: sweeprig pins; set the sense in the controller, or swap supply and ground of a track"
            if not hall
            else "check the pins before anything else: a Hall part with supply and ground swapped can be destroyed",
            "a potentiometer with supply and ground swapped, or a sensor made that way",
            severity="note" if wanted is Sense.UNKNOWN else "fault",
        )
    ]


def _lines(
    places: Sequence[Position], *, track: str, joint: Joint, sense: Sense, moved: float
) -> tuple[str, ...]:
    names = ("closed", "open")
    out = [
        f"{track} at {name} throttle: {p.on.signal_v:z.3f} V"
        + ("" if p.on.supply_v is None else f", supply {p.on.supply_v:z.3f} V")
        + ("" if p.on.current_a is None else f", sensor draws {1e3 * p.on.current_a:.2f} mA")
        for name, p in zip(names, places, strict=False)
    ]
    out.append(f"{track} lead: {joint} (tested with a weak pull-up or pull-down in the rig)")
    if len(places) > 1:
        out.append(f"{track} moves by {moved:+z.3f} V from closed to open: sense {sense}")
    return tuple(out)
