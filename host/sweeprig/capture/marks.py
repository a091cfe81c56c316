"""Places marked while a harness is moved: as text in a capture, or as presses of the rig's button."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from sweeprig.capture.model import Capture

PLACES = ("plug", "bulkhead", "controller end")
UNMARKED = "not marked"


@dataclass(frozen=True)
class MarkAt:
    """From this time on [s since the capture's first record] the operator works at this place."""

    at_s: float
    place: str


def place_at(marks: Sequence[MarkAt], at_s: float) -> str:
    """Return the place in force at a time."""
    place = UNMARKED
    for mark in sorted(marks, key=lambda m: m.at_s):
        if mark.at_s > at_s:
            break
        place = mark.place
    return place


def mark_text(mark: MarkAt) -> str:
    """Return a mark as it is kept among what was asked for and seen."""
    return f"now at {mark.at_s:.3f} s: {mark.place}"


def marks_in(texts: Sequence[str]) -> list[MarkAt]:
    """Return the marks among the lines of a capture."""
    out = []
    for text in texts:
        head, _, place = text.partition(" s: ")
        if head.startswith("now at ") and place:
            try:
                at_s = float(head.removeprefix("now at "))
            except ValueError:
                continue
            if math.isfinite(at_s):
                out.append(MarkAt(at_s, place))
    return out


def marks_of(capture: Capture) -> list[MarkAt]:
    """Return the marks of a capture: those kept as text, else those of the rig's button, place after place."""
    kept = marks_in(capture.coaching)
    if kept or not len(capture.records):
        return kept
    first = int(capture.records.index[0])
    return [
        MarkAt((m.index - first) * capture.window_s, PLACES[k % len(PLACES)])
        for k, m in enumerate(capture.marks)
    ]
