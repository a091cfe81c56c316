"""A calibration in plain lines and as JSON: line, residuals, check standards."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any

from sweepboard.wire import CHANNEL_NAMES
from sweeprig.bench.calibration.verify import due
from sweeprig.calibration.age import age_days
from sweeprig.calibration.fit import unlikely
from sweeprig.calibration.model import Calibration, ChannelCalibration, Meter
from sweeprig.calibration.store import calibration_to_dict
from sweeprig.calibration.uncertainty import budget_of
from sweeprig.frontend import front_end
from sweeprig.lines import Column, table

if TYPE_CHECKING:
    from sweeprig.bench.calibration.calibrate import CalibrationDone
    from sweeprig.bench.calibration.ramp import Straightened
    from sweeprig.bench.calibration.verify import Verified

WIDE = 21  # columns of a drawing, odd: its middle is zero
AT_V = (0.5, 2.5, 4.5)
KINDS = {
    "line": "calibrated by a straight line",
    "line+linearity": "calibrated by a straight line and the converter's measured bend",
    "nominal": "not calibrated (nominal)",
}
SHORT_KINDS = {"line": "line", "line+linearity": "line and bend", "nominal": "not calibrated"}
NARROW = 70  # columns below which a time is shown to the minute
MODES = {
    "pwm": "the board's own supply in its quiet mode",
    "psm": "the board's own supply in its saving mode",
}


def drawn(share: float) -> str:
    """Return a line that shows a number from -1 to +1 as a mark about the middle; beyond them an arrow."""
    middle = WIDE // 2
    cells = list(" " * middle + "|" + " " * middle)
    if abs(share) > 1.0:
        cells[0 if share < 0 else -1] = "<" if share < 0 else ">"
    else:
        cells[middle + round(share * middle)] = "o"
    return "".join(cells)


def lines_of_calibration(calibration: Calibration, *, now: datetime, width: int = 100) -> list[str]:
    """Return what a calibration is: its line, what it is worth, its residuals, its checks."""
    age = age_days(calibration.made_at, now)
    lines = [
        f"Rig {calibration.rig_uid or '-'}, {calibration.build} build, {calibration.chip or 'unknown chip'}: "
        f"{KINDS.get(calibration.kind, calibration.kind)}"
        + (f", {max(age, 0):.0f} days old (limit {calibration.max_age_days:g})" if age is not None else "")
        + (", of an unknown date" if age is None and calibration.kind != "nominal" else "")
    ]
    if calibration.kind == "nominal":
        return [*lines, *_worth(calibration), due(calibration, now=now)]
    lines += _about(calibration)
    for own in calibration.channels:
        lines += ["", *channel_lines(own)]
    lines += ["", *_worth(calibration)]
    lines += ["", *check_lines(calibration, width=width)] if calibration.verified else []
    wanted = due(calibration, now=now)
    return [*lines, "", wanted] if wanted else lines


def _about(calibration: Calibration) -> list[str]:
    made = calibration.made_at or "at an unknown date"
    said = [f"Made {made}" + (f" by {calibration.operator}" if calibration.operator else "")]
    if calibration.meter is not None:
        said.append(f"Meter: {meter_text(calibration.meter)}")
    if calibration.reference == "monitor":
        said.append("Reference: the rig's second converter, itself calibrated with that meter")
    if calibration.temperature_c is not None:
        mode = f", {MODES.get(calibration.smps_mode, '')}".rstrip(", ")
        said.append(f"At {calibration.temperature_c:.1f} °C{mode}")
    return said


def meter_text(meter: Meter) -> str:
    """Return a meter's name and accuracy."""
    named = [meter.name, f"serial {meter.serial}" if meter.serial else ""]
    named.append(f"certificate {meter.certificate}" if meter.certificate else "")
    accuracy = f"±({meter.percent_of_reading:g} % + {meter.counts:g} counts of {meter.count_v:g} V)"
    return ", ".join([*(n for n in named if n), accuracy, f"{meter.range_v:g} V range"])


def channel_lines(own: ChannelCalibration) -> list[str]:
    """Return one channel's line and residuals, each drawn over twice the scatter that is expected."""
    line = own.line
    head = (
        f"{CHANNEL_NAMES[own.channel]}: {1000 * line.offset_v:+.2f} mV + {1000 * line.gain_v:.5f} mV x code"
    )
    if not own.points:
        return [head + "  (nominal: not connected during the calibration)"]
    out = [head, f"  {'reading':>9}  {'residual':>10}  {'expected':>9}  -2{' ' * (WIDE - 4)}+2"]
    for (_, reading), left, u in zip(own.points, own.residuals_v, own.u_residuals_v, strict=True):
        share = left / (2 * u) if u > 0 else 0.0
        out.append(f"  {reading:7.4f} V  {1000 * left:+7.2f} mV  {1000 * u:6.2f} mV  {drawn(share)}")
    if own.chi2 is not None:
        share = math.sqrt(own.chi2 / max(len(own.points) - 2, 1))
        out.append(f"  The points are {share:.1f} times as far from the line as expected (about 1 is usual).")
    return out + _widening(own)


