"""A rig with a sensor on it: conversions as the chip would make them, slow readings, and the truth.

Knows nothing of the firmware, of the analysis or of what a fault should be called.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sweepboard import wire
from sweeprig.frontend import front_end
from sweeprig.twin.circuit import Board, Network, draw_board, network, settled
from sweeprig.twin.converter import BELOW, FINE, Converter, draw_converter
from sweeprig.twin.render import PER_STEP, ChannelPlay, weights
from sweeprig.twin.scene import STEPS, WINDOW_S, Knots, Scene, cut, join
from sweeprig.twin.sensors import NOMINAL_SUPPLY_V, SensorSpec, load_sensor
from sweeprig.twin.sources import Given, sources
from sweeprig.twin.toggling import Toggler

FloatArray = NDArray[np.float64]

SUPPLY, BURDEN, BIAS_UP, BIAS_DOWN, TAPPED = 1, 2, 4, 8, 16  # bits of `outputs`
CHUNK = 256  # windows drawn at a time
FULL_SCALE = 1 << 12


@dataclass(frozen=True)
class WorldTruth:
    """What is true at the sensor, loaded as the rig loads it, with the supply as it is."""

    closed_v: float
    open_v: float
    supply_v: float  # before any fault
    sense: str
    closed_b_v: float | None
    open_b_v: float | None
    closed_ratio: float
    open_ratio: float


class World:
    """One rig, one sensor, one hand. The same arguments give the same conversions.

    `rig_seed` draws the parts of the rig, `seed` the hand, the faults and the noise: a trim and the sweeps after
    it share the first. `vref_shift` is a relative change of the converter's reference since then (regulator mode,
    temperature, load).
    """

    def __init__(
        self,
        spec: SensorSpec | str,
        *,
        seed: int = 0,
        rig_seed: int | None = None,
        build: str = "full",
        chip: str = "rp2040",
        usb_v: float = 5.0,
        noise_lsb: float | None = None,
        hum_v: float = 0.3e-3,
        hum_hz: float = 50.0,
        vref_shift: float = 0.0,
        temperature_c: float = 25.0,
        battery_v: float = 12.6,
        supply_tap: bool = True,
        pooled_noise: bool = False,
    ) -> None:
        self.spec = load_sensor(spec) if isinstance(spec, str) else spec
        self.front_end = front_end(build)
        rng = np.random.default_rng([seed if rig_seed is None else rig_seed, 0x21])
        self.board: Board = draw_board(self.front_end, rng)
        self.converter: Converter = draw_converter(chip, rng, noise_lsb=noise_lsb)
        self.chip = chip
        self.temperature_c, self.battery_v = temperature_c, battery_v
        self.vref_v = self.board.vref_v * (1.0 + vref_shift)
        self._usb_v, self._supply_tap, self._seed = usb_v, supply_tap, seed
        self.scene = Scene(self.spec, seed=seed, hum_v=hum_v, hum_hz=hum_hz, wobble=3e-5)
        self._plays = tuple(ChannelPlay(c) for c in range(wire.CHANNELS))
        self._noise = _Noise(seed, self.converter.noise_lsb, pooled=pooled_noise)
        self._toggler = Toggler(self.spec, seed=seed)
        self._slow_rng = np.random.default_rng([seed, 0x510])
        self._monitor_gain = 1.0 + rng.uniform(-0.0015, 0.0015)
        self._last: Knots | None = None
        self._n_events = 0
        self.windows_made = 0
        self.outputs = SUPPLY

    # ------------------------------------------------------------ conversions

    def raw(self, n_windows: int, outputs: int) -> NDArray[np.uint16]:
        """Return the next conversions, (n_windows * window * 3,), channels interleaved."""
        out = np.empty((n_windows * wire.WINDOW, wire.CHANNELS), np.uint16)
        for at in range(0, n_windows, CHUNK):
            n = min(CHUNK, n_windows - at)
            part = slice(at * wire.WINDOW, (at + n) * wire.WINDOW)
            for channel, codes in enumerate(self.channels(n, outputs)):
                out[part, channel] = codes
        return out.reshape(-1)

    def channels(self, n_windows: int, outputs: int) -> list[NDArray[np.uint16]]:
        """Return the next conversions as three arrays (n_windows * window,), at most some hundred windows."""
        knots = self._next_knots(n_windows)
        self.outputs = outputs
        nets = self.networks(outputs)
        given = sources(self, knots, outputs)
        settled_v = self._pins(nets, given)
        fresh = self.scene.events[self._n_events :]
        self._n_events = len(self.scene.events)
        start_s = self.windows_made * WINDOW_S
        drawn = []
        for c in range(wire.CHANNELS):
            self._plays[c].add(fresh)
            pieces = self._plays[c].draw(settled_v[c], start_s, nets[c], given.normal[c], given.other[c])
            drawn.append(self._convert(c, settled_v[c], pieces, knots.wobble))
        self.windows_made += n_windows
        return drawn

    def _next_knots(self, n_windows: int) -> Knots:
        if self._last is None:
            self._last = self.scene.take(1)
        knots = join([self._last, self.scene.take(n_windows * STEPS)])
        self._last = cut(knots, -1, None)
        return knots

    def networks(self, outputs: int) -> tuple[Network, ...]:
        """Return the three channels' networks with the switches as they stand."""
        tapped = bool(outputs & TAPPED)
        bias = (1 if outputs & BIAS_UP else 0) - (1 if outputs & BIAS_DOWN else 0)
        return tuple(
            network(
                self.board, c, burden=bool(outputs & BURDEN) and not tapped, bias=0 if tapped else bias,
                tapped=tapped, controller_ohm=self.spec.controller_ohm,
            )
            for c in range(wire.CHANNELS)
        )  # fmt: skip

    def _pins(self, nets: tuple[Network, ...], given: Given) -> list[FloatArray]:
        """Return the settled volts at each pin, with the buffers' offsets and the charge carried over."""
        node = [settled(n, s.e_v, s.g_s)[1] for n, s in zip(nets, given.normal, strict=True)]
        node = [v + self.board.offset_v[c] for c, v in enumerate(node)]
        return [v + self._memory(c) * (node[c - 1] - v) for c, v in enumerate(node)]

    def _memory(self, channel: int) -> float:
        """Share of the step from the channel before that a conversion keeps: f C R at the pin."""
        board, fe = self.board, self.front_end
        top, bottom = board.r_top_ohm[channel], board.r_bottom_ohm[channel]
        r = board.r_pin_ohm[channel] + (0.0 if fe.buffered else top * bottom / (top + bottom))
        return float(wire.CONVERSION_HZ / wire.CHANNELS * fe.sample_f * r)

    def limits(self) -> tuple[float, float]:
        """Return what buffers and clamps let through [V at the pin]."""
        from sweeprig.frontend.tables import table

        rail = float(table()["rail"]["nominal_v"])
        return self.board.rail_v, rail - self.board.rail_v if self.front_end.buffered else rail + 0.3

    def _convert(
        self, channel: int, pin_v: FloatArray, pieces: list[tuple[int, FloatArray]], wobble: FloatArray
    ) -> NDArray[np.uint16]:
        low, high = self.limits()
        scale = FULL_SCALE / self.vref_v * FINE
        knots = (np.clip(pin_v, low, high) * (1 + wobble) * scale).astype(np.float32)
        u = knots[:-1, None] + np.diff(knots)[:, None] * weights(channel)
        u = u.reshape(-1)
        if self._toggler.active and channel == 0:
            full = self.supply_v(self.outputs) * self.board.ratio(0) * scale
            u = self._toggler.course(u, full)
        for first, volts in pieces:
            part = slice(first, first + volts.size)
            u[part] = np.clip(u[part] + volts * scale, low * scale, high * scale)
        u += self._noise.take(channel, u.size)
        index = (u + BELOW * FINE).astype(np.int32)
        return self.converter.table.take(index, mode="clip")

    # ------------------------------------------------------------ the rest

    def supply_v(self, outputs: int) -> float:
        """Return what feeds the sensor [V], before faults."""
        if self.spec.own_supply_v is not None:
            return self.spec.own_supply_v
        if outputs & TAPPED:
            return self.spec.controller_supply_v
        if not outputs & SUPPLY:
            return 0.0
        ohm, fe = self.supply_load_ohm, self.front_end
        free = fe.supply_v(current_a=0.0, usb_v=self._usb_v)
        return min(free * ohm / (ohm + fe.supply_source_ohm), fe.supply_limit_a * ohm)

    @property
    def supply_load_ohm(self) -> float:
        """What the sensor is to its supply [ohm]."""
        return self.spec.track_ohm / (2 if self.spec.two_tracks else 1)

    def supply_limited(self, outputs: int) -> bool:
        """Whether the rig's supply is at its current limit."""
        feeds = bool(outputs & SUPPLY) and not outputs & TAPPED and self.spec.own_supply_v is None
        return (
            feeds and self.supply_v(outputs) >= 0.999 * self.front_end.supply_limit_a * self.supply_load_ohm
        )

    @property
    def supply_tap(self) -> bool:
        """Whether the third, sense-only lead of a tapped sensor is on."""
        return self._supply_tap

    def rewind(self) -> None:
        """Put the lever back to where its hand starts and rest there: a new sweep begins."""
        self._seed += 1
        self.scene.rewind(self._seed)

    def truth(self, outputs: int | None = None) -> WorldTruth:
        """Return the loaded volts at the sensor at both ends, without faults in time."""
        outputs = self.outputs if outputs is None else outputs
        supply, hand = self.supply_v(outputs), self.spec.hand
        ends = self.scene.still(np.array([hand.closed_at, hand.open_at]))
        given = sources(self, ends, outputs)
        nets = self.networks(outputs)
        volts = [settled(nets[c], given.normal[c].e_v, given.normal[c].g_s)[0] for c in range(2)]
        two = self.spec.two_tracks
        return WorldTruth(
            closed_v=float(volts[0][0]),
            open_v=float(volts[0][1]),
            supply_v=supply,
            sense=self.spec.truth.sense,
            closed_b_v=float(volts[1][0]) if two else None,
            open_b_v=float(volts[1][1]) if two else None,
            closed_ratio=float(volts[0][0]) / supply if supply else float("nan"),
            open_ratio=float(volts[0][1]) / supply if supply else float("nan"),
        )

    def slow(self, outputs: int) -> dict[str, object]:
        """Return {"readings": [[wire.SLOW_*, status, value], ...], "fault": supply limited, "button": down}."""
        from sweeprig.twin.slow import readings

        self.outputs = outputs
        found = readings(self, self._last, self._slow_rng, self._monitor_gain)
        return {"readings": [list(r) for r in found], "fault": self.supply_limited(outputs), "button": False}


class _Noise:
    """The converter's own noise in steps of the table, one stream for each channel."""

    POOL = 1 << 18

    def __init__(self, seed: int, noise_lsb: float, *, pooled: bool) -> None:
        self._rngs = [np.random.Generator(np.random.SFC64([seed, 0x401, c])) for c in range(wire.CHANNELS)]
        self._scale = np.float32(noise_lsb * FINE)
        self._pool = self._draw(0, self.POOL) if pooled else None

    def _draw(self, channel: int, n: int) -> NDArray[np.float32]:
        out = self._rngs[channel].standard_normal(n, dtype=np.float32)
        out *= self._scale
        return out

    def take(self, channel: int, n: int) -> NDArray[np.float32]:
        """Return n draws; from a pool made for this world alone, entered at a random place, where one is kept."""
        if self._pool is None or n > self._pool.size:
            return self._draw(channel, n)
        start = int(self._rngs[channel].integers(0, self._pool.size - n + 1))
        return self._pool[start : start + n]


assert PER_STEP * STEPS == wire.WINDOW
__all__ = ["NOMINAL_SUPPLY_V", "World", "WorldTruth"]
