"""Disturbances against time: added to a signal (A, B), the supply reading (S), the supply (V), ground (G)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from population.cases import GRID_S

Array = NDArray[np.float64]
Rng = np.random.Generator


@dataclass(frozen=True)
class Wave:
    """Something added to the targets named by their letters."""

    targets: str

    def add(self, t: Array, rng: Rng) -> Array:
        """The wave in volts at sorted times."""
        raise NotImplementedError


@dataclass(frozen=True)
class Sine(Wave):
    """A sine; sharp > 0 turns it into rectified humps (alternator)."""

    amplitude_v: float
    freq_hz: float
    phase: float = 0.0
    humps: bool = False

    def add(self, t: Array, rng: Rng) -> Array:
        """See Wave."""
        wave = np.sin((2 * np.pi * self.freq_hz) * t + self.phase)
        if self.humps:
            wave = 2 * np.abs(wave) - 1
        return np.asarray(self.amplitude_v * wave)


@dataclass(frozen=True)
class Saw(Wave):
    """A triangle ripple: rise for a share of the period, fall for the rest (switching supply)."""

    peak_to_peak_v: float
    freq_hz: float
    rise: float = 0.4

    def add(self, t: Array, rng: Rng) -> Array:
        """See Wave."""
        phase = (t * self.freq_hz) % 1.0
        tri = np.where(phase < self.rise, phase / self.rise, (1 - phase) / (1 - self.rise))
        return np.asarray(self.peak_to_peak_v * (tri - 0.5))


@dataclass(frozen=True, eq=False)
class Knots(Wave):
    """Straight lines between points: sags, drifts, slow shifts."""

    times_s: Array
    values_v: Array

    def add(self, t: Array, rng: Rng) -> Array:
        """See Wave."""
        return np.asarray(np.interp(t, self.times_s, self.values_v))


@dataclass(frozen=True, eq=False)
class Bursts(Wave):
    """Damped ringing that starts at the given times."""

    times_s: Array
    amplitudes_v: Array
    ring_hz: float
    decay_s: float

    def add(self, t: Array, rng: Rng) -> Array:
        """See Wave."""
        out = np.zeros(len(t))
        first = np.searchsorted(t, self.times_s)
        last = np.searchsorted(t, self.times_s + 9 * self.decay_s)
        for at, size, i, j in zip(self.times_s, self.amplitudes_v, first, last, strict=True):
            if j > i:
                d = t[i:j] - at
                out[i:j] += size * np.exp(-d / self.decay_s) * np.cos(2 * np.pi * self.ring_hz * d)
        return out


@dataclass(frozen=True)
class Spikes(Wave):
    """A motor's PWM coupling in: an exponential spike up at one edge, down at the other."""

    amplitude_v: float
    freq_hz: float
    duty: float
    decay_s: float

    def add(self, t: Array, rng: Rng) -> Array:
        """See Wave."""
        phase = (t * self.freq_hz) % 1.0
        since_up, since_down = phase / self.freq_hz, ((phase - self.duty) % 1.0) / self.freq_hz
        return np.asarray(
            self.amplitude_v * (np.exp(-since_up / self.decay_s) - np.exp(-since_down / self.decay_s))
        )


@dataclass(frozen=True, eq=False)
class Dips(Wave):
    """Supply dropouts: falls with one time constant, comes back with another."""

    times_s: Array
    lengths_s: Array
    depth_v: float
    fall_s: float
    back_s: float

    def add(self, t: Array, rng: Rng) -> Array:
        """See Wave."""
        out = np.zeros(len(t))
        for at, length in zip(self.times_s, self.lengths_s, strict=True):
            i, m, j = np.searchsorted(t, [at, at + length, at + length + 10 * self.back_s])
            out[i:m] -= self.depth_v * (1 - np.exp(-(t[i:m] - at) / self.fall_s))
            bottom = self.depth_v * (1 - np.exp(-length / self.fall_s))
            out[m:j] -= bottom * np.exp(-(t[m:j] - at - length) / self.back_s)
        return np.asarray(np.maximum(out, -self.depth_v))


@dataclass(frozen=True, eq=False)
class GridNoise(Wave):
    """Random contact noise whose rms value follows a list on the movement's grid."""

    sigma_v: Array

    def add(self, t: Array, rng: Rng) -> Array:
        """See Wave. The noise holds for eight conversions: it is slower than the converter."""
        sigma = np.interp(t / GRID_S, np.arange(len(self.sigma_v)), self.sigma_v)
        if not sigma.any():
            return np.zeros(len(t))
        dense = len(t) > 1 and t[1] - t[0] < 1e-5
        draws = rng.standard_normal(len(t) // 8 + 1 if dense else len(t))
        return np.asarray(sigma * (np.repeat(draws, 8)[: len(t)] if dense else draws))


@dataclass(frozen=True, eq=False)
class Digital:
    """A digital output in place of the analogue one: "pwm", "filtered" or "pulses"."""

    form: str
    freq_hz: float
    low: float
    high: float
    edges_s: Array
    ripple: float = 0.0

    def render(self, t: Array, ratio: Array) -> Array:
        """The output as a ratio of the supply."""
        if self.form == "pulses":
            i = np.searchsorted(self.edges_s, t, side="right") - 1
            since = t - self.edges_s[np.maximum(i, 0)]
            return np.where(since < 15e-6, self.low, self.high)
        phase = (t * self.freq_hz) % 1.0
        if self.form == "pwm":
            return np.where(phase < ratio, self.high, self.low)
        return np.asarray(ratio + self.ripple * (np.abs(2 * phase - 1) - 0.5))
