"""What one capture measured, each with its budget."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from sweeprig.analysis.model import Analysis, End
from sweeprig.frontend import FrontEnd
from sweeprig.judge import budget as bu
from sweeprig.judge.model import BudgetLine, Quantity
from sweeprig.judge.scale import Scale
from sweeprig.trim.model import Trim
from sweeprig.words import Sense

UNKNOWN_SENSE = "which end is closed is not known: see low_v and high_v"


@dataclass(frozen=True)
class Track:
    """One track's ends and what calibrates its channel."""

    suffix: str  # "" for A, "_b" for B
    channel: int
    low: End | None
    high: End | None
    trim: Trim | None
    front_end: FrontEnd | None


def measure(
    *, analysis: Analysis, scale: Scale, trim: Trim | None, front_end: FrontEnd | None
) -> dict[str, Quantity]:
    """Return low_v, high_v, closed_v, open_v, span_v, supply_v and the ratios; those of track B hold _b."""
    found = {"supply_v": scale.supply}
    tracks = [Track("", 0, analysis.low, analysis.high, trim, front_end)]
    if analysis.low_b is not None or analysis.high_b is not None:
        tracks.append(Track("_b", 1, analysis.low_b, analysis.high_b, trim, front_end))
    for track in tracks:
        for name, end in (("low", track.low), ("high", track.high)):
            found[f"{name}{track.suffix}_v"] = _level(track, name, end)
        found |= _named(found, track.suffix, sense_of(analysis, track.channel))
        found[f"span{track.suffix}_v"] = _span(track, found)
    for name in ("closed", "open", "low", "high"):
        found[f"{name}_ratio"] = scale.ratio(found[f"{name}_v"], f"{name}_ratio")
    return found


def sense_of(analysis: Analysis, channel: int) -> Sense:
    """Return the sense of one track; B's follows from its slope against A."""
    if channel == 0 or analysis.sense is Sense.UNKNOWN:
        return analysis.sense
    if analysis.two_tracks is None:
        return Sense.UNKNOWN
    same = analysis.two_tracks.slope > 0
    return (
        analysis.sense if same else {Sense.RISING: Sense.FALLING, Sense.FALLING: Sense.RISING}[analysis.sense]
    )


def _level(track: Track, name: str, end: End | None) -> Quantity:
    key = f"{name}{track.suffix}_v"
    if end is None:
        return bu.missing(key, "V", f"no rest was seen at the {name} end")
    lines = (
        BudgetLine("level of the rests", "A", "t", end.u_v, "V", 1.0, end.dof),
        *bu.calibration_lines(end.value_v, channel=track.channel, trim=track.trim, front_end=track.front_end),
    )
    return bu.quantity(key, "V", end.value_v, lines, n_samples=end.n_windows)


def _named(found: dict[str, Quantity], suffix: str, sense: Sense) -> dict[str, Quantity]:
    keys = (f"closed{suffix}_v", f"open{suffix}_v")
    if sense is Sense.UNKNOWN:
        return {key: bu.missing(key, "V", UNKNOWN_SENSE) for key in keys}
    order = ("low", "high") if sense is Sense.RISING else ("high", "low")
    return {key: replace(found[f"{end}{suffix}_v"], name=key) for key, end in zip(keys, order, strict=True)}


def _span(track: Track, found: dict[str, Quantity]) -> Quantity:
    """High minus low: the trim's offset cancels, its gain and the linearity of both ends stay."""
    key, low, high = f"span{track.suffix}_v", track.low, track.high
    if low is None or high is None:
        return bu.missing(key, "V", found[f"{'low' if low is None else 'high'}{track.suffix}_v"].reason)
    value = high.value_v - low.value_v
    lines = [
        BudgetLine("level of the rests, low end", "A", "t", low.u_v, "V", 1.0, low.dof),
        BudgetLine("level of the rests, high end", "A", "t", high.u_v, "V", 1.0, high.dof),
    ]
    own = bu.channel_trim(track.trim, track.channel)
    if own is not None and track.front_end is not None:
        relative = math.sqrt(own.line.var_gain) / abs(own.line.gain_v)
        bent = own.linearity.u_lsb if own.linearity else own.u_linearity_lsb
        both = abs(own.line.gain_v) * math.sqrt(2)
        lines += [
            BudgetLine("gain of the trim", "B", "normal", relative, "V/V", value, own.line.dof),
            BudgetLine(
                "linearity of the converter, both ends", "B", "rectangular", bent, "LSB", both, math.inf
            ),
        ]
    return bu.quantity(key, "V", value, lines, n_samples=low.n_windows + high.n_windows)
