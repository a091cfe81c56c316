"""The calibration of a rig that nobody has calibrated: nominal values of its build and chip, with wide bounds."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from sweepboard import wire
from sweeprig.calibration import codes
from sweeprig.calibration.model import Calibration, ChannelCalibration, Line
from sweeprig.frontend import FrontEnd, front_end


def nominal_line(end: FrontEnd, chip: str) -> Line:
    """Return volts at the sensor per corrected code from nominal values, with the variances of their bounds.

    v = (c' - z) lsb / (1 + g), z the corrected code at zero input. Independent rectangular bounds: zero code, gain,
    reference, divider, the buffer's offset.
    """
    facts = codes.chip_facts(chip)
    gain_v = end.lsb_v / (1.0 + sum(facts.gain_error) / 2)
    zero = sum(facts.zero_code) / 2
    offset = end.buffer_offset_v / end.divider_ratio
    u_zero_v = codes.rectangular(codes.half_width(facts.zero_code)) * gain_v
    bounds = (codes.half_width(facts.gain_error), end.adc_vref_tol, end.divider_ratio_tol)
    var_gain = sum((codes.rectangular(b) * gain_v) ** 2 for b in bounds)
    return Line(
        offset_v=-zero * gain_v,
        gain_v=gain_v,
        var_offset=u_zero_v**2 + codes.rectangular(offset) ** 2 + zero**2 * var_gain,
        var_gain=var_gain,
        cov=-zero * var_gain,
    )


def nominal_calibration(rig: Mapping[str, Any]) -> Calibration:
    """Return the calibration of a rig, known only by its hello, that was never calibrated."""
    build, chip = str(rig.get("build", "plain")), str(rig.get("chip", ""))
    line, linearity = nominal_line(front_end(build), chip), codes.nominal_linearity(chip)
    at = codes.nodes(chip)
    u = np.sqrt(np.diag(codes.departure_covariance(at, at, chip=chip)))
    u_at = tuple(zip(at.tolist(), u.tolist(), strict=True))
    channels = tuple(
        ChannelCalibration(c, line, linearity, float(u.mean()), u_at=u_at) for c in range(wire.CHANNELS)
    )
    return Calibration("nominal", str(rig.get("uid", "")), build, chip, channels)
