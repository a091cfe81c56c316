"""A trim in plain lines and as JSON: line, residuals, check standards."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from sweepboard.wire import CHANNEL_NAMES
from sweeprig.bench.trim.ramp import Straightened
from sweeprig.bench.trim.trim import TrimDone
from sweeprig.bench.trim.verify import Verified, age_days, due
from sweeprig.frontend import front_end
from sweeprig.trim.model import ChannelTrim, Meter, Trim
from sweeprig.trim.store import trim_to_dict
from sweeprig.trim.uncertainty import budget_of

WIDE = 21  # columns of a drawing, odd: its middle is zero
AT_V = (0.5, 2.5, 4.5)


def drawn(share: float) -> str:
    """Return a line that shows a number from -1 to +1 as a mark about the middle; beyond them an arrow."""
    middle = WIDE // 2
    cells = list(" " * middle + "|" + " " * middle)
    if abs(share) > 1.0:
        cells[0 if share < 0 else -1] = "<" if share < 0 else ">"
    else:
        cells[middle + round(share * middle)] = "o"
    return "".join(cells)


def trim_lines(trim: Trim, *, now: datetime) -> list[str]:
    """Return what a trim is: its line, what it is worth, its residuals, its checks."""
    age = age_days(trim, now=now)
    lines = [
        f"Rig {trim.rig_uid or '-'}, {trim.build} build, {trim.chip or 'chip not known'}: {trim.kind}"
        + ("" if age is None else f", {max(age, 0):.0f} days old (limit {trim.max_age_days:g})")
    ]
    if trim.kind == "nominal":
        return [*lines, *_worth(trim), due(trim, now=now)]
    lines += _about(trim)
    for own in trim.channels:
        lines += ["", *channel_lines(own)]
    lines += ["", *_worth(trim)]
    lines += ["", *check_lines(trim)] if trim.verified else []
    wanted = due(trim, now=now)
    return [*lines, "", wanted] if wanted else lines


def _about(trim: Trim) -> list[str]:
    said = [f"Made {trim.made_at}" + (f" by {trim.operator}" if trim.operator else "")]
    if trim.meter is not None:
        said.append(f"Meter: {meter_text(trim.meter)}")
    if trim.reference == "monitor":
        said.append("Reference: the rig's I2C converter, itself trimmed with that meter")
    if trim.temperature_c is not None:
        mode = f", regulator mode {trim.smps_mode}" if trim.smps_mode else ""
        said.append(f"At {trim.temperature_c:.1f} °C{mode}")
    return said


def meter_text(meter: Meter) -> str:
    """Return a meter's name and accuracy."""
    named = [meter.name, f"serial {meter.serial}" if meter.serial else ""]
    named.append(f"certificate {meter.certificate}" if meter.certificate else "")
    accuracy = f"±({meter.percent_of_reading:g} % + {meter.counts:g} counts of {meter.count_v:g} V)"
    return ", ".join([*(n for n in named if n), accuracy, f"{meter.range_v:g} V range"])


def channel_lines(own: ChannelTrim) -> list[str]:
    """Return one channel's line and residuals, each drawn over twice the scatter that is expected."""
    line = own.line
    head = (
        f"{CHANNEL_NAMES[own.channel]}: {1000 * line.offset_v:+.2f} mV + {1000 * line.gain_v:.5f} mV x code"
    )
    if not own.points:
        return [head + "  (nominal: not connected during the trim)"]
    out = [head, f"  {'reading':>9}  {'residual':>10}  {'expected':>9}  -2{' ' * (WIDE - 4)}+2"]
    for (_, reading), left, u in zip(own.points, own.residuals_v, own.u_residuals_v, strict=True):
        share = left / (2 * u) if u > 0 else 0.0
        out.append(f"  {reading:7.4f} V  {1000 * left:+7.2f} mV  {1000 * u:6.2f} mV  {drawn(share)}")
    if own.chi2 is not None:
        out.append(f"  chi-square {own.chi2:.1f} for {len(own.points) - 2} degrees of freedom")
    if own.widened > 1.0:
        out.append(
            "  This converter departs from its line more than usual: the uncertainty of that is taken"
            f" {own.widened:.1f} times as large. More points, or a ramp, tell more."
        )
    return out


