"""Where the fault behind a fail is: in the sensor itself, or in its wiring and mounting."""

from __future__ import annotations

from collections.abc import Sequence

from sweeprig.analysis.model import Cause, Finding

NOT_RULED_OUT = "; a worn spot is not ruled out yet"
PLACES = {  # where the fault is; what is added where there is no other
    Cause.TRACK: ("in the sensor", ""),
    Cause.CONNECTION: ("in a contact", "; the sensor's track shows no fault"),
    Cause.SUPPLY: ("in the supply or its wiring", ", not in the sensor"),
    Cause.GROUND: ("in the ground wire or at one of its pins", "; the sensor's track shows no fault"),
    Cause.WIRING: ("in the wiring", ": on the bench in the rig's lead, or in the sensor's own plug or cable"),
    Cause.INTERFERENCE: ("outside the sensor (interference)", ": check how and where the leads run"),
    Cause.MOUNTING: ("in the mounting", "; no dropout and no worn spot was seen"),
}
IN_TRACK_OR_CONTACT = "The fault is in the sensor's track or in a contact."
WORN = "the sensor is worn as well."


def worn_as_well(faults: Sequence[Finding]) -> Finding | None:
    """Return a fault of the sensor itself where the first fault has another cause; None where there is none."""
    if not faults or faults[0].cause is Cause.TRACK:
        return None
    return next((f for f in faults if f.severity == "fault" and f.cause is Cause.TRACK), None)


def where_the_fault_is(faults: Sequence[Finding]) -> str:
    """Return where the fault is, in one sentence, by the first of the faults; "" where no fault says."""
    if not faults or faults[0].cause not in PLACES:
        return ""
    if faults[0].or_contact:
        return IN_TRACK_OR_CONTACT
    where, alone = PLACES[faults[0].cause]
    if worn_as_well(faults) is not None:
        return f"The fault is {where}; {WORN}"
    if any("more_strokes" in f.numbers for f in faults):
        alone = NOT_RULED_OUT
    others = {f.cause for f in faults} - {faults[0].cause}
    return f"The fault is {where}." if others else f"The fault is {where}{alone}."


def in_two_steps(first: Finding, faults: Sequence[Finding]) -> str:
    """Return the next step of the first fault, and behind it that of a worn sensor where it has both."""
    worn = worn_as_well(faults)
    if worn is None:
        return first.next_step
    return f"1. {first.next_step} 2. {WORN[:1].upper()}{WORN[1:]} {worn.next_step}"
