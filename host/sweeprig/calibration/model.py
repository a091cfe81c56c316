"""The calibration of one rig: codes to volts at the sensor, with what is known about its error."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class BudgetLine:
    """One contribution to an uncertainty."""

    name: str
    kind: str  # A | B
    distribution: str  # normal | rectangular | t | u-shaped | triangular
    u: float  # standard uncertainty of the input, in `unit`
    unit: str
    sensitivity: float  # volts (or the quantity's unit) per unit
    dof: float

    @property
    def contribution(self) -> float:
        """Standard uncertainty that this input gives to the result."""
        return abs(self.sensitivity) * self.u


@dataclass(frozen=True)
class Meter:
    """A multimeter's accuracy as its makers state it: ± (percent of reading + counts) on a range."""

    name: str = ""
    serial: str = ""
    certificate: str = ""
    percent_of_reading: float = 0.5  # %
    counts: float = 2.0  # counts of the last digit
    count_v: float = 0.01  # [V] one count on the range used
    range_v: float = 6.0  # [V]


@dataclass(frozen=True)
class Line:
    """Straight line v = offset_v + gain_v * code, with the covariance of (offset, gain)."""

    offset_v: float  # [V] at the sensor for code 0
    gain_v: float  # [V] per code
    var_offset: float  # [V2]
    var_gain: float  # [V2]
    cov: float  # [V2]
    dof: float = float("inf")


@dataclass(frozen=True)
class Linearity:
    """Departure of the converter from a straight line, to be taken off a code before the line is applied.

    Straight between its codes, which may be edges of codes (k - 0.5).
    """

    code: FloatArray  # (k,) codes, rising
    error_lsb: FloatArray  # (k,) what the converter reads too much at this code
    u_lsb: float  # standard uncertainty of what is left
    method: str  # nominal | points | histogram


@dataclass(frozen=True)
class ChannelCalibration:
    """One channel's calibration."""

    channel: int
    line: Line
    linearity: Linearity | None = None
    u_linearity_lsb: float = 0.0  # standard uncertainty for departures that are not corrected
    points: tuple[tuple[float, float], ...] = ()  # (mean code, reading [V])
    u_at: tuple[tuple[float, float], ...] = ()  # (code, standard uncertainty of the departure there [LSB])
    residuals_v: tuple[float, ...] = ()  # [V] reading less fit, one for each point
    u_residuals_v: tuple[float, ...] = ()  # [V] what they are expected to be
    chi2: float | None = None  # of the residuals; None with two points
    widened: float = 1.0  # by which u_at is larger, because the residuals were larger than expected


@dataclass(frozen=True)
class Calibration:
    """Calibration of a rig. `kind` is nominal where nothing was measured."""

    kind: str  # nominal | line | line+linearity
    rig_uid: str
    build: str
    chip: str  # rp2040 | rp2350
    channels: tuple[ChannelCalibration, ...]
    made_at: str = ""  # ISO 8601 with offset
    operator: str = ""
    meter: Meter | None = None
    reference: str = "meter"  # meter | monitor
    temperature_c: float | None = None
    smps_mode: str = ""  # psm | pwm
    max_age_days: float = 180.0
    notes: str = ""
    verified: tuple[dict[str, str], ...] = field(
        default_factory=tuple
    )  # check standard, as found and as left
    monitor: ChannelCalibration | None = None  # of the I2C converter: volts at its node for codes
    remarks: tuple[str, ...] = ()  # what later sheets have to say of it
