"""The sensor: tracks, source resistance, what loads it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
PROFILE_LOW, PROFILE_HIGH, PROFILE_POINTS = -0.1, 1.1, 24_001


@dataclass(frozen=True)
class TrackSpec:
    """One track: its ratio of the supply at both stops, without load, and its linearity error."""

    closed: float
    open: float
    bow: float = 0.0

    def ratio(self, u: Array) -> Array:
        """Ratio against shaft position."""
        return np.asarray(self.closed + (self.open - self.closed) * (u + self.bow * np.sin(2 * np.pi * u)))


@dataclass(frozen=True)
class Sensor:
    """A potentiometer ("pot") or a Hall part ("hall") with one or two outputs."""

    form: str
    r_ohm: float
    tracks: tuple[TrackSpec, ...]
    relation: str = "one"
    texture_v: float = 0.0005
    cable_f: float = 0.3e-9

    def source_ohm(self, ratio: Array) -> Array:
        """Source resistance at the output."""
        if self.form == "hall":
            return np.full(len(ratio), 20.0)
        q = np.clip(ratio, 0.0, 1.0)
        return np.asarray(self.r_ohm * q * (1 - q) + 0.002 * self.r_ohm + 10.0)

    @property
    def mean_source_ohm(self) -> float:
        """A middle value, for time constants."""
        return 20.0 if self.form == "hall" else self.r_ohm / 6.0 + 20.0


@dataclass(frozen=True, eq=False)
class Short:
    """A conductance from an output to a rail (0 = ground, 1 = supply), against the grid."""

    rail: float
    siemens: Array


@dataclass(frozen=True, eq=False)
class Network:
    """What hangs on the outputs."""

    burden_ohm: float
    shorts: dict[str, Short]
    join_siemens: Array | None = None


def solve(sensor: Sensor, net: Network, ratios: list[Array]) -> list[Array]:
    """Node ratios with burden, shorts and a bridge between the outputs (node equations)."""
    total, drive = [], []
    for name, ratio in zip("AB", ratios, strict=False):
        g = 1.0 / sensor.source_ohm(ratio)
        current, conduct = g * ratio, g + 1.0 / net.burden_ohm
        short = net.shorts.get(name)
        if short is not None:
            conduct, current = conduct + short.siemens, current + short.siemens * short.rail
        total.append(conduct)
        drive.append(current)
    if net.join_siemens is None or len(ratios) < 2:
        return [i / g for i, g in zip(drive, total, strict=True)]
    j = net.join_siemens
    ga, gb = total[0] + j, total[1] + j
    det = ga * gb - j * j
    return [(drive[0] * gb + j * drive[1]) / det, (drive[1] * ga + j * drive[0]) / det]


def texture(rng: np.random.Generator, rms_v: float) -> Array:
    """A track's fine unevenness against position, fixed to the place."""
    raw = rng.standard_normal(PROFILE_POINTS)
    kernel = np.ones(int(rng.integers(10, 40)))
    smooth = np.convolve(raw, kernel, mode="same")
    return np.asarray(smooth / smooth.std() * rms_v)


def look_up(profile: Array, u: Array) -> Array:
    """Value of a profile at shaft positions."""
    scale = (PROFILE_POINTS - 1) / (PROFILE_HIGH - PROFILE_LOW)
    index = ((u - PROFILE_LOW) * scale).astype(np.int32)
    return np.asarray(profile[np.clip(index, 0, PROFILE_POINTS - 1)])


def profile_places() -> Array:
    """Shaft positions of the points of a profile."""
    return np.linspace(PROFILE_LOW, PROFILE_HIGH, PROFILE_POINTS)
