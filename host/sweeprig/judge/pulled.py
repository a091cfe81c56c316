"""Both ends pulled towards one rail and closer together: not a turned sensor, but a resistance to that rail.

And what a finding of ends names beside the mounting where the volts alone cannot tell.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

from sweeprig.analysis.model import Cause, Code, Finding
from sweeprig.judge.model import Check, Verdict

OPPOSED = "sum_b"  # the check that opposed tracks have
ENDS = (Code.CLOSED_OUT_OF_RANGE, Code.OPEN_OUT_OF_RANGE)
RAILS = {-1: ("ground", "ground"), 1: ("the supply", "supply")}


def pulled(found: list[Finding], checks: Iterable[Check]) -> list[Finding]:
    """Return the findings, with wiring as the cause of ends that turning the sensor on its mount cannot explain.

    Turning moves both ends by the same amount and keeps their distance. A resistance from the signal to a rail pulls
    both towards it, closer together than the limits allow.
    """
    by_name = {c.name: c for c in checks}
    for channel, suffix in ((0, ""), (1, "_b")):
        ends = by_name.get(f"closed{suffix}"), by_name.get(f"open{suffix}")
        side, inwards = _side(*ends), _inwards(*ends)
        if side:
            found = [_of_wiring(f, side) if f.code in ENDS and f.channel == channel else f for f in found]
        elif inwards:
            found = [_either(f, inwards) if _is_end(f, channel) else f for f in found]
        elif OPPOSED in by_name and _to_the_middle(*ends):
            found = [_or_joined(f) if _is_end(f, channel) else f for f in found]
    return found


def _side(closed: Check | None, opened: Check | None) -> int:
    """-1 where both ends fail towards ground and are too near each other, 1 towards the supply, else 0."""
    if closed is None or opened is None or {closed.verdict, opened.verdict} != {Verdict.FAIL}:
        return 0
    low, high = sorted((_seen(closed), _seen(opened)), key=lambda e: e[1])
    if not high[0] - low[0] < high[1] - low[2]:
        return 0
    if low[0] < low[1] and high[0] < high[1]:
        return -1
    return 1 if low[0] > low[2] and high[0] > high[2] else 0


def _inwards(closed: Check | None, opened: Check | None) -> int:
    """-1 where the high end alone fails and is drawn inwards, towards ground; 1 the low end towards the supply."""
    if closed is None or opened is None:
        return 0
    failed = [c.verdict is Verdict.FAIL for c in (closed, opened)]
    if sum(failed) != 1 or None in (closed.value, opened.value):
        return 0
    low, high = sorted((_seen(closed), _seen(opened)), key=lambda e: e[0])
    return 1 if low[0] > low[2] else -1 if high[0] < high[1] else 0


def _to_the_middle(closed: Check | None, opened: Check | None) -> bool:
    """Whether both ends fail and lie nearer together than both their ranges."""
    if closed is None or opened is None or {closed.verdict, opened.verdict} != {Verdict.FAIL}:
        return False
    low, high = sorted((_seen(closed), _seen(opened)), key=lambda e: e[1])
    return low[0] > low[2] and high[0] < high[1]


def _seen(check: Check) -> tuple[float, float, float]:
    """Value and limits of one end; a failed check has all three."""
    value, low, high = (math.nan if v is None else v for v in (check.value, check.low, check.high))
    return value, low, high


def _of_wiring(f: Finding, side: int) -> Finding:
    rail, wire = RAILS[side]
    text = f"both ends are drawn towards {rail} and are nearer together; a sensor that is turned keeps their distance"
    step = (
        f"Unplug the sensor and measure from signal to {wire}, in the harness and at the sensor: water, a bridge or a "
        "load there does this. If there is none, check that the profile is the one of this part."
    )
    return replace(f, cause=Cause.WIRING, evidence=f"{f.evidence}; {text}", next_step=step)


def _either(f: Finding, side: int) -> Finding:
    """For one end pulled inwards: the cause stays the mounting, which is more common; the finding names wiring too."""
    rail, wire = RAILS[side]
    text = (
        f"a lever that does not reach its stop reads so, and a resistance from the signal to {rail} may too"
    )
    step = (
        f"If the lever does reach its stop, unplug the sensor and measure from signal to {wire}, in the harness and at "
        "the sensor."
    )
    return replace(f, evidence=f"{f.evidence}; {text}", next_step=f"{f.next_step} {step}")


def _or_joined(f: Finding) -> Finding:
    """For an opposed track whose ends both lie inwards: some ohms between the two signals keep their mirror image."""
    text = "both ends lie inwards: a lever short of both stops reads so, and so do some ohms between the two signals"
    step = (
        "If the lever does reach both stops, unplug the sensor and measure between its two signals, in the harness and "
        "at the sensor."
    )
    return replace(f, evidence=f"{f.evidence}; {text}", next_step=f"{step} {f.next_step}")


def _is_end(f: Finding, channel: int) -> bool:
    """Whether a finding is of one end, and not of the distance of both."""
    return f.code in ENDS and f.channel == channel and f.where_percent is not None
