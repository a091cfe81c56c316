"""How track B follows track A, and other figures in per cent of supply, with what the converter adds."""

from __future__ import annotations

import math
from dataclasses import replace

from sweeprig.analysis.model import TwoTracks
from sweeprig.calibration.codes import CODES, rectangular
from sweeprig.calibration.uncertainty import channel_of, linearity_line
from sweeprig.judge import budget as bu
from sweeprig.judge.model import BudgetLine, Quantity
from sweeprig.judge.named_ends import SUFFIXES
from sweeprig.judge.rig import Rig
from sweeprig.judge.scale import Scale

PERCENT = "% of supply"
UNREST, NOISE = "interference", "noise of angle and signal"


def slope(two: TwoTracks | None, rig: Rig | None, quantities: dict[str, Quantity], why: str) -> Quantity:
    """Slope of B against A [V/V]: each channel's own gain, and its bend as if the slope came from the two ends.

    The gain that all channels share cancels.
    """
    if two is None:
        return bu.missing("slope_b", "V/V", why)
    if rig is None:
        return bu.quantity("slope_b", "V/V", two.slope, ())
    span, shared = quantities["span_v"].value, bu.shared_gain(rig)
    lines = []
    for channel, name, factor in ((0, "A", two.slope), (1, "B", 1.0)):
        own = channel_of(rig.calibration, channel)
        if own is None:
            continue
        gain = bu.gain_line(own, two.slope, f"{bu.GAIN}, {name}")
        lines.append(replace(gain, u=math.sqrt(max(gain.u**2 - shared**2, 0.0))))
        if span:
            bend = linearity_line(own, CODES / 2)
            at_ends = math.sqrt(2.0) * factor * abs(own.line.gain_v) / span
            lines.append(replace(bend, name=f"{bend.name}, {name}", sensitivity=at_ends))
    return bu.quantity("slope_b", "V/V", two.slope, lines)


def total(two: TwoTracks | None, quantities: dict[str, Quantity], scale: Scale, why: str) -> Quantity:
    """A + B at the middle of the travel [V], at nominal supply where the sensor is ratiometric.

    Four ends on one supply and one converter: what they share is one error in all four, a channel's line in its two
    ends, so these add and are not taken as independent (JCGM 100:2008, 5.2.2).
    """
    seen = _seen_ends(quantities)
    if two is None or len(seen) < 2 * len(SUFFIXES):
        return bu.missing("sum_b", "V", why or "not every end of both tracks was seen")
    at = {key: scale.at_nominal(q) for key, q in seen.items()}
    lines = _lines_of(at)
    same = [b.name for b in lines if b.name.startswith((bu.SUPPLY, bu.FIT, bu.MEMORY))]
    value = sum(q.value or 0.0 for q in at.values()) / 2
    return bu.quantity("sum_b", "V", value, bu.merged(lines, same))


def _lines_of(at: dict[tuple[str, str], Quantity]) -> list[BudgetLine]:
    return [_of_end(line, *key) for key, q in at.items() for line in bu.scaled(q.budget, 0.5)]


def _seen_ends(quantities: dict[str, Quantity]) -> dict[tuple[str, str], Quantity]:
    """Measured ends by track and end."""
    named = {(track, end): quantities.get(f"{end}{track}_v") for end in ("low", "high") for track in SUFFIXES}
    return {key: q for key, q in named.items() if q is not None and q.value is not None}


def _of_end(line: BudgetLine, track: str, end: str) -> BudgetLine:
    """Name a contribution after its track, and after its end where both ends have their own."""
    if line.name in bu.SHARED or line.name.startswith(bu.SUPPLY):
        return line
    name = f"{line.name}, {'B' if track else 'A'}"
    return replace(line, name=name if line.name in (bu.FIT, bu.MEMORY) else f"{name}, {end} end")


def departure(two: TwoTracks | None, rig: Rig | None, scale: Scale, why: str) -> Quantity:
    """Largest departure of B from its straight line [% of supply]; both converters' bends enter."""
    if two is None:
        return bu.missing("correlation", PERCENT, why)
    lines = [*_bend(rig, scale, 1, 1.0, "B"), *_bend(rig, scale, 0, two.slope, "A")]
    return bu.quantity("correlation", PERCENT, two.max_error_percent, lines)


def with_converter(
    name: str, value: float, rig: Rig | None, scale: Scale, *, unrest_v: float = 0.0, chance: float = 0.0
) -> Quantity:
    """A departure of track A [% of supply] with what the converter's own bend adds.

    `unrest_v`: peak to peak of a signal that never rests. Readings of one place may differ by all of it.
    `chance` [% of supply]: what noise of angle and signal makes of a departure at most.
    """
    lines = _bend(rig, scale, 0, 1.0, "A")
    if chance > 0:
        lines += (BudgetLine(NOISE, "A", "rectangular", rectangular(chance), PERCENT, 1.0, math.inf),)
    if unrest_v > 0:
        share = 100 * unrest_v / (scale.supply.value or scale.nominal_v)
        lines += (BudgetLine(UNREST, "B", "rectangular", rectangular(share), PERCENT, 1.0, math.inf),)
    return bu.quantity(name, PERCENT, value, lines)


def _bend(rig: Rig | None, scale: Scale, channel: int, factor: float, name: str) -> tuple[BudgetLine, ...]:
    own = None if rig is None else channel_of(rig.calibration, channel)
    if own is None:
        return ()
    middle = linearity_line(own, CODES / 2)
    percent = 100 * abs(own.line.gain_v) / (scale.supply.value or scale.nominal_v)
    return (replace(middle, name=f"{middle.name}, {name}", sensitivity=factor * percent),)
