"""From the sensor's knots and events to the volts at the converter's pins, conversion by conversion."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sweepboard import wire
from sweeprig.twin.circuit import Modes, Network, modes, settled
from sweeprig.twin.scene import CONVERSION_S, KNOT_S, STEPS, Disturbance

FloatArray = NDArray[np.float64]
Float32 = NDArray[np.float32]

CHANNELS = wire.CHANNELS
PER_STEP = wire.WINDOW // STEPS  # conversions of one channel from knot to knot
SPACING_S = CHANNELS * CONVERSION_S  # between two conversions of one channel
GONE_V = 2e-5  # what is left of a transient and no longer drawn


@dataclass(frozen=True)
class Source:
    """What drives one channel's wiper node: volts behind a conductance. Arrays (m,), one value per knot."""

    e_v: FloatArray
    g_s: FloatArray


@lru_cache(maxsize=4096)
def _modes_near(net: Network, log_g: float) -> Modes:
    return modes(net, 0.0 if log_g == -np.inf else float(10.0**log_g))


def modes_of(net: Network, g_s: float) -> Modes:
    """Return the circuit's modes for a source conductance, rounded so that few have to be computed."""
    if g_s <= 1e-11:
        return _modes_near(net, -np.inf)
    log_g = np.log10(g_s)
    return _modes_near(net, round(log_g, 1) if g_s > 1e-4 else round(log_g, 3))


def weights(channel: int) -> Float32:
    """Return where in its step each conversion of a channel lies, (PER_STEP,), 0 to 1."""
    return np.asarray((np.arange(PER_STEP) + channel / CHANNELS) / PER_STEP, np.float32)


class ChannelPlay:
    """One channel: the settled course at each knot, plus what events do to it, state carried from call to call."""

    def __init__(self, channel: int) -> None:
        self._channel = channel
        self._left = np.zeros(3)  # what is not settled: wiper, node, pin
        self._open: Disturbance | None = None  # an event that began before this call
        self._waiting: deque[Disturbance] = deque()

    def copy(self) -> ChannelPlay:
        """Return one that goes on from here by itself."""
        new = ChannelPlay(self._channel)
        new._left, new._open, new._waiting = self._left.copy(), self._open, self._waiting.copy()
        return new

    def add(self, events: list[Disturbance]) -> None:
        """Take events in order of their start; where two overlap, the later begins after the first."""
        self._waiting.extend(e for e in events if e.channel == self._channel)

    def draw(
        self, pin_v: FloatArray, start_s: float, net: Network, source: Source, other: dict[str, Source]
    ) -> list[tuple[int, FloatArray]]:
        """Return (first conversion, volts to add there) for every stretch that events change.

        `pin_v` (m,) is the settled course; `other` holds the sources of the kinds of event.
        """
        stop_s = start_s + (source.e_v.size - 1) * KNOT_S
        job = _Job(self._channel, pin_v, start_s, stop_s, net, source, other)
        now, pieces = start_s, []
        while True:
            event = self._open or self._next(stop_s)
            if event is None:
                break
            begin = max(event.start_s, now)
            if self._open is None and event.stop_s <= begin:  # wholly inside the one before
                continue
            if self._open is None:
                pieces += self._settle(job, now, begin)
                self._switch(job, begin, event, into=True)
            end = min(event.stop_s, stop_s)
            pieces += self._during(job, begin, end, event)
            now, self._open = end, event
            if event.stop_s > stop_s:
                return pieces
            self._switch(job, end, event, into=False)
            self._open = None
        return pieces + self._settle(job, now, stop_s)

    def _next(self, stop_s: float) -> Disturbance | None:
        if self._waiting and self._waiting[0].start_s < stop_s:
            return self._waiting.popleft()
        return None

    def _switch(self, job: _Job, at_s: float, event: Disturbance, *, into: bool) -> None:
        before, after = job.state(at_s, None), job.state(at_s, event)
        self._left = self._left + (before - after if into else after - before)

    def _settle(self, job: _Job, from_s: float, to_s: float) -> list[tuple[int, FloatArray]]:
        if np.abs(self._left).max() < GONE_V or to_s <= from_s:
            return []
        mode = modes_of(job.net, job.g_at(from_s, None))
        gone = mode.slowest_s * np.log(np.abs(self._left).max() / GONE_V * 3.0)
        first, t = job.conversions(from_s, min(to_s, from_s + gone))
        drawn = mode.pin(self._left, t - from_s)
        self._left = mode.after(self._left, to_s - from_s) if from_s + gone > to_s else np.zeros(3)
        return [(first, drawn)] if t.size else []

    def _during(
        self, job: _Job, from_s: float, to_s: float, event: Disturbance
    ) -> list[tuple[int, FloatArray]]:
        mode = modes_of(job.net, job.g_at(from_s, event))
        first, t = job.conversions(from_s, to_s)
        drawn = job.change(t, event) + mode.pin(self._left, t - from_s)
        self._left = mode.after(self._left, max(0.0, to_s - from_s))
        return [(first, drawn)] if t.size else []


