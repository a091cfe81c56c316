"""Which way the signal runs, and what says so."""

from __future__ import annotations

import numpy as np

from sweeprig.analysis.model import Cause, Code, Finding, FloatArray, Rest
from sweeprig.words import Sense, Starts


def find_sense(
    path: FloatArray, rests: tuple[Rest, ...], place: FloatArray, *, starts: Starts, told: Sense
) -> tuple[Sense, str]:
    """Which way the signal runs, and what says so."""
    if told is not Sense.UNKNOWN:
        return told, f"told by the operator: {told.value}"
    if starts is Starts.ANYWHERE:
        return Sense.UNKNOWN, "neither the sense nor the starting place was told"
    first = place[: rests[0].stop] if rests and rests[0].start < 50 else place[: min(50, path.size)]
    at = float(np.median(first))
    if 10 < at < 90 or not rests:
        return Sense.UNKNOWN, f"the sweep began at {at:.0f} % of signal span, not at an end"
    rising = (at <= 10) == (starts is Starts.CLOSED)
    sense = Sense.RISING if rising else Sense.FALLING
    return (
        sense,
        f"the sweep began {starts.value}, with the signal at its {'low' if at <= 10 else 'high'} end",
    )


def told_wrong(
    path: FloatArray, place: FloatArray, rests: tuple[Rest, ...], starts: Starts, told: Sense
) -> list[Finding]:
    """A finding where the told sense and the start of the sweep differ."""
    seen, why = find_sense(path, rests, place, starts=starts, told=Sense.UNKNOWN)
    if Sense.UNKNOWN in (seen, told) or seen is told:
        return []
    text = f"told {told.value}, but {why}: {seen.value}"
    step = (
        "Check which end the lever began at; on a potentiometer swapped supply and ground reverse the sense."
    )
    return [Finding(Code.WRONG_SENSE, Cause.WIRING, 0, None, text, step)]
