"""Doubts about the end at which a sweep began: the hand may have begun at the other one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from sweeprig.analysis.model import Analysis, Cause, Code, Finding
from sweeprig.judge.checks import CheckContext, end_checks
from sweeprig.judge.model import Verdict
from sweeprig.judge.named_ends import OTHER
from sweeprig.words import Sense


def doubted(seen: CheckContext, seen_of: Callable[[Analysis], CheckContext], given: Sense) -> Analysis:
    """Return the analysis with an unknown sense where the limits say that the sweep may have begun at the other end.

    So where the other sense is the profile's, or rising, which most are, and all ends keep their limits that way.
    `seen_of` gives the context of another analysis; `given`: the sense that the operator named.
    """
    found, other = seen.analysis, OTHER.get(seen.analysis.sense)
    if given is not Sense.UNKNOWN or other is None or not _allows(seen, other):
        return found
    if _fails(seen_of(replace(found, sense=other))):
        return found
    why = (
        f"{found.sense_evidence}: {found.sense}; or it began at the other end: then {other}, and the ends fit"
    )
    step = (
        "Sweep again from closed throttle, or give the sense (`--sense`); swapped supply and ground of a potentiometer "
        "reverse it."
    )
    open_ = Finding(Code.WRONG_SENSE, Cause.WIRING, 0, None, why, step, "doubt")
    kept = tuple(f for f in found.findings if f.code is not Code.WRONG_SENSE)
    return replace(found, sense=Sense.UNKNOWN, sense_evidence=why, findings=(*kept, open_))


def _allows(seen: CheckContext, sense: Sense) -> bool:
    """Whether the profile wants this sense, or takes it as the usual one, and limits the ends at all."""
    wanted, limits = seen.profile.sensor.sense, seen.profile.limits
    usual = wanted == sense or (wanted == "either" and sense is Sense.RISING)
    return usual and limits.closed is not None and limits.open is not None


def _fails(seen: CheckContext) -> bool:
    return any(c.verdict is Verdict.FAIL for c in end_checks(seen))
