"""Which way the signal runs, and what says so."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from sweeprig.analysis.model import Cause, Code, Finding, FloatArray, Rest
from sweeprig.words import Sense, Starts

BEGIN_S = 0.05  # s; more than this missing, the lever may have left the end that it began at


@dataclass(frozen=True)
class Given:
    """What the operator said of a sweep, and how much of its beginning is missing."""

    starts: Starts
    sense: Sense
    missing_s: float = 0.0
    window_s: float = 1e-3


def find_sense(rests: tuple[Rest, ...], place: FloatArray, given: Given) -> tuple[Sense, str]:
    """Which way the signal runs, and what says so."""
    if given.sense is not Sense.UNKNOWN:
        return given.sense, f"given by the operator: {given.sense.value}"
    if given.starts is Starts.ANYWHERE:
        return Sense.UNKNOWN, "neither the sense nor the starting position is given"
    if given.missing_s > BEGIN_S:
        return (
            Sense.UNKNOWN,
            f"the first {given.missing_s:.2f} s are missing: the starting end is not known",
        )
    begin = max(1, round(BEGIN_S / given.window_s))
    first = place[: rests[0].stop] if rests and rests[0].start < begin else place[:begin]
    at = float(np.median(first))
    if not rests:
        return (
            Sense.UNKNOWN,
            "the signal shows no rest before a movement, so the start does not say which end is closed",
        )
    if 10 < at < 90:
        return Sense.UNKNOWN, "the lever was at neither end when the sweep began"
    rising = (at <= 10) == (given.starts is Starts.CLOSED)
    sense = Sense.RISING if rising else Sense.FALLING
    return (
        sense,
        f"the sweep began {given.starts.value}, with the signal at its {'low' if at <= 10 else 'high'} end",
    )


def sense_conflict(rests: tuple[Rest, ...], place: FloatArray, given: Given) -> list[Finding]:
    """A finding where the given sense and the start of the sweep differ."""
    seen, why = find_sense(rests, place, replace(given, sense=Sense.UNKNOWN))
    if Sense.UNKNOWN in (seen, given.sense) or seen is given.sense:
        return []
    text = f"given as {given.sense.value}, but {why}: {seen.value}"
    step = (
        "Check which end the lever began at; on a potentiometer swapped supply and ground reverse the sense."
    )
    return [Finding(Code.WRONG_SENSE, Cause.WIRING, 0, None, text, step)]


def end_names(sense: Sense) -> tuple[str, str]:
    """Return what the low and the high end are called: closed and open where the sense is known."""
    if sense is Sense.UNKNOWN:
        return "low", "high"
    return ("closed", "open") if sense is Sense.RISING else ("open", "closed")
