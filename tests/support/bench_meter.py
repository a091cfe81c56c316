"""An operator with a multimeter and a variable voltage, calibrating a simulated rig.

The meter errs as its maker allows: a gain error within its per cent of reading, fixed for one meter; a zero error
within its counts, fixed too; and a last digit that flickers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sweepboard import wire
from sweeprig.calibration.model import Meter
from sweeprig.twin.scene import WINDOW_S
from sweeprig.twin.sensors import stiff
from sweeprig.twin.world import World

FloatArray = NDArray[np.float64]
SPREAD_STEPS = 9


@dataclass(frozen=True)
class CalibrationReading:
    """One voltage on one channel: what the rig made of it, what the meter showed, what it was."""

    channel: int
    code: float  # mean of all conversions
    code_sd: float  # of the windows' means
    n_windows: int
    reading_v: float  # [V] by the meter, at the sensor plug
    true_v: float  # [V]


class BenchMeter:
    """One multimeter of a kind; `seed` draws which one."""

    def __init__(self, kind: Meter, *, seed: int) -> None:
        self._rng = np.random.default_rng([seed, 0xD33])
        self._kind = kind
        self._gain = 1.0 + self._rng.uniform(-1, 1) * kind.percent_of_reading / 100.0
        self._zero_v = self._rng.uniform(-1, 1) * max(0.0, kind.counts - 0.5) * kind.count_v

    def read(self, true_v: float) -> float:
        """Return what the meter shows of a voltage [V], in whole counts."""
        seen = true_v * self._gain + self._zero_v
        flicker = self._rng.normal(0.0, 0.2) * self._kind.count_v
        return float(np.round((seen + flicker) / self._kind.count_v) * self._kind.count_v)


def calibration_points(
    world: World,
    volts: Sequence[float],
    *,
    meter: Meter,
    seed: int = 0,
    seconds: float = 0.5,
    spread_v: float = 0.0,
) -> tuple[CalibrationReading, ...]:
    """Apply each voltage to all channels of this world's rig and read it with one meter of this kind.

    `spread_v`: the operator turns the voltage slowly by as much either way during a reading, as with a
    potentiometer in the hand; the meter then shows the middle.
    """
    shown = BenchMeter(meter, seed=seed)
    steps = SPREAD_STEPS if spread_v else 1
    found: list[CalibrationReading] = []
    for k, volt in enumerate(volts):
        reading = shown.read(volt)
        n = round(seconds / WINDOW_S)
        means = _means(world, np.linspace(volt - spread_v, volt + spread_v, steps), n, seed=seed * 1000 + k)
        found += [
            CalibrationReading(c, float(m.mean()), float(m.std(ddof=1)), n, reading, float(volt))
            for c, m in enumerate(means)
        ]
    return tuple(found)


def _means(world: World, volts: FloatArray, n: int, *, seed: int) -> list[FloatArray]:
    """Return the mean code of each of n windows, spread over the voltages, for each channel."""
    outputs = wire.OUT_SUPPLY | (wire.OUT_BURDEN if world.front_end.burden_ohm else 0)
    parts = []
    for k, volt in enumerate(volts):
        there = world.like(stiff(float(volt)), seed=seed * SPREAD_STEPS + k, hum_v=0.0)
        codes = there.raw(max(2, n // volts.size), outputs).reshape(-1, wire.WINDOW, wire.CHANNELS)
        parts.append(codes.mean(axis=1))
    return list(np.concatenate(parts).T)