def _worth(trim: Trim) -> list[str]:
    end = front_end(trim.build)

    def u95(volts: float) -> float:
        budget = budget_of(
            volts, trim=trim, front_end=end, temperature_c=trim.temperature_c, smps_mode=trim.smps_mode
        )
        return budget.u95

    shown = ", ".join(f"±{1000 * u95(v):.1f} mV at {v:g} V" for v in AT_V)
    return [f"Signal A is known to {shown} (95 %, without the scatter of the reading)"]


def check_lines(trim: Trim, last: int = 12) -> list[str]:
    """Return the chart of check standards: error over both uncertainties, the last ones."""
    out = [
        f"Check standards, the last {min(last, len(trim.verified))} of {len(trim.verified)}:  -1{' ' * (WIDE - 4)}+1"
    ]
    for entry in trim.verified[-last:]:
        score = float(entry.get("score", "nan"))
        mark = drawn(score) if math.isfinite(score) else ""
        when = f"{entry.get('on', ''):25} {entry.get('state', ''):8} {entry.get('reference', '')[:8]:>8}"
        out.append(f"  {when} {entry.get('error', ''):>10} {mark} {entry.get('verdict', '')}")
    return out


def done_lines(done: TrimDone, *, now: datetime) -> list[str]:
    """Return what came of a trim: as found, as left, and what it is worth."""
    lines = trim_lines(done.trim, now=now)
    if any(f.as_found_v is not None for f in done.found):
        lines += ["", "Signal A against the points:   as found     as left"]
        for f in done.found:
            found = "" if f.as_found_v is None else f"{1000 * f.as_found_v:+8.2f} mV"
            lines.append(f"  {f.reading_v:7.4f} V             {found:>11}  {1000 * f.as_left_v:+8.2f} mV")
    lines += [f"{name}: did not follow the voltage and stays nominal" for name in done.not_connected]
    return lines


def done_json(done: TrimDone) -> dict[str, Any]:
    """Return a new trim as JSON data."""
    return {
        "trim": trim_to_dict(done.trim),
        "file": None if done.file is None else str(done.file),
        "points_file": None if done.points_file is None else str(done.points_file),
        "found": [
            {"reading_v": f.reading_v, "as_found_v": f.as_found_v, "as_left_v": f.as_left_v}
            for f in done.found
        ],
        "not_connected": list(done.not_connected),
    }


def verified_lines(found: Sequence[Verified]) -> list[str]:
    """Return a check standard's result, a line for each channel."""
    out = []
    for v in found:
        error = 1000 * (v.shown_v - v.reference_v)
        allowed = 1000 * math.hypot(v.u95_shown_v, v.u95_reference_v)
        out.append(
            f"{CHANNEL_NAMES[v.channel]:9} {v.shown_v:.4f} V for {v.reference_v:.4f} V: {error:+.2f} mV, "
            f"allowed ±{allowed:.2f} mV: {v.verdict}"
        )
    return out


def verified_json(found: Sequence[Verified]) -> dict[str, Any]:
    """Return a check standard's result as JSON data."""
    return {
        "verdict": "fail" if any(v.verdict == "fail" for v in found) else "pass",
        "channels": [
            {"channel": v.channel, "reference_v": v.reference_v, "reference_u95_v": v.u95_reference_v,
             "shown_v": v.shown_v, "shown_u95_v": v.u95_shown_v, "score": v.score, "verdict": v.verdict}
            for v in found
        ],
    }  # fmt: skip


def straightened_lines(done: Straightened) -> list[str]:
    """Return the departures from a straight line before and after."""
    d = done.density
    return [
        f"Codes {int(d.code[0])} to {int(d.code[-1])} counted, {d.hits:.0f} times each",
        f"Widest code {done.worst_code}: {done.worst_dnl_lsb:+.1f} LSB",
        f"Largest departure from a straight line: {done.raw_lsb:.1f} LSB as it is, {done.nominal_lsb:.1f} with the "
        f"usual wide codes taken off, {done.left_lsb:.2f} with what was measured",
    ]


def straightened_json(done: Straightened) -> dict[str, Any]:
    """Return the same as JSON data."""
    return {
        "codes": [int(done.density.code[0]), int(done.density.code[-1])], "hits": done.density.hits,
        "worst_code": done.worst_code, "worst_dnl_lsb": done.worst_dnl_lsb, "raw_lsb": done.raw_lsb,
        "nominal_lsb": done.nominal_lsb, "left_lsb": done.left_lsb, "trim": trim_to_dict(done.trim),
    }  # fmt: skip
