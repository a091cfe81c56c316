"""A signal that no lever moves: open, at the supply, at ground, or just not following; what tells the causes apart."""

from __future__ import annotations

from collections.abc import Sequence

from sweeprig.bench.connection.model import ConnectionFinding, Joint, Position, WiringFault, source_ohm
from sweeprig.bench.readings.limits import limit
from sweeprig.frontend import FrontEnd

NO_CURRENT_A = 0.2e-3  # a track of 10 kohm takes 0.5 mA at 5 V


def open_signal(shares: Sequence[float]) -> ConnectionFinding:
    """Return the finding on a signal lead that nothing holds."""
    return ConnectionFinding(
        WiringFault.OPEN_SIGNAL,
        "The signal lead is open.",
        f"signal at {100 * shares[0]:.1f} % of supply; the rig's weak pull-up moves it as if nothing were connected",
        "look at the signal pin in the plug, the lead and the wiper; check again while moving them",
        "open lead or wiper lift: measure from the wiper's pin to either end with the plug off",
    )


def _percent(places: Sequence[Position], supply: float) -> str:
    return " and ".join(
        f"{p.on.signal_v:z.3f} V ({100 * p.on.signal_v / supply:.1f} % of supply)" for p in places
    )


def at_supply(places: Sequence[Position], end: FrontEnd, supply: float) -> ConnectionFinding:
    """Return the finding on a signal that stays at the supply; the burden and the current tell its causes apart."""
    evidence = f"signal {_percent(places, supply)}"
    ohm = source_ohm(places[0], end)
    least = limit("check.hard_percent") / 100 * (end.burden_ohm or 0.0)
    if ohm is not None and ohm < least:
        return ConnectionFinding(
            WiringFault.SHORT_TO_SUPPLY,
            "The signal is shorted to the supply.",
            f"{evidence}; the rig's pull-down resistor does not move it: it is tied to the supply by less than"
            f" {least:.0f} ohm",
            "look for the signal wire touching the supply wire, in the plug and along the lead",
            f"signal wire shorted to supply; or, on a track of less than {least:.0f} ohm, ground wire open or supply"
            " connected to the wiper's pin",
        )
    evidence += "" if ohm is None else f"; about {ohm:.0f} ohm of track between signal and supply"
    return _through_track(places[0].on.current_a, ohm, evidence + _current(places))


def _through_track(current_a: float | None, ohm: float | None, evidence: str) -> ConnectionFinding:
    """Return the finding on a signal at the supply with track between: the current tells ground from supply."""
    step = "plug off, then measure: sweeprig pins; look at the ground pin"
    if ohm is not None and current_a is not None:
        opened = current_a < NO_CURRENT_A
        return ConnectionFinding(
            WiringFault.GROUND_OPEN if opened else WiringFault.WRONG_PIN,
            "The sensor's ground is open." if opened else "The supply is on the wiper's pin.",
            evidence,
            step,
        )
    more = "" if ohm is not None else ", signal shorted to the supply"
    return ConnectionFinding(
        WiringFault.AT_SUPPLY,
        "The signal stays at the supply.",
        evidence,
        step,
        f"one of these: ground open, supply connected to the wiper's pin{more}; an ohmmeter or the supply current"
        " shows which",
    )


def at_ground(places: Sequence[Position], joint: Joint, supply: float) -> ConnectionFinding:
    """Return the finding on a signal that stays at ground; bias line and current tell some of its causes apart."""
    rise = min(p.on.signal_v - places[0].zero_v for p in places)
    joined = joint is Joint.CONNECTED
    if joined and rise > limit("check.hard_percent") / 100 * supply:
        return not_following(places, supply)
    current = places[0].on.current_a
    evidence = f"signal {_percent(places, supply)}; signal lead: {joint}{_current(places)}"
    step = (
        "plug off, then measure: sweeprig pins; look at supply and signal pins; a rig with jumper J1 (full, driven): J1"
        " must be at LEAD, not at RAMP"
    )
    if joined and current is not None and current < NO_CURRENT_A:
        return ConnectionFinding(WiringFault.SUPPLY_OPEN, "The sensor's supply lead is open.", evidence, step)
    causes = ["signal shorted to ground", "ground connected to the wiper's pin"]
    causes += ["supply lead open"] if current is None else []
    causes += [] if joined else ["signal lead open"]
    tell = "an ohmmeter with the plug off shows which"
    if not joined:
        tell += "; a full or driven build that powers the sensor shows an open lead"
    return ConnectionFinding(
        WiringFault.AT_GROUND,
        "The signal stays at ground.",
        evidence,
        step,
        f"one of these: {', '.join(causes)}; {tell}",
    )


def _current(places: Sequence[Position]) -> str:
    amps = places[0].on.current_a
    return "" if amps is None else f"; the sensor draws {1e3 * amps:.2f} mA from the supply"


def not_following(places: Sequence[Position], supply: float) -> ConnectionFinding:
    """Return the finding on a signal that stands still while the lever moves."""
    return ConnectionFinding(
        WiringFault.NOT_FOLLOWING,
        "The signal does not follow the lever.",
        f"signal {_percent(places, supply)} at closed and open throttle",
        "move the lever from stop to stop and check again; then look at the lever's coupling to the sensor",
        "lever not moved, loose coupling, or signal lead on a wrong pin",
    )
