"""Sensors that toggle between two levels: pulse width, and a serial code."""

from __future__ import annotations

from copy import copy

import numpy as np
from numpy.typing import NDArray

from sweepboard import wire
from sweeprig.twin.scene import CONVERSION_S
from sweeprig.twin.sensors import SensorSpec

SPACING_S = wire.CHANNELS * CONVERSION_S
BIT_S = 60e-6  # of the serial code: invented
LOW_SHARE, HIGH_SHARE = 0.02, 0.97


class Toggler:
    """Turns a smooth course into one of two levels, edges rounded by one pole of the front end's corner."""

    def __init__(self, spec: SensorSpec, *, seed: int, corner_hz: float = 15e3) -> None:
        self.active = spec.kind in ("pwm", "digital")
        self._spec = spec
        self._rng = np.random.default_rng([seed, 0x706])
        self._n = 0
        self._state = 0.0
        self._keep = float(np.exp(-2 * np.pi * corner_hz * SPACING_S))
        self._bits = self._rng.integers(0, 2, 4096)

    def copy(self) -> Toggler:
        """Return one that goes on from here by itself; the bits are shared, they never change."""
        return copy(self)

    def course(self, u: NDArray[np.float32], full: float) -> NDArray[np.float32]:
        """Return the toggling course for a smooth one `u` (n,), in the unit of `full`, the supply."""
        from scipy.signal import lfilter

        t_s = (self._n + np.arange(u.size)) * SPACING_S
        self._n += u.size
        if self._spec.kind == "pwm":
            high = (t_s * self._spec.toggle_hz) % 1.0 < np.clip(u / max(full, 1.0), 0.05, 0.95)
        else:
            high = self._bits[(t_s / BIT_S).astype(np.int64) % self._bits.size] > 0
        level = np.where(high, HIGH_SHARE, LOW_SHARE) * full
        keep = self._keep
        out, _ = lfilter([1 - keep], [1, -keep], level, zi=np.array([keep * self._state]))
        self._state = float(out[-1])
        return np.asarray(out, np.float32)