def _widening(own: ChannelCalibration) -> list[str]:
    """Return in words what larger residuals than expected mean for the converter."""
    if own.widened == 1.0 or own.chi2 is None:
        return []
    if unlikely(own.chi2, len(own.points) - 2):
        why, step = "This converter's linearity error is larger than usual", " Use more points or a ramp."
    else:
        why, step = "The points are further from the line than expected, which may be chance", ""
    return [f"  {why}: the uncertainty of its linearity is taken {own.widened:.2g} times as large.{step}"]


def _u95_at(calibration: Calibration) -> list[tuple[float, float]]:
    """Return the volts of AT_V, each with the half-width of its 95 % interval [V], of signal A."""
    end = front_end(calibration.build)

    def u95(volts: float) -> float:
        budget = budget_of(
            volts,
            calibration=calibration,
            front_end=end,
            temperature_c=calibration.temperature_c,
            smps_mode=calibration.smps_mode,
        )
        return budget.u95

    return [(v, u95(v)) for v in AT_V]


def worth_line(calibration: Calibration) -> str:
    """Return the uncertainty that a stored calibration gives, in one line."""
    most = max(u for _, u in _u95_at(calibration))
    return f"Calibration stored: signal A is good to ±{1000 * most:.1f} mV from {AT_V[0]:g} to {AT_V[-1]:g} V (95 %)."


def _worth(calibration: Calibration) -> list[str]:
    shown = ", ".join(f"±{1000 * u:.1f} mV at {v:g} V" for v, u in _u95_at(calibration))
    return [f"Uncertainty of signal A: {shown} (95 %, without the scatter of the reading)"]


def check_lines(calibration: Calibration, last: int = 12, width: int = 100) -> list[str]:
    """Return the chart of check standards: error over both uncertainties, the last ones, under a line of headings."""
    n, shown = len(calibration.verified), calibration.verified[-last:]
    scores = [float(entry.get("score", "nan")) for entry in shown]
    columns = [
        Column("made", [str(e.get("on", ""))[: 16 if width < NARROW else None] for e in shown]),
        Column("state", [str(e.get("state", "")) for e in shown], goes=2),
        Column("standard", [str(e.get("reference", ""))[:8] for e in shown], goes=1),
        Column("error", [str(e.get("error", "")) for e in shown], right=True),
        Column(f"-1{' ' * (WIDE - 4)}+1", [drawn(s) if math.isfinite(s) else "" for s in scores]),
        Column("", [str(e.get("verdict", "")) for e in shown]),
    ]
    return [f"Verifications, the last {len(shown)} of {n}:", *table(columns, width, "  ")]


def list_lines(rows: Sequence[Mapping[str, Any]], width: int) -> list[str]:
    """Return the calibrated rigs under a line of headings: kind of calibration, age, and what is due."""
    ages = [row["age_days"] for row in rows]
    columns = [
        Column("rig", [str(row["rig"]) for row in rows]),
        Column(
            "calibrated by", [SHORT_KINDS.get(str(row["kind"]), str(row["kind"])) for row in rows], goes=1
        ),
        Column("age", ["" if age is None else f"{age:.0f} days" for age in ages], right=True),
        Column("next", [str(row["due"]) or "nothing is due" for row in rows]),
    ]
    return table(columns, width)


def done_lines(done: CalibrationDone, *, now: datetime, width: int = 100) -> list[str]:
    """Return the result of a calibration: as found, as left, and the uncertainty that it gives."""
    lines = [worth_line(done.calibration), "", *lines_of_calibration(done.calibration, now=now, width=width)]
    if any(f.as_found_v is not None for f in done.found):
        lines += ["", "Signal A against the points:   as found     as left"]
        for f in done.found:
            found = "" if f.as_found_v is None else f"{1000 * f.as_found_v:+8.2f} mV"
            lines.append(f"  {f.reading_v:7.4f} V             {found:>11}  {1000 * f.as_left_v:+8.2f} mV")
    lines += [f"{name}: does not follow the voltage and stays nominal" for name in done.not_connected]
    return lines


def done_json(done: CalibrationDone) -> dict[str, Any]:
    """Return a new calibration as JSON data."""
    return {
        "calibration": calibration_to_dict(done.calibration),
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
        f"Largest DNL: {done.worst_dnl_lsb:+.1f} LSB at code {done.worst_code}",
        f"Largest INL: {done.raw_lsb:.1f} LSB uncorrected, {done.nominal_lsb:.1f} after the usual correction of wide "
        f"codes, {done.left_lsb:.2f} after the measured correction",
    ]


def straightened_json(done: Straightened) -> dict[str, Any]:
    """Return the same as JSON data."""
    return {
        "codes": [int(done.density.code[0]), int(done.density.code[-1])], "hits": done.density.hits,
        "worst_code": done.worst_code, "worst_dnl_lsb": done.worst_dnl_lsb, "raw_lsb": done.raw_lsb,
        "nominal_lsb": done.nominal_lsb, "left_lsb": done.left_lsb,
        "calibration": calibration_to_dict(done.calibration),
    }  # fmt: skip
