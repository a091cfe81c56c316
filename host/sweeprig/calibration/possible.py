"""What a calibration of a rig can be: its lines and departures against those of its build's parts and its chip.

`calibrate` refuses single readings that no such rig gives (mistakes.py). Here: what was stored since.
"""

from __future__ import annotations

import math

import numpy as np

from sweepboard.wire import CHANNEL_NAMES
from sweeprig.calibration.model import Calibration, ChannelCalibration, Line
from sweeprig.calibration.nominal import nominal_calibration
from sweeprig.frontend.tables import BUILDS

FURTHEST = (
    6.0  # standard uncertainties of parts and calibration together; parts at their worst have 3 at most
)
MOST_LSB = (
    32.0  # that a converter may depart from its line at a code; of the boards measured 6 at most. Assumed
)
COLDEST_C, HOTTEST_C = -40.0, 125.0  # of a chip that answers, from memory: as in slow.py


def check_possible(calibration: Calibration) -> None:
    """Raise ValueError, which names the value and its limits, for what no rig of this build and chip can have."""
    if calibration.build not in BUILDS:
        raise ValueError(f"build is {calibration.build!r:.60}, not {', '.join(BUILDS)}")
    warm = calibration.temperature_c
    if warm is not None and not COLDEST_C <= warm <= HOTTEST_C:
        raise ValueError(f"temperature_c is {warm:g}, not from {COLDEST_C:g} to {HOTTEST_C:g}")
    usual = nominal_calibration({"build": calibration.build, "chip": calibration.chip}).channels
    for own, nominal in zip(calibration.channels, usual, strict=True):
        _check_line(own, nominal.line)
        _check_departures(own)


def _check_line(own: ChannelCalibration, nominal: Line) -> None:
    for key, value, usual, variances in (
        ("gain_v", own.line.gain_v, nominal.gain_v, (own.line.var_gain, nominal.var_gain)),
        ("offset_v", own.line.offset_v, nominal.offset_v, (own.line.var_offset, nominal.var_offset)),
    ):
        most = FURTHEST * math.sqrt(sum(variances))
        if abs(value - usual) > most:
            name = CHANNEL_NAMES[own.channel]
            raise ValueError(
                f"{key} of {name} is {value:.6g}, not from {usual - most:.6g} to {usual + most:.6g}"
            )


def _check_departures(own: ChannelCalibration) -> None:
    bent = own.linearity
    if bent is not None and (worst := float(np.abs(bent.error_lsb).max())) > MOST_LSB:
        raise ValueError(
            f"linearity departs by {worst:g} LSB on {CHANNEL_NAMES[own.channel]}, more than {MOST_LSB:g}"
        )
