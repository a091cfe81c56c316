"""The uncertainty of one voltage at the sensor, by JCGM 100:2008.

`budget_of` gives all of it; `calibration_lines` only what the rig itself brings, to be put into larger budgets.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from sweepboard import wire
from sweeprig.calibration.codes import corrected, rectangular, widest
from sweeprig.calibration.coverage import coverage_factor, student_k
from sweeprig.calibration.drift import drift_lines, kelvin_since
from sweeprig.calibration.model import BudgetLine, Calibration, ChannelCalibration, Linearity
from sweeprig.frontend import FrontEnd

SETTLED_REFERENCE = (
    2e-4  # relative half-width, between calibration and sweep on a warm board: assumed, no source
)
REFERENCE_PER_K = (
    5e-5  # relative, for each kelvin between calibration and sweep: from memory, of 3.3 V regulators
)
REFERENCE_MODE = 1e-3  # relative half-width when the regulator's mode is another one: assumed
SINCE_CALIBRATION = (
    "reference since the calibration",
    "temperature since the calibration",
    "regulator's mode since the calibration",
)
CARRY_OVER_SHARE = 0.5  # of the correction for the charge of the channel before: assumed
SUPPLY_V = 5.0  # [V] of the sensors that the rig is made for
BEYOND_POINTS = (
    0.02  # share of the range by which a value may leave the calibration's points before it is said
)
LOAD = "load of the rig"
OUTSIDE = "outside the points of the calibration"


class TypeA(NamedTuple):
    """Standard uncertainty of a mean from the data alone [V], and its degrees of freedom."""

    u_v: float
    dof: float


NO_SCATTER = TypeA(0.0, math.inf)


@dataclass(frozen=True)
class Budget:
    """A combined uncertainty: u^2 = sum (c u_i)^2, effective degrees of freedom, half-width of the 95 % interval."""

    lines: tuple[BudgetLine, ...]
    u: float
    dof: float
    k: float
    u95: float


def combine(lines: Sequence[BudgetLine]) -> Budget:
    """Combine independent contributions and expand them at 95 % (JCGM 100:2008, 5.1.2, G.4.1, G.3.2).

    dof = u^4 / sum(u_i^4 / dof_i), cut to a whole number; k = t_0.975(dof), less where rectangular contributions rule
    (coverage.py). Without any contribution all is 0.
    """
    u = math.sqrt(sum(b.contribution**2 for b in lines))
    shares = sum(b.contribution**4 / b.dof for b in lines if math.isfinite(b.dof))
    dof = u**4 / shares if shares > 0 else math.inf
    flat = [b.contribution for b in lines if b.distribution == "rectangular"]
    k = coverage_factor(flat, u, dof) if u > 0 else student_k(dof)
    return Budget(tuple(lines), u, dof, k, k * u)


def budget_of(
    value_v: float,
    *,
    calibration: Calibration,
    front_end: FrontEnd,
    channel: int = 0,
    type_a: TypeA | tuple[float, float] = NO_SCATTER,
    temperature_c: float | None = None,
    smps_mode: str = "",
    more: Sequence[BudgetLine] = (),
) -> Budget:
    """Return the budget of one voltage at the sensor [V], as loaded.

    `type_a` is (u, dof) of the mean from its own scatter; `temperature_c` and `smps_mode` are those of the capture;
    `more` are further contributions in volts.
    """
    u, dof = type_a
    scatter = BudgetLine("scatter of the reading", "A", "t", u, "V", 1.0, dof)
    own = calibration_lines(
        value_v,
        calibration=calibration,
        channel=channel,
        front_end=front_end,
        temperature_c=temperature_c,
        smps_mode=smps_mode,
    )
    return combine((scatter, *own, *more))


def calibration_lines(
    value_v: float,
    *,
    calibration: Calibration | None,
    channel: int,
    front_end: FrontEnd | None,
    temperature_c: float | None = None,
    smps_mode: str = "",
) -> tuple[BudgetLine, ...]:
    """Return what the rig contributes to a reading at the sensor [V]; empty for data that no rig took."""
    own = channel_of(calibration, channel)
    if own is None or calibration is None or front_end is None:
        return ()
    line = own.line
    code = (value_v - line.offset_v) / line.gain_v
    var = max(line.var_offset + 2 * code * line.cov + code**2 * line.var_gain, 0.0)
    lines = [
        BudgetLine("fit and reference of the calibration", "B", "normal", math.sqrt(var), "V", 1.0, line.dof),
        linearity_line(own, code),
        *_wide(own.linearity, code, abs(line.gain_v)),
        carry_over_line(value_v, front_end, before_v=_before(value_v, channel)),
        *drift_lines(value_v, calibration=calibration, front_end=front_end, temperature_c=temperature_c),
    ]
    if calibration.kind != "nominal":
        lines += reference_lines(value_v, calibration, temperature_c=temperature_c, smps_mode=smps_mode)
    return tuple(lines)


def channel_of(calibration: Calibration | None, channel: int) -> ChannelCalibration | None:
    """Return one channel's calibration; None where there is none."""
    return next((c for c in calibration.channels if c.channel == channel), None) if calibration else None


