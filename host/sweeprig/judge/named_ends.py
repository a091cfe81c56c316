"""The ends of each track under their names: low and high always, closed and open where the sense is known."""

from __future__ import annotations

from sweeprig.analysis.model import Analysis, End
from sweeprig.analysis.sense import end_names
from sweeprig.words import Sense

OTHER = {Sense.RISING: Sense.FALLING, Sense.FALLING: Sense.RISING}
SUFFIXES = ("", "_b")  # of track A and of track B, by channel


def sense_of(analysis: Analysis, channel: int) -> Sense:
    """Return the sense of one track; B's follows from its slope against A."""
    if channel == 0 or analysis.sense is Sense.UNKNOWN:
        return analysis.sense
    if analysis.two_tracks is None:
        return Sense.UNKNOWN
    return analysis.sense if analysis.two_tracks.slope > 0 else OTHER[analysis.sense]


def ends_of(analysis: Analysis, channel: int) -> tuple[End | None, End | None]:
    """Return the low and the high end of one track."""
    return (analysis.low_b, analysis.high_b) if channel else (analysis.low, analysis.high)


def place_of(end: str, sense: Sense) -> str:
    """Return closed or open for low or high; low and high stay where the sense is unknown."""
    return end_names(sense)[end != "low"]


def levels(analysis: Analysis, channel: int) -> dict[str, End]:
    """Return the ends that were seen, as low_v, high_v, closed_v, open_v; those of track B as low_b_v and so on."""
    sense, suffix = sense_of(analysis, channel), SUFFIXES[channel]
    out = {}
    for name, end in zip(("low", "high"), ends_of(analysis, channel), strict=True):
        if end is not None:
            out[f"{name}{suffix}_v"] = end
            out[f"{place_of(name, sense)}{suffix}_v"] = end
    return out
