"""The check standard: before the first job of the day one known voltage shows whether the calibration still holds."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import numpy as np

from sweepboard.wire import CHANNEL_NAMES
from sweeprig.bench.calibration.points import Measured
from sweeprig.calibration.age import age_days
from sweeprig.calibration.coverage import student_k
from sweeprig.calibration.expected import expected_inverse
from sweeprig.calibration.fit import meter_covariance
from sweeprig.calibration.model import Calibration, ChannelCalibration, Meter
from sweeprig.calibration.uncertainty import TypeA, budget_of, combine
from sweeprig.errors import CalibrationError
from sweeprig.frontend import front_end

MOST_KEPT = 400  # check standards kept with a calibration
AS_FOUND, AS_LEFT = "as found", "as left"


@dataclass(frozen=True)
class Verified:
    """One check of one channel. `score` is |shown - reference| over the root of both U squared."""

    channel: int
    reference_v: float
    u95_reference_v: float
    shown_v: float
    u95_shown_v: float
    score: float

    @property
    def verdict(self) -> str:
        """Pass where the score is at most 1 (E_n of ISO/IEC 17043, from memory)."""
        return "pass" if self.score <= 1.0 else "fail"


def standard_u95(reading_v: float, *, meter: Meter | None, u95_v: float | None) -> float:
    """Return U of the check standard [V]: as given, else from the meter that reads it. Raises CalibrationError."""
    if u95_v is not None:
        return u95_v
    if meter is None:
        raise CalibrationError(
            "The accuracy of the known voltage is not given.",
            next_step="add --standard-u in volts, or --meter, for example --meter 0.05%+3",
        )
    return student_k(math.inf) * math.sqrt(float(meter_covariance(np.array([reading_v]), meter)[0, 0]))


def check_standard(
    point: Measured,
    calibration: Calibration,
    rig: Mapping[str, Any],
    *,
    reference_v: float,
    u95_reference_v: float,
) -> tuple[Verified, ...]:
    """Compare each calibrated channel with the standard. CalibrationError: an uncalibrated rig, a moving voltage."""
    if calibration.kind == "nominal":
        raise CalibrationError(
            "This rig is not calibrated: there is nothing to verify.", next_step="sweeprig calibrate"
        )
    if not point.steady:
        raise CalibrationError(
            "The voltage is not steady.", seen=f"{max(map(abs, point.moved)):.1f} codes",
            next_step="let it settle and repeat",
        )  # fmt: skip
    checked = [c for c in calibration.channels if c.points]
    shown = [(c, *_shown(point, c, calibration, rig)) for c in checked]
    follows = [s for s in shown if abs(s[1] - reference_v) < 0.5 or s[0].channel == 0]
    return tuple(
        Verified(
            c.channel,
            reference_v,
            u95_reference_v,
            v,
            u,
            abs(v - reference_v) / math.hypot(u, u95_reference_v),
        )
        for c, v, u in follows
    )


def _shown(
    point: Measured, own: ChannelCalibration, calibration: Calibration, rig: Mapping[str, Any]
) -> tuple[float, float]:
    k = own.channel
    code = np.array([point.codes[k]])
    if own.linearity is not None:
        code = expected_inverse(code, np.array([point.noise[k]]), own.linearity)
    value = own.line.offset_v + own.line.gain_v * float(code[0])
    budget = budget_of(
        value, calibration=calibration, front_end=front_end(calibration.build), channel=k,
        type_a=TypeA(abs(own.line.gain_v) * point.u_codes[k], 30.0),
        temperature_c=point.temperature_c, smps_mode=str(rig.get("smps", "")),
    )  # fmt: skip
    return value, combine(budget.lines).u95


def kept(
    calibration: Calibration,
    found: Sequence[Verified],
    *,
    when: datetime,
    state: str = AS_FOUND,
    operator: str = "",
    standard: str = "",
) -> Calibration:
    """Return the calibration with the check added; a failure of any channel is noted on later sheets."""
    worst = max(found, key=lambda v: v.score)
    entry = {
        "verdict": worst.verdict,
        "on": when.isoformat(timespec="seconds"),
        "state": state,
        "standard": standard or "voltage",
        "reference": f"{worst.reference_v:.4f} V ± {worst.u95_reference_v:.4f} V",
        "shown": f"{worst.shown_v:.4f} V ± {worst.u95_shown_v:.4f} V",
        "channel": CHANNEL_NAMES[worst.channel],
        "error": f"{1000 * (worst.shown_v - worst.reference_v):+.2f} mV",
        "score": f"{(1 if worst.shown_v >= worst.reference_v else -1) * worst.score:+.2f}",
        "operator": operator,
    }
    return replace(
        calibration, verified=(*calibration.verified, {k: v for k, v in entry.items() if v})[-MOST_KEPT:]
    )


def due(calibration: Calibration, *, now: datetime) -> str:
    """Return what is due before the next job: a check standard today, or a new calibration; "" where nothing is."""
    if calibration.kind == "nominal":
        return "This rig is not calibrated: its accuracy comes from its parts' tolerances. Next: sweeprig calibrate"
    if by_date := _due_by_date(calibration, age_days(calibration.made_at, now)):
        return by_date
    last = calibration.verified[-1] if calibration.verified else {}
    if last.get("verdict") == "fail":
        return "The last verification failed. Next: sweeprig calibrate"
    dates = (calibration.made_at[:10], str(last.get("on", ""))[:10])
    if f"{now:%Y-%m-%d}" not in dates:
        return "Not verified today. Before the first job: sweeprig calibrate verify VOLTS"
    return ""


def _due_by_date(calibration: Calibration, age: float | None) -> str:
    if age is None:
        return "The date of the calibration is not known, so it counts as too old. Next: sweeprig calibrate"
    if age > calibration.max_age_days:
        return f"The calibration is {age:.0f} days old, limit {calibration.max_age_days:g}. Next: sweeprig calibrate"
    if age < -1 / 24:
        return f"The calibration is {-age:.0f} days in the future: set the clock, or: sweeprig calibrate"
    return ""
