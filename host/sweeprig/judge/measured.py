"""What one capture measured, each with its budget."""

from __future__ import annotations

from dataclasses import dataclass

from sweeprig.analysis.model import Analysis, End
from sweeprig.judge import budget as bu
from sweeprig.judge.load import RigLoad
from sweeprig.judge.model import BudgetLine, Quantity
from sweeprig.judge.named_ends import SUFFIXES, ends_of, levels, place_of, sense_of
from sweeprig.judge.rig import Rig
from sweeprig.judge.scale import Scale
from sweeprig.words import Sense

UNKNOWN_SENSE = "which end is closed is not known"
SEE_BOTH = ": see the low and the high end"


@dataclass(frozen=True)
class Track:
    """One track and what calibrates its channel."""

    channel: int  # 0 for A, 1 for B
    analysis: Analysis
    rig: Rig | None
    load: RigLoad

    @property
    def suffix(self) -> str:
        """What the names of this track's quantities hold."""
        return SUFFIXES[self.channel]


def measure(*, analysis: Analysis, scale: Scale, rig: Rig | None, load: RigLoad) -> dict[str, Quantity]:
    """Return low_v, high_v, closed_v, open_v, span_v, supply_v and the ratios; those of track B hold _b."""
    found = {"supply_v": scale.supply}
    channels = (0, 1) if any(ends_of(analysis, 1)) else (0,)
    for channel in channels:
        track = Track(channel, analysis, rig, load)
        for place in ("low", "high", "closed", "open"):
            key = f"{place}{track.suffix}_v"
            found[key] = _level(track, place)
            found[key.replace("_v", "_ratio")] = scale.ratio(found[key], key.replace("_v", "_ratio"))
        found[f"span{track.suffix}_v"] = _span(track)
    return found


def _level(track: Track, place: str) -> Quantity:
    key = f"{place}{track.suffix}_v"
    end = levels(track.analysis, track.channel).get(key)
    if end is None:
        unknown = place in ("closed", "open") and sense_of(track.analysis, track.channel) is Sense.UNKNOWN
        see = SEE_BOTH if any(ends_of(track.analysis, track.channel)) else ""
        why = f"{UNKNOWN_SENSE}{see} ({track.analysis.sense_evidence})"
        return bu.missing(key, "V", why if unknown else _never_still(track, place))
    lines = (
        BudgetLine("level of the rests", "A", "t", end.u_v, "V", 1.0, end.dof),
        *bu.calibration_lines(end.value_v, channel=track.channel, rig=track.rig),
        *track.load.budget_lines(end.value_v, rail_v=rail_of(end)),
    )
    return bu.quantity(key, "V", end.value_v, lines, n_samples=end.n_windows)


def _never_still(track: Track, place: str) -> str:
    if not track.analysis.strokes:
        return "no movement from stop to stop was seen in the signal"
    sense = sense_of(track.analysis, track.channel)
    name = place_of(place, sense) if place in ("low", "high") else place
    return f"the lever was never held still at the {name} end"


def rail_of(end: End) -> float | None:
    """Return the supply at the rests of an end [V]; None where it was not observed."""
    return end.value_v / end.ratio if end.ratio > 0 else None


def _span(track: Track) -> Quantity:
    """High minus low: the calibration's offset cancels, its gain and the linearity of both ends stay."""
    key, (low, high) = f"span{track.suffix}_v", ends_of(track.analysis, track.channel)
    if low is None or high is None:
        return bu.missing(key, "V", _never_still(track, "low" if low is None else "high"))
    lines = (
        BudgetLine("level of the rests, low end", "A", "t", low.u_v, "V", 1.0, low.dof),
        BudgetLine("level of the rests, high end", "A", "t", high.u_v, "V", 1.0, high.dof),
        *bu.span_lines(low.value_v, high.value_v, channel=track.channel, rig=track.rig),
        *track.load.span_lines(low.value_v, high.value_v, rail_v=rail_of(high)),
    )
    return bu.quantity(key, "V", high.value_v - low.value_v, lines, n_samples=low.n_windows + high.n_windows)
