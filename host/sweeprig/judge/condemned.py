"""What a fail condemns: the sensor itself, or what it is connected and mounted with."""

from __future__ import annotations

from collections.abc import Sequence

from sweeprig.analysis.model import Cause, Finding

FAILED = {  # what fails; what is added where nothing else does
    Cause.TRACK: ("The sensor fails", ""),
    Cause.CONNECTION: ("A contact fails", "; the sensor's track shows no fault"),
    Cause.SUPPLY: ("The supply or its wiring fails", ", not the sensor"),
    Cause.GROUND: ("The ground wire or a pin of it fails", "; the sensor's track shows no fault"),
    Cause.WIRING: ("The wiring fails", "; the sensor is judged once it is repaired"),
    Cause.INTERFERENCE: ("The installation fails", ", not the sensor: check the wiring"),
    Cause.MOUNTING: ("The sensor's mounting fails", "; its signal shows no other fault"),
}
WORN = "the sensor is worn as well."


def worn_as_well(faults: Sequence[Finding]) -> Finding | None:
    """Return the fault of the sensor itself that is behind another cause; None where there is none."""
    if not faults or faults[0].cause is Cause.TRACK:
        return None
    return next((f for f in faults if f.severity == "fault" and f.cause is Cause.TRACK), None)


def condemned(faults: Sequence[Finding]) -> str:
    """Return what fails, in one sentence, by the first of the faults; "" where no fault says."""
    if not faults or faults[0].cause not in FAILED:
        return ""
    what, alone = FAILED[faults[0].cause]
    if worn_as_well(faults) is not None:
        return f"{what}; {WORN}"
    others = {f.cause for f in faults} - {faults[0].cause}
    return f"{what}." if others else f"{what}{alone}."


def in_two_steps(first: Finding, faults: Sequence[Finding]) -> str:
    """Return the next step of the first fault, and behind it that of a worn sensor where it has both."""
    worn = worn_as_well(faults)
    if worn is None:
        return first.next_step
    return f"1. {first.next_step} 2. {WORN[:1].upper()}{WORN[1:]} {worn.next_step}"
