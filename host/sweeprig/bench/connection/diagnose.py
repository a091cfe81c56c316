"""The connection test: open, shorted, swapped, on a wrong pin, not following; each told apart where physics
allows, and said where it does not.

What is looked at: the supply and its limiter, the signal with the burden on and off, and the signal while the
bias line pulls at the divided node, at both lever positions. For a potentiometer with ends a, b and wiper w:

- an open signal wire leaves the divided node to its lower resistor alone, so the bias pulls it further;
- with the ground lead open or the supply on the wiper, the signal stands at the supply through part of the
  track, so that the rig's load brings it down a little; joined to the supply directly, it does not move;
- with the ground on the wiper or the supply lead open, the signal stands at ground as in a short;
- a supply on the wiper is shorted at one lever position only.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from sweeprig.bench.connection.model import (
    Check,
    CheckFinding,
    Fault,
    Joint,
    Position,
    joint_of,
    not_analogue,
    source_ohm,
)
from sweeprig.bench.readings.limits import least_supply_v, limit
from sweeprig.bench.readings.live import Levels
from sweeprig.frontend import FrontEnd
from sweeprig.judge.profile import Profile
from sweeprig.words import Sense

NO_CURRENT_A = 0.2e-3  # a track of 10 kohm takes 0.5 mA at 5 V


def diagnose(
    closed: Position,
    opened: Position | None,
    *,
    end: FrontEnd,
    profile: Profile,
    told_sense: Sense = Sense.UNKNOWN,
    track: str = "signal",
    toggles: str = "",
) -> Check:
    """Return what the measurements at both lever positions show; `opened` None: only one was measured.

    `toggles` is what `sweeprig.analysis.not_analogue.toggles` said of the signal; levels of such a signal say
    nothing of a lever, so that the test is undecided.
    """
    places = (closed,) if opened is None else (closed, opened)
    joint = next(
        (j for j in (joint_of(p, end) for p in places) if j is not Joint.NOT_TESTED), Joint.NOT_TESTED
    )
    supply = closed.on.supply_v or profile.supply.nominal_v
    moved = 0.0 if opened is None else opened.on.signal_v - closed.on.signal_v
    found = _about_supply(places, end)
    if toggles and not any(f.severity == "fault" for f in found):
        found.append(not_analogue(toggles, places))
    elif not found:
        found = _about_signal(places, joint=joint, end=end, profile=profile, supply=supply, moved=moved)
    follows = not toggles and abs(moved) >= limit("check.follows_percent") / 100 * supply
    sense = Sense.UNKNOWN
    if follows and not any(f.severity == "fault" and f.fault is not Fault.SMALL_SPAN for f in found):
        sense = Sense.RISING if moved > 0 else Sense.FALLING
        found += _about_sense(sense, told_sense, profile)
    severities = {f.severity for f in found}
    unknown = opened is None or "doubt" in severities
    verdict = "fault" if "fault" in severities else "undecided" if unknown else "connected"
    lines = _lines(places, track=track, joint=joint, sense=sense, moved=moved)
    return Check(verdict, sense, moved, joint, tuple(found), lines)


def signal_b(place: Position) -> Position | None:
    """Return the same measurements with signal B in the place of signal A; None where B was not measured."""
    if place.on.signal_b_v is None:
        return None
    bare, up = (None if lv is None else _b(lv) for lv in (place.bare, place.up))
    return Position(_b(place.on), bare, up)


def _b(levels: Levels) -> Levels:
    assert levels.signal_b_v is not None
    return replace(levels, signal_v=levels.signal_b_v, signal_b_v=None)


def _about_supply(places: Sequence[Position], end: FrontEnd) -> list[CheckFinding]:
    bad = [p for p in places if _overloaded(p.on)]
    if not bad:
        return _low_supply(places[0].on, end)
    supply = bad[0].on.supply_v
    shown = "not measured" if supply is None else f"{supply:z.2f} V"
    if len(places) > 1 and len(bad) == 1:
        where = "closed" if bad[0] is places[0] else "open"
        return [
            CheckFinding(
                Fault.WRONG_PIN,
                "The supply or the ground is on the wiper's pin.",
                f"the supply is overloaded at {where} throttle only (supply {shown} there)",
                "plug off, then tell the pins apart with an ohmmeter: sweeprig pins",
            )
        ]
    short = supply is None or supply < limit("first_power.short_v")
    return [
        CheckFinding(
            Fault.SUPPLY_SHORT if short else Fault.SUPPLY_OVERLOAD,
            "The sensor's supply is shorted." if short else "The sensor takes more than the rig gives.",
            f"supply {shown}, the limiter acts at every lever position looked at; it was switched off",
            "look for supply against ground in plug and lead; take the sensor off and check again",
            "a short in the lead and one in the sensor: check again with the sensor off its plug",
        )
    ]


def _overloaded(seen: Levels) -> bool:
    return seen.fault or (seen.supply_v is not None and seen.supply_v < limit("first_power.short_v"))


def _low_supply(seen: Levels, end: FrontEnd) -> list[CheckFinding]:
    least = least_supply_v(end)
    if seen.supply_v is None or seen.supply_v >= least:
        return []
    return [
        CheckFinding(
            Fault.SUPPLY_LOW,
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
) -> list[CheckFinding]:
    ohm = profile.sensor.track_ohm.high if profile.sensor.track_ohm is not None else 0.0
    load = end.load_ohm(burden_on=end.burden_ohm is not None)
    high = load / (load + ohm) - limit("check.hard_percent") / 100
    shares = [p.on.signal_v / supply for p in places]
    if joint is Joint.OPEN:
        return [_open_signal(shares)]
    if min(shares) > high:
        return [_at_supply(places, end, supply)]
    if max(shares) < limit("check.rail_percent") / 100:
        return [_at_ground(places, joint, supply)]
    return [] if len(places) == 1 else _about_moving(places, profile, supply, moved)


def _about_moving(
    places: Sequence[Position], profile: Profile, supply: float, moved: float
) -> list[CheckFinding]:
    if abs(moved) < limit("check.follows_percent") / 100 * supply:
        return [_not_following(places, supply)]
    if abs(moved) < profile.limits.span.value * supply / profile.supply.nominal_v:
        return [_small_span(moved, profile)]
    return []


def _open_signal(shares: Sequence[float]) -> CheckFinding:
    return CheckFinding(
        Fault.OPEN_SIGNAL,
        "The signal lead is open: nothing holds it.",
        f"signal at {100 * shares[0]:.1f} % of supply, and the bias line pulls it as far as it pulls an open lead",
        "look at the signal pin in the plug, the lead and the wiper; check again while moving them",
        "an open lead and a lifted wiper: measure from the wiper's pin to either end with the plug off",
    )


def _percent(places: Sequence[Position], supply: float) -> str:
    return " and ".join(
        f"{p.on.signal_v:z.3f} V ({100 * p.on.signal_v / supply:.1f} % of supply)" for p in places
    )


def _at_supply(places: Sequence[Position], end: FrontEnd, supply: float) -> CheckFinding:
    evidence = f"signal {_percent(places, supply)}"
    ohm = source_ohm(places[0], end)
    least = limit("check.hard_percent") / 100 * (end.burden_ohm or 0.0)
    if ohm is not None and ohm < least:
        return CheckFinding(
            Fault.SHORT_TO_SUPPLY,
            "The signal is joined to the supply.",
            f"{evidence}; the burden does not bring it down (less than {least:.0f} ohm behind the signal)",
            "look for the signal against the supply in plug and lead",
            f"a short, and an open ground or a supply on the wiper's pin through less than {least:.0f} ohm of track",
        )
    behind = "" if ohm is None else f"; about {ohm:.0f} ohm of track behind the signal"
    current = places[0].on.current_a
    known = "" if current is None else f"; the sensor takes {1e3 * current:.2f} mA"
    step = "plug off, then measure: sweeprig pins; look at the ground pin"
    if ohm is not None and current is not None:
        opened = current < NO_CURRENT_A
        return CheckFinding(
            Fault.GROUND_OPEN if opened else Fault.WRONG_PIN,
            "The sensor's ground is open." if opened else "The supply is on the wiper's pin.",
            f"{evidence}{behind}{known}",
            step,
        )
    more = "" if ohm is not None else ", a signal joined to the supply"
    return CheckFinding(
        Fault.AT_SUPPLY,
        f"The signal stays at the supply: open ground, supply on the wiper's pin{more}.",
        f"{evidence}{behind}{known}",
        step,
        "these look the same from here; an ohmmeter or the supply current tells them apart",
    )


def _at_ground(places: Sequence[Position], joint: Joint, supply: float) -> CheckFinding:
    rise = min(p.on.signal_v - places[0].zero_v for p in places)
    if joint is Joint.CONNECTED and rise > limit("check.hard_percent") / 100 * supply:
        return _not_following(places, supply)
    current = places[0].on.current_a
    known = "" if current is None else f"; the sensor takes {1e3 * current:.2f} mA"
    evidence = f"signal {_percent(places, supply)}; bias line: {joint}{known}"
    step = (
        "plug off, then measure: sweeprig pins; look at supply and signal pins; jumper J1 of the rig at LEAD"
    )
    if joint is Joint.CONNECTED and current is not None and current < NO_CURRENT_A:
        return CheckFinding(Fault.SUPPLY_OPEN, "The sensor's supply lead is open.", evidence, step)
    causes = ["signal shorted to ground", "ground on the wiper's pin"]
    causes += ["open supply lead"] if current is None else []
    causes += ["open signal lead"] if joint is not Joint.CONNECTED else []
    tell = "an ohmmeter with the plug off tells them apart"
    if joint is not Joint.CONNECTED:
        tell += "; a build with a bias line, feeding the sensor, tells an open lead from the others"
    return CheckFinding(
        Fault.AT_GROUND,
        f"The signal stays at ground: {', '.join(causes)}.",
        evidence,
        step,
        f"these look the same from here; {tell}",
    )


def _not_following(places: Sequence[Position], supply: float) -> CheckFinding:
    return CheckFinding(
        Fault.NOT_FOLLOWING,
        "The signal does not follow the lever.",
        f"signal {_percent(places, supply)} at closed and open throttle",
        "move the lever from stop to stop and check again; then look at the lever's coupling to the sensor",
        "a lever that was not moved, a loose coupling and a signal lead on a wrong pin",
    )


def _small_span(moved: float, profile: Profile) -> CheckFinding:
    return CheckFinding(
        Fault.SMALL_SPAN,
        "The signal follows, but not far.",
        f"{abs(moved):z.2f} V between closed and open; the profile asks for {profile.limits.span.value:z.1f} V",
        "move the lever from stop to stop; on the plain build look at the ground pin too",
        "a lever not moved to its stops, an open ground seen through a low input resistance, a wrong profile",
        severity="note",
    )


def _about_sense(sense: Sense, told: Sense, profile: Profile) -> list[CheckFinding]:
    wanted = told if told is not Sense.UNKNOWN else Sense.UNKNOWN
    if wanted is Sense.UNKNOWN and profile.sensor.sense != "either":
        wanted = Sense(profile.sensor.sense)
    if sense is wanted or (wanted is Sense.UNKNOWN and sense is Sense.RISING):
        return []
    hall = profile.sensor.kind == "hall"
    return [
        CheckFinding(
            Fault.REVERSED,
            f"The signal is {sense} as the throttle opens."
            + ("" if wanted is Sense.UNKNOWN else f" {wanted.capitalize()} was expected."),
            "lever at closed throttle first, then open",
            "check the pins: sweeprig pins; tell the controller the sense, or swap supply and ground of a track"
            if not hall
            else "check the pins before anything else: a Hall part with supply and ground swapped can be destroyed",
            "on a potentiometer, supply and ground swapped only reverses the sense: from here it cannot be told"
            " from a sensor that is made that way",
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
        + ("" if p.on.current_a is None else f", {1e3 * p.on.current_a:.2f} mA")
        for name, p in zip(names, places, strict=False)
    ]
    out.append(f"{track} lead by the bias line: {joint}")
    if len(places) > 1:
        out.append(f"{track} moves by {moved:+z.3f} V from closed to open: sense {sense}")
    return tuple(out)