def linearity_line(own: ChannelCalibration, code: float) -> BudgetLine:
    """Return the contribution of departures from the line that are not corrected, at a corrected code."""
    name, gain = "linearity of the converter", abs(own.line.gain_v)
    if own.u_at:
        codes, u = np.array(own.u_at).T
        return BudgetLine(name, "B", "normal", float(np.interp(code, codes, u)), "LSB", gain, math.inf)
    u_lsb = own.linearity.u_lsb if own.linearity else own.u_linearity_lsb
    return BudgetLine(name, "B", "rectangular", u_lsb, "LSB", gain, math.inf)


def _wide(linearity: Linearity | None, code: float, gain_v: float) -> tuple[BudgetLine, ...]:
    """Inside a wide code the input cannot be told: a rectangular term of half its width, less one LSB of noise."""
    if linearity is None:
        return ()
    width = wide_width(code, linearity)
    half = width / 2 - 1.0
    if half <= 0.5:
        return ()
    return (BudgetLine("inside a wide code", "B", "rectangular", rectangular(half), "LSB", gain_v, math.inf),)


def wide_width(code: float, linearity: Linearity) -> float:
    """Return the width [LSB] of the code that holds an input given on the corrected scale; 1 where ideal."""
    edges = np.arange(4097) - 0.5
    k = int(np.count_nonzero(corrected(edges, linearity) <= code)) - 1
    return widest(float(k), linearity) if 0 <= k < 4096 else 1.0


def _before(value_v: float, channel: int) -> float:
    """Return the volts of the channel before that make the most of it: the supply before signal A, else 0 or 5 V.

    Before B comes A, before the supply comes B: either may stand anywhere.
    """
    return SUPPLY_V if channel == 0 or value_v < SUPPLY_V / 2 else 0.0


def carry_over_line(value_v: float, front_end: FrontEnd, *, before_v: float = SUPPLY_V) -> BudgetLine:
    """Return what stays of the correction for the charge of the channel before: half of it, the charge is not known
    better. `before_v` [V at the sensor] is the channel before; the supply goes before signal A.
    """
    step = (before_v - value_v) * front_end.divider_ratio
    hz, n = float(wire.CONVERSION_HZ), int(wire.CHANNELS)
    shift = front_end.memory_at_sensor_v(step_v=step, conversion_hz=hz, channels=n)
    u = rectangular(CARRY_OVER_SHARE * abs(shift))
    return BudgetLine("charge of the channel before", "B", "rectangular", u, "V", 1.0, math.inf)


def _mode(text: str) -> str:
    """Return a regulator's mode as the board tells it; "" where it has none to tell."""
    return text if text in ("psm", "pwm") else ""


def reference_lines(
    value_v: float, calibration: Calibration, *, temperature_c: float | None, smps_mode: str
) -> tuple[BudgetLine, ...]:
    """Return what the converter's reference may have moved since the calibration, each part in proportion to the volts.

    Settled; for each kelvin between both, a temperature not known on either side counting as 10 K; another mode of
    the regulator, or one known on one side only. Rectangular, independent.
    """
    kelvin = kelvin_since(calibration, temperature_c)
    other = _mode(calibration.smps_mode) != _mode(smps_mode)
    halves = (SETTLED_REFERENCE, REFERENCE_PER_K * kelvin, REFERENCE_MODE if other else 0.0)
    return tuple(
        BudgetLine(name, "B", "rectangular", rectangular(half), "V/V", value_v, math.inf)
        for name, half in zip(SINCE_CALIBRATION, halves, strict=True)
        if half > 0
    )


def beyond_points(value_v: float, own: ChannelCalibration) -> str:
    """Return a remark where a value lies outside the voltages at which the channel was calibrated; else ""."""
    if not own.points:
        return ""
    volts = [v for _, v in own.points]
    slack = BEYOND_POINTS * (max(volts) - min(volts))
    return "" if min(volts) - slack <= value_v <= max(volts) + slack else OUTSIDE


def loading_line(
    value_v: float, *, supply_v: float, track_ohm: float, load_ohm: float, name: str = LOAD
) -> BudgetLine:
    """Return the shift that the rig's load may make on a track of up to `track_ohm` [ohm], as an uncertainty.

    The shift lies between 0 and that of `track_ohm`, taken as the half-width of a rectangular term.
    """
    shift = loading_shift_v(value_v, supply_v=supply_v, track_ohm=track_ohm, load_ohm=load_ohm)
    return BudgetLine(name, "B", "rectangular", rectangular(shift), "V", 1.0, math.inf)


def loading_shift_v(value_v: float, *, supply_v: float, track_ohm: float, load_ohm: float) -> float:
    """Return by how much a load pulls a reading of `value_v` [V] down on a track of `track_ohm`.

    Loaded r = x / (1 + x(1 - x) k), k = track / load. Source: references of methods-calibration.md.
    """
    r, k = min(max(value_v / supply_v, 0.0), 1.0), track_ohm / load_ohm
    b = 1.0 - k * r
    x = 2.0 * r / (b + math.sqrt(b * b + 4.0 * k * r * r)) if r else 0.0
    return abs(x - r) * supply_v