@dataclass(frozen=True)
class _Job:
    """The work on one channel in one call of `draw`."""

    channel: int
    pin_v: FloatArray
    start_s: float
    stop_s: float
    net: Network
    source: Source
    other: dict[str, Source]

    def conversions(self, from_s: float, to_s: float) -> tuple[int, FloatArray]:
        """Return the first conversion at or after from_s, and the times of all before to_s."""
        shift = self.start_s + self.channel * CONVERSION_S
        n = (self.pin_v.size - 1) * PER_STEP
        first = min(max(0, int(np.ceil((from_s - shift) / SPACING_S - 1e-9))), n)
        last = min(max(first, int(np.ceil((to_s - shift) / SPACING_S - 1e-9))), n)
        return first, shift + np.arange(first, last) * SPACING_S

    def knot(self, t_s: float) -> float:
        return (t_s - self.start_s) / float(KNOT_S)

    def changed(self, event: Disturbance | None, part: slice | None = None) -> Source:
        """Return the source while an event lasts."""
        cut = part or slice(None)
        source = Source(self.source.e_v[cut], self.source.g_s[cut])
        if event is None:
            return source
        other = {kind: Source(s.e_v[cut], s.g_s[cut]) for kind, s in self.other.items() if kind == event.kind}
        return changed(self.net, source, other, event)

    def state(self, t_s: float, event: Disturbance | None) -> FloatArray:
        """Return the settled volts (wiper, node, pin) at one time."""
        at = min(max(int(self.knot(t_s)), 0), self.pin_v.size - 2)
        source = self.changed(event, slice(at, at + 2))
        u = self.knot(t_s) - at
        wiper, node = settled(self.net, source.e_v, source.g_s)
        w, n = wiper[0] + (wiper[1] - wiper[0]) * u, node[0] + (node[1] - node[0]) * u
        return np.array([w, n, n])

    def g_at(self, t_s: float, event: Disturbance | None) -> float:
        at = min(max(int(self.knot(t_s)), 0), self.pin_v.size - 1)
        return float(self.changed(event, slice(at, at + 1)).g_s[0])

    def change(self, t_s: FloatArray, event: Disturbance) -> FloatArray:
        """Return settled pin volts with the event less those without, at times (n,)."""
        if not t_s.size:
            return np.zeros(0)
        low = max(0, int(self.knot(float(t_s[0]))))
        high = min(self.pin_v.size, int(self.knot(float(t_s[-1]))) + 2)
        part = slice(low, high)
        source = self.changed(event, part)
        base = settled(self.net, self.source.e_v[part], self.source.g_s[part])[1]
        diff = settled(self.net, source.e_v, source.g_s)[1] - base
        return np.asarray(np.interp((t_s - self.start_s) / KNOT_S - low, np.arange(diff.size), diff))


def changed(net: Network, source: Source, other: dict[str, Source], event: Disturbance) -> Source:
    """Return the source as it is during an event; `other` has the sources of kinds that need the whole sensor."""
    if event.kind == "lift":
        return Source(source.e_v, lifted(net, source.g_s, event.value))
    if event.kind == "supply":
        return Source(source.e_v * event.value, source.g_s)
    if event.kind == "add":
        return Source(source.e_v + event.value, source.g_s)
    return other[event.kind]


def lifted(net: Network, g_s: FloatArray, depth: float) -> FloatArray:
    """Return the conductance of a contact so bad that `depth` (0 to 1) of the signal is lost."""
    if depth >= 1.0:
        return np.zeros_like(g_s)
    g_n = net.g_top + net.g_bottom + net.g_bias
    load = net.g_load + net.g_top * (1.0 - net.g_top / g_n)
    kept = (1.0 - depth) * g_s / (g_s + load)
    return np.asarray(kept * load / (1.0 - kept))
