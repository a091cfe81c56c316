"""The shaft of a simulated driven build: motor, slipping belt, angle encoder, home switch, and the lever on it.

The motor turns at the rate that the firmware asks for; the shaft follows through the belt's play and stops at the
lever's stops, where the belt slips. Without current nothing moves. All in degrees of the shaft, 0 at the closed stop.
The lever is a hand's until the motor first turns it; from the next start of sampling it is the motor's.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sweepboard import drive, simulated_drive, wire

FloatArray = NDArray[np.float64]

TRAVEL_DEG = 90.0  # from closed to open of every simulated lever (invented)
HOME_DEG = 2.0  # the home switch is pressed from here down to the closed stop (invented)
DEG = 360.0 / drive.COUNTS  # of one count


@dataclass(frozen=True)
class DriveParts:
    """How the drive was built."""

    motor: str = "good"  # good | reversed: coils exchanged | stuck: it does not turn
    slack_deg: float = 0.5  # play between motor and shaft (invented)
    zero: int = 400  # counts of the encoder at the closed stop
    magnet: bool = True  # False: the encoder finds none
    home: str = (
        "good"  # good | open: its cable is off, it reads as pressed everywhere | never: it is not reached
    )


class Shaft:
    """Where the shaft is, and what the motor does."""

    def __init__(self, parts: DriveParts) -> None:
        self.taken = False  # whether the motor has ever turned the lever
        self.deg = 0.0
        self.parts = parts
        self._motor_deg = 0.0
        self.rate_deg_s = 0.0  # of the motor
        self.asked = 0  # what the firmware asked last; 0: without current

    def turn(self, what: int) -> None:
        """Do what the firmware asks of the motor: bits of simulated_drive.TURN_*."""
        self.asked = what
        rate = (what & simulated_drive.TURN_COUNTS) * DEG if what & simulated_drive.TURN_HELD else 0.0
        if rate and not self.taken:
            self.taken, self._motor_deg = True, self.deg
        way = 1.0 if what & simulated_drive.TURN_UP else -1.0
        self.rate_deg_s = {"reversed": -way, "stuck": 0.0}.get(self.parts.motor, way) * rate

    def go(self, seconds: float) -> float:
        """Let time pass; return the shaft's angle [deg]."""
        play = self.parts.slack_deg / 2
        motor = self._motor_deg + self.rate_deg_s * seconds
        at = min(max(self.deg, motor - play), motor + play)
        self.deg = min(max(at, 0.0), TRAVEL_DEG)
        self._motor_deg = min(max(motor, self.deg - play), self.deg + play)  # the belt slips at a stop
        return self.deg

    def state(self) -> bytes:
        """Return what the encoder and the home switch say, for the firmware."""
        counts = (self.parts.zero + round(self.deg / DEG)) % drive.COUNTS
        pressed = {"open": True, "never": False}.get(self.parts.home, self.deg <= HOME_DEG)
        return struct.pack(
            simulated_drive.SHAFT_FORMAT, counts if self.parts.magnet else wire.NO_POSITION, pressed
        )


class MotorPath:
    """Places of a lever that the motor turns; `low` and `high` are its stops, shares of travel."""

    def __init__(self, shaft: Shaft, *, low: float, high: float, dt_s: float) -> None:
        self._shaft, self._low, self._high, self._dt_s = shaft, low, high, dt_s

    def take(self, n: int) -> FloatArray:
        """Return the next n places (n,), shares of travel; time passes for the shaft."""
        deg = np.array([self._shaft.go(self._dt_s) for _ in range(n)])
        return np.asarray(self._low + (self._high - self._low) * deg / TRAVEL_DEG)
