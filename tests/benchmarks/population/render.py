"""Rendering: rig records from conversions every 6 us a channel, or a logger's table."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from population.cases import CHANNEL_S, RECORD_S, WINDOW
from population.scene import Logger, Rig, Scene

Array = NDArray[np.float64]
Records = tuple[NDArray[np.uint32], NDArray[np.uint16], NDArray[np.uint16]]
CHUNK_RECORDS = 400


def low_pass(x: NDArray[np.float32], tau_s: float, passes: int) -> NDArray[np.float32]:
    """First order low pass with 2**passes taps, by doubling: (1+a z)(1+a^2 z^2)(1+a^4 z^4)..."""
    a = float(np.exp(-CHANNEL_S / tau_s))
    y = np.asarray((1 - a) * x, dtype=np.float32)
    for k in range(passes):
        shift = 1 << k
        y[shift:] += np.float32(a**shift) * y[:-shift]
    return y


def _passes(tau_s: float) -> int:
    return max(3, int(np.ceil(np.log2(14 * tau_s / CHANNEL_S))))


def _shifted(y: NDArray[np.float32], part: float) -> NDArray[np.float32]:
    """The value a part of a sample later (channels are converted one after the other)."""
    return y if part == 0 else np.append(y[:-1] + np.float32(part) * (y[1:] - y[:-1]), y[-1:])


class _Board:
    """Turns channel voltages into codes for one board."""

    def __init__(self, rig: Rig, rng: np.random.Generator) -> None:
        self.rig, self.rng = rig, rng
        self.codes, self.scale, self.offset = rig.converter.table()
        self.noise = np.float32(rig.converter.noise_lsb * rig.converter.vref_v / 4096)
        self.passes = [_passes(tau) for tau in rig.tau_s]
        self.warm = 1 << max(self.passes)

    def convert(self, volts: Array | None, channel: int, count: int) -> NDArray[np.uint16]:
        """Divider, low pass, sampling instant, noise, codes; count conversions after the warm-up."""
        noise = self.rng.standard_normal(count, dtype=np.float32)
        if volts is None:
            lsb = np.float32(self.rig.b_noise_lsb * self.rig.converter.vref_v / 4096)
            pin = noise * lsb
        else:
            x = (volts * self.rig.divider[channel]).astype(np.float32)
            y = low_pass(x, self.rig.tau_s[channel], self.passes[channel])
            pin = _shifted(y, channel / 3.0)[self.warm : self.warm + count] + noise * self.noise
        index = pin * np.float32(self.scale) + np.float32(self.offset)
        return np.asarray(self.codes[np.clip(index, 0, len(self.codes) - 1).astype(np.int32)])


def render_rig(scene: Scene) -> Records:
    """All records of a capture."""
    assert scene.rig is not None
    board = _Board(scene.rig, scene.rng)
    n = int(scene.hand.duration_s / RECORD_S)
    sums = np.zeros((n, 3), np.uint32)
    mins, maxs = np.zeros((n, 3), np.uint16), np.zeros((n, 3), np.uint16)
    for first in range(0, n, CHUNK_RECORDS):
        last = min(n, first + CHUNK_RECORDS)
        count = (last - first) * WINDOW
        t = (np.arange(-board.warm, count + 1) + first * WINDOW) * CHANNEL_S
        for channel, volts in enumerate(scene.voltages(t)):
            codes = board.convert(volts, channel, count).reshape(-1, WINDOW)
            sums[first:last, channel] = codes.sum(axis=1, dtype=np.uint32)
            mins[first:last, channel] = codes.min(axis=1)
            maxs[first:last, channel] = codes.max(axis=1)
    return sums, mins, maxs


def _column(volts: Array, logger: Logger, rng: np.random.Generator) -> list[str]:
    noisy = np.clip(volts + rng.normal(0, logger.noise_v, len(volts)), 0.0, logger.top_v)
    steps = np.clip(np.round(noisy / logger.step_v), 0, np.floor(logger.top_v / logger.step_v + 1e-9))
    return [f"{value:.{logger.places}f}" for value in steps * logger.step_v]


def render_table(scene: Scene) -> str:
    """The logger's table as text."""
    assert scene.logger is not None
    logger, rng = scene.logger, scene.rng
    a, b, s = scene.voltages(logger.instants_s)
    columns = [[f"{t:.4f}" for t in logger.shown_s], _column(a, logger, rng), _column(s, logger, rng)]
    head = "time_s,signal_v,supply_v"
    if logger.with_b:
        head += ",signal_b_v"
        idle = np.abs(rng.normal(0, 0.002, len(a)))
        columns.append(_column(b if b is not None else idle, logger, rng))
    return "\n".join([head, *(",".join(row) for row in zip(*columns, strict=True))]) + "\n"
