"""The stream of codes, with the state carried from one chunk of windows to the next."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sweepboard import wire
from sweeprig.twin.circuit import Network, settled
from sweeprig.twin.converter import BELOW, FINE
from sweeprig.twin.render import ChannelPlay, weights
from sweeprig.twin.rig import Rig
from sweeprig.twin.scene import STEPS, WINDOW_S, Disturbance, Knots
from sweeprig.twin.sources import Given, sources
from sweeprig.twin.toggling import Toggler

FloatArray = NDArray[np.float64]
Codes = NDArray[np.uint16]


class Noise:
    """The converter's own noise in steps of its table, one stream for each channel."""

    POOL = 1 << 18

    def __init__(self, seed: int, noise_lsb: float, *, pooled: bool) -> None:
        self._rngs = [np.random.Generator(np.random.SFC64([seed, 0x401, c])) for c in range(wire.CHANNELS)]
        self._scale = np.float32(noise_lsb * FINE)
        self._pool = self._draw(0, self.POOL) if pooled else None

    def copy(self) -> Noise:
        """Return one whose streams go on from here by themselves; the pool never changes and is shared."""
        new = object.__new__(Noise)
        new._rngs = [np.random.Generator(np.random.SFC64(0)) for _ in self._rngs]
        for mine, theirs in zip(new._rngs, self._rngs, strict=True):
            mine.bit_generator.state = theirs.bit_generator.state
        new._scale, new._pool = self._scale, self._pool
        return new

    def _draw(self, channel: int, n: int) -> NDArray[np.float32]:
        out = self._rngs[channel].standard_normal(n, dtype=np.float32)
        out *= self._scale
        return out

    def take(self, channel: int, n: int) -> NDArray[np.float32]:
        """Return n draws; from a pool made for this rig alone, entered at a random place, where one is kept."""
        if self._pool is None or n > self._pool.size:
            return self._draw(channel, n)
        start = int(self._rngs[channel].integers(0, self._pool.size - n + 1))
        return self._pool[start : start + n]


class Flow:
    """State of the three channels; a copy of it can draw the same again."""

    def __init__(self, noise: Noise, toggler: Toggler) -> None:
        self._plays = [ChannelPlay(c) for c in range(wire.CHANNELS)]
        self._noise = noise
        self._toggler = toggler
        self._n_events = 0
        self._n_windows = 0

    def copy(self) -> Flow:
        """Return one that goes on from here by itself."""
        new = Flow(self._noise.copy(), self._toggler.copy())
        new._plays = [play.copy() for play in self._plays]
        new._n_events, new._n_windows = self._n_events, self._n_windows
        return new

    def draw(self, rig: Rig, events: list[Disturbance], knots: Knots, outputs: int) -> list[Codes]:
        """Return the codes of each channel, (n, window), for knots of n windows and one more knot.

        `events` are all since the start, in order; those not yet seen are taken.
        """
        nets, given = rig.networks(outputs), sources(rig, knots, outputs)
        pins = pin_volts(rig, nets, given)
        fresh = events[self._n_events :]
        self._n_events += len(fresh)
        start_s = self._n_windows * WINDOW_S
        self._n_windows += (knots.x.size - 1) // STEPS
        drawn = []
        for c in range(wire.CHANNELS):
            self._plays[c].add(fresh)
            pieces = self._plays[c].draw(pins[c], start_s, nets[c], given.normal[c], given.other[c])
            course = Course(pins[c], 1.0 + knots.wobble, rig.supply_v(outputs))
            drawn.append(self._convert(rig, c, course, pieces))
        return drawn

    def _convert(self, rig: Rig, channel: int, course: Course, pieces: list[tuple[int, FloatArray]]) -> Codes:
        low, high = rig.limits()
        scale = rig.lsb_per_v * FINE
        knots = np.asarray(np.clip(course.pin_v, low, high) * course.reference * scale, np.float32)
        u = (knots[:-1, None] + (knots[1:] - knots[:-1])[:, None] * weights(channel)).reshape(-1)
        if self._toggler.active and channel == 0:
            u = self._toggler.course(u, course.supply_v * rig.board.ratio(0) * scale)
        for first, volts in pieces:
            part = slice(first, first + volts.size)
            u[part] = np.clip(u[part] + volts * scale, low * scale, high * scale)
        u += self._noise.take(channel, u.size)
        u += BELOW * FINE
        index = u.astype(np.int32)
        return rig.converter.table.take(index, mode="clip").reshape(-1, wire.WINDOW)


@dataclass(frozen=True)
class Course:
    """What the converter sees of one channel at the knots; arrays (m,)."""

    pin_v: FloatArray
    reference: FloatArray  # what the reference's wobble multiplies a code by
    supply_v: float


def pin_volts(rig: Rig, nets: tuple[Network, ...], given: Given) -> list[FloatArray]:
    """Return the settled volts at each pin, with the buffers' offsets and the charge carried over."""
    node = [settled(n, s.e_v, s.g_s)[1] for n, s in zip(nets, given.normal, strict=True)]
    node = [v + rig.board.offset_v[c] for c, v in enumerate(node)]
    return [v + _memory(rig, c) * (node[c - 1] - v) for c, v in enumerate(node)]


def _memory(rig: Rig, channel: int) -> float:
    """Share of the previous channel's level that stays in a conversion: f C R at the pin."""
    board, fe = rig.board, rig.front_end
    top, bottom = board.r_top_ohm[channel], board.r_bottom_ohm[channel]
    r = board.r_pin_ohm[channel] + (0.0 if fe.buffered else top * bottom / (top + bottom))
    return float(wire.CONVERSION_HZ / wire.CHANNELS * fe.sample_f * r)
