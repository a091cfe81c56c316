"""A simulated rig whose jumper stands at RAMP: channel A converts the filtered PWM instead of its lead.

Two equal stages of R and C behind one another, the second loaded by nothing. With x = (v1, v2) and the PWM's mean u:
RC v1' = u - 2 v1 + v2, RC v2' = v1 - v2, solved exactly for a duty that stands still between two steps. What is left of
the PWM's fundamental is added as a sine: 2 U sin(pi d)/pi over (w RC)^2, Fourier's series and two poles far below it.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from sweepboard import wire
from sweeprig.frontend.tables import parts
from sweeprig.twin.rig import REFERENCE_DROP_V
from sweeprig.twin.world import World

PWM_HZ = 2000.0  # RAMP_HZ of firmware/sweepboard/rp2_switches.py; a test compares them
FULL = 65535.0
_DECAYS, _MODES = np.linalg.eigh(np.array([[-2.0, 1.0], [1.0, -1.0]]))  # of x' in units of 1/RC

FloatArray = NDArray[np.float64]


def ripple_v(duty: float, *, swing_v: float, tau_s: float, pwm_hz: float = PWM_HZ) -> float:
    """Return the amplitude that the filter leaves of the PWM's fundamental [V]."""
    return float(2 * swing_v * np.sin(np.pi * duty) / np.pi / (2 * np.pi * pwm_hz * tau_s) ** 2)


class RampFilter:
    """The filter's output for a duty that is set now and then. Starts at rest at 0 V."""

    def __init__(self, *, swing_v: float, tau_s: float) -> None:
        self._swing_v, self._tau_s = swing_v, tau_s
        self._x = np.zeros(2)
        self._seconds = 0.0
        self.duty = 0.0

    def draw(self, times_s: FloatArray, length_s: float) -> FloatArray:
        """Return the output (n,) [V] at `times_s` (n,) from now; go on by `length_s`."""
        rest = np.full(2, self.duty * self._swing_v)
        gone = _MODES.T @ (self._x - rest)
        out = rest[1] + np.exp(np.outer(times_s / self._tau_s, _DECAYS)) @ (gone * _MODES[1])
        self._x = rest + _MODES @ (np.exp(length_s / self._tau_s * _DECAYS) * gone)
        left = ripple_v(self.duty, swing_v=self._swing_v, tau_s=self._tau_s)
        out += left * np.sin(2 * np.pi * PWM_HZ * (self._seconds + times_s))
        self._seconds += length_s
        return np.asarray(out)


class RampedWorld:
    """A world whose signal A is not joined to its lead."""

    def __init__(self, world: World, *, seed: int) -> None:
        self._world = world
        self._rng = np.random.default_rng([seed, 0x7A3])
        listed = parts(world.front_end.build)
        self._filter = RampFilter(
            swing_v=world.vref_v + REFERENCE_DROP_V, tau_s=listed["r_ramp"].value * listed["c_ramp"].value
        )

    def ramp(self, duty: int) -> None:
        """Set the duty, 0 to 65535."""
        self._filter.duty = duty / FULL

    def raw(self, n_windows: int, outputs: int) -> NDArray[np.uint16]:
        """Return the next conversions, channels interleaved."""
        world = self._world
        codes = world.raw(n_windows, outputs)
        step_s = wire.CHANNELS / wire.CONVERSION_HZ
        n = codes[:: wire.CHANNELS].size
        volts = self._filter.draw(np.arange(n) * step_s, n * step_s) + world.board.offset_v[0]
        u = np.clip(volts, *world.limits()) * world.lsb_per_v
        noisy = u + self._rng.normal(0.0, world.converter.noise_lsb, n)
        codes[:: wire.CHANNELS] = world.converter.codes(noisy)
        return codes

    def slow(self, outputs: int) -> Mapping[str, object]:
        """Return slow readings, fault line and button."""
        return self._world.slow(outputs)
