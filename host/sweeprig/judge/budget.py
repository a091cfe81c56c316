"""Uncertainty budgets of what is reported. The rig's own contributions come from trim.uncertainty."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from sweeprig.frontend import FrontEnd
from sweeprig.judge.model import BudgetLine, Quantity
from sweeprig.trim import codes
from sweeprig.trim.model import ChannelTrim, Trim
from sweeprig.trim.uncertainty import calibration_lines as rig_lines
from sweeprig.trim.uncertainty import channel_of, combine, linearity_line, reference_line

FIT = "fit and reference of the trim"
SHARED_GAIN = "gain shared by all channels"
SHARED = (SHARED_GAIN, "reference since the trim")  # one error in every channel of one converter


def quantity(
    name: str, unit: str, value: float, lines: Sequence[BudgetLine], *, n_samples: int = 0
) -> Quantity:
    """Return a value with its budget and expanded uncertainty."""
    e = combine(lines)
    return Quantity(
        name,
        unit,
        value,
        e.u95,
        u=e.u,
        dof=e.dof,
        coverage_factor=e.k,
        n_samples=n_samples,
        budget=tuple(lines),
    )


def missing(name: str, unit: str, reason: str) -> Quantity:
    """Return a quantity that was not measured, and why."""
    return Quantity(name, unit, None, None, reason=reason)


def scaled(lines: Sequence[BudgetLine], factor: float, prefix: str = "") -> tuple[BudgetLine, ...]:
    """Return the lines with their sensitivities multiplied by `factor`; shared ones keep their names."""
    return tuple(
        replace(b, name=b.name if b.name in SHARED else prefix + b.name, sensitivity=b.sensitivity * factor)
        for b in lines
    )


def merged(lines: Sequence[BudgetLine]) -> tuple[BudgetLine, ...]:
    """Return the lines with those that are one and the same error added with their signs (JCGM 100:2008, 5.2.2).

    The shared ones of several channels are fully correlated: their sensitivities add, so in a ratio they cancel.
    """
    out = [b for b in lines if b.name not in SHARED]
    for name in SHARED:
        same = [b for b in lines if b.name == name]
        if same:
            out.append(
                replace(same[0], sensitivity=sum(b.sensitivity * b.u for b in same) / (same[0].u or 1.0))
            )
    return tuple(out)


def shared_gain(trim: Trim, front_end: FrontEnd) -> float:
    """Return the relative standard uncertainty of gain that all channels have in common.

    Trimmed with one meter, its gain error; never trimmed, the gain and reference of the one converter.
    """
    if trim.kind == "nominal":
        gain = codes.rectangular(codes.half_width(codes.chip_facts(trim.chip).gain))
        return math.hypot(gain, codes.rectangular(front_end.adc_vref_tol))
    if trim.reference == "meter" and trim.meter is not None:
        return codes.rectangular(trim.meter.percent_of_reading / 100.0)
    return 0.0


def calibration_lines(
    value_v: float, *, channel: int, trim: Trim | None, front_end: FrontEnd | None
) -> tuple[BudgetLine, ...]:
    """Return what the rig contributes to a reading at the sensor [V], its shared gain apart from the rest."""
    if trim is None or front_end is None:
        return ()
    lines = rig_lines(value_v, trim=trim, channel=channel, front_end=front_end)
    return tuple(part for b in lines for part in _apart(b, value_v, shared_gain(trim, front_end)))


def _apart(line: BudgetLine, value_v: float, gain: float) -> tuple[BudgetLine, ...]:
    """Take the shared gain out of the variance of the fit, as far as it is in there."""
    if line.name != FIT or gain <= 0:
        return (line,)
    common = min(gain * abs(value_v), line.u)
    if common == 0:
        return (line,)
    rest = math.sqrt(max(line.u**2 - common**2, 0.0))
    shared = BudgetLine(SHARED_GAIN, "B", "rectangular", common / abs(value_v), "V/V", value_v, math.inf)
    return (replace(line, u=rest), shared)


def span_lines(
    low_v: float, high_v: float, *, channel: int, trim: Trim | None, front_end: FrontEnd | None
) -> tuple[BudgetLine, ...]:
    """Return what the rig contributes to the distance of two readings: the offset cancels."""
    own = channel_of(trim, channel)
    if own is None or trim is None or front_end is None:
        return ()
    lines = [gain_line(own, high_v - low_v)]
    for name, value in (("low", low_v), ("high", high_v)):
        bend = linearity_line(own, (value - own.line.offset_v) / own.line.gain_v)
        lines.append(replace(bend, name=f"{bend.name}, {name} end"))
    if trim.kind != "nominal":
        lines.append(reference_line(high_v - low_v, trim, temperature_c=None, smps_mode=""))
    return tuple(lines)


def gain_line(own: ChannelTrim, sensitivity: float, name: str = "gain of the trim") -> BudgetLine:
    """Return the relative uncertainty of one channel's gain, times `sensitivity`."""
    u = math.sqrt(own.line.var_gain) / abs(own.line.gain_v)
    return BudgetLine(name, "B", "normal", u, "V/V", sensitivity, own.line.dof)
