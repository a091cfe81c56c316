"""Uncertainty budgets of what is reported. The rig's own contributions come from calibration.uncertainty."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from sweeprig.calibration import codes
from sweeprig.calibration.drift import AGEING, GROUND_LEAD, drift_lines
from sweeprig.calibration.model import Calibration, ChannelCalibration
from sweeprig.calibration.uncertainty import (
    SINCE_CALIBRATION,
    carry_over_line,
    channel_of,
    combine,
    reference_lines,
)
from sweeprig.calibration.uncertainty import calibration_lines as rig_lines
from sweeprig.judge.model import BudgetLine, Quantity
from sweeprig.judge.rig import Rig

FIT = "fit and reference of the calibration"
GAIN = "gain of the calibration"
MEMORY = "charge of the channel before"
SHARED_GAIN = "gain shared by all channels"
SHARED_ZERO = "zero of the calibration's meter"
GROUND = "sensor ground as sensed"
SHARED = (
    SHARED_GAIN,
    SHARED_ZERO,
    *SINCE_CALIBRATION,
    AGEING,
    GROUND_LEAD,
    GROUND,
)  # one error in all channels of one converter
AT_EACH_END = ("linearity of the converter", "inside a wide code")
SUPPLY = "supply: "  # before the name of what the supply brings to a ratio


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


def merged(lines: Sequence[BudgetLine], also: Sequence[str] = ()) -> tuple[BudgetLine, ...]:
    """Return the lines with those that are one and the same error added with their signs (JCGM 100:2008, 5.2.2).

    The shared ones of several channels are fully correlated: their sensitivities add, so in a ratio they cancel.
    `also` are further names of which the same holds.
    """
    names = (*SHARED, *dict.fromkeys(also))
    out = [b for b in lines if b.name not in names]
    for name in names:
        same = [b for b in lines if b.name == name and b.u > 0]
        if same:
            out.append(replace(same[0], sensitivity=sum(b.sensitivity * b.u for b in same) / same[0].u))
    return tuple(out)


def shared_gain(rig: Rig) -> float:
    """Return the relative standard uncertainty of gain that all channels have in common.

    Calibrated with one meter, its gain error, with the I2C converter that of its meter; never calibrated,
    the gain and reference of the one converter.
    """
    calibration = rig.calibration
    if calibration.kind == "nominal":
        gain = codes.rectangular(codes.half_width(codes.chip_facts(calibration.chip).gain_error))
        return math.hypot(gain, codes.rectangular(rig.front_end.adc_vref_tol))
    if calibration.meter is not None:
        return codes.rectangular(calibration.meter.percent_of_reading / 100.0)
    return 0.0


def shared_zero(calibration: Calibration) -> float:
    """Return the standard uncertainty [V] of the zero that all channels have from the one meter of their calibration.

    Every channel is fitted to the same readings, so the meter's counts, but for the rounding, shift all alike.
    """
    if calibration.kind == "nominal" or calibration.meter is None:
        return 0.0
    return codes.rectangular(max(calibration.meter.counts - 0.5, 0.0) * calibration.meter.count_v)


def calibration_lines(value_v: float, *, channel: int, rig: Rig | None) -> tuple[BudgetLine, ...]:
    """Return what the rig contributes to one channel's reading, what its channels share apart from the rest."""
    if rig is None:
        return ()
    lines = rig_lines(
        value_v,
        calibration=rig.calibration,
        channel=channel,
        front_end=rig.front_end,
        temperature_c=rig.temperature_c,
        smps_mode=rig.smps_mode,
    )
    gain, zero = shared_gain(rig), shared_zero(rig.calibration)
    return tuple(part for b in lines for part in (_apart(b, value_v, gain, zero) if b.name == FIT else (b,)))


def _apart(line: BudgetLine, value_v: float, gain: float, zero_v: float = 0.0) -> tuple[BudgetLine, ...]:
    """Take the shared gain and zero out of the variance of a line, as far as they are in there."""
    total = line.contribution
    in_gain = min(gain * abs(value_v), total)
    in_zero = min(zero_v, math.sqrt(total**2 - in_gain**2))
    rest = math.sqrt(max(total**2 - in_gain**2 - in_zero**2, 0.0))
    parts = [replace(line, u=rest / (abs(line.sensitivity) or 1.0))]
    if in_gain > 0:
        u = in_gain / abs(value_v)
        parts.append(BudgetLine(SHARED_GAIN, "B", "rectangular", u, "V/V", value_v, math.inf))
    if in_zero > 0:
        parts.append(BudgetLine(SHARED_ZERO, "B", "rectangular", in_zero, "V", 1.0, math.inf))
    return tuple(parts)


def span_lines(
    low_v: float,
    high_v: float,
    *,
    channel: int,
    rig: Rig | None,
) -> tuple[BudgetLine, ...]:
    """Return what the rig contributes to the distance of two readings: the offset cancels."""
    own = None if rig is None else channel_of(rig.calibration, channel)
    if own is None or rig is None:
        return ()
    span = high_v - low_v
    lines = [*_apart(gain_line(own, span), span, shared_gain(rig))]
    for name, value in (("low", low_v), ("high", high_v)):
        at_end = rig_lines(value, calibration=rig.calibration, channel=channel, front_end=rig.front_end)
        lines += [replace(b, name=f"{b.name}, {name} end") for b in at_end if b.name in AT_EACH_END]
    lines.append(carry_over_line(span, rig.front_end, before_v=0.0))
    if rig.calibration.kind != "nominal":
        lines += reference_lines(
            span, rig.calibration, temperature_c=rig.temperature_c, smps_mode=rig.smps_mode
        )
    drift = drift_lines(
        span, calibration=rig.calibration, front_end=rig.front_end, temperature_c=rig.temperature_c
    )
    return (*lines, *(b for b in drift if b.name != GROUND_LEAD))  # both ends have the lead's drop


def gain_line(own: ChannelCalibration, sensitivity: float, name: str = GAIN) -> BudgetLine:
    """Return the relative uncertainty of one channel's gain, times `sensitivity`."""
    u = math.sqrt(own.line.var_gain) / abs(own.line.gain_v)
    return BudgetLine(name, "B", "normal", u, "V/V", sensitivity, own.line.dof)
