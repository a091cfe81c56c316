"""A rig with a sensor on it: conversions as the chip would make them, slow readings, and the truth.

Knows nothing of the firmware, of the analysis or of what a fault should be called.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sweepboard import wire
from sweeprig.frontend import front_end
from sweeprig.twin.circuit import Board, Network, draw_board, network, settled
from sweeprig.twin.converter import Converter, draw_converter
from sweeprig.twin.flow import Flow, Noise
from sweeprig.twin.render import PER_STEP
from sweeprig.twin.scene import STEPS, Knots, Scene, cut, join
from sweeprig.twin.sensors import NOMINAL_SUPPLY_V, SensorSpec, load_sensor
from sweeprig.twin.sources import sources
from sweeprig.twin.toggling import Toggler

FloatArray = NDArray[np.float64]

CHUNK = 250  # windows drawn ahead


REFERENCE_DROP_V = 0.030  # rail to ADC_VREF: 150 uA through 200 ohm, Pico datasheet
CLAMP_V = 0.3  # above the rail: parts.toml, D1 of the plain build


def _limits(board: Board) -> tuple[float, float]:
    """Return what buffers or clamps let through [V]; buffers, clamps and reference hang on one rail."""
    rail = board.vref_v + REFERENCE_DROP_V
    return board.rail_v, rail + (-board.rail_v if board.front_end.buffered else CLAMP_V)


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
        chunk: int = CHUNK,
    ) -> None:
        self.spec = load_sensor(spec) if isinstance(spec, str) else spec
        self.front_end = front_end(build)
        rng = np.random.default_rng([seed if rig_seed is None else rig_seed, 0x21])
        self.board: Board = draw_board(self.front_end, rng)
        self.converter: Converter = draw_converter(chip, rng, noise_lsb=noise_lsb)
        self.chip, self._chunk = chip, chunk
        self.temperature_c, self.battery_v = temperature_c, battery_v
        self.vref_v = self.board.vref_v * (1.0 + vref_shift)
        self._usb_v, self._supply_tap = usb_v, supply_tap
        self.scene = Scene(self.spec, seed=seed, hum_v=hum_v, hum_hz=hum_hz, wobble=3e-5)
        toggler = Toggler(self.spec, seed=seed)
        self._flow = Flow(Noise(seed, self.converter.noise_lsb, pooled=pooled_noise), toggler)
        self._before = self._flow
        self._networks: dict[int, tuple[Network, ...]] = {}
        self._limits = _limits(self.board)
        self._ahead: list[NDArray[np.uint16]] | None = None
        self._given = self._drawn_from = 0
        self._slow_rng = np.random.default_rng([seed, 0x510])
        self._monitor_gain = 1.0 + rng.uniform(-0.0015, 0.0015)
        self._last: Knots | None = None
        self._knots = self.scene.still(np.zeros(1))
        self.windows_made = 0
        self._rig = {
            "rig_seed": seed if rig_seed is None else rig_seed, "build": build, "chip": chip, "usb_v": usb_v,
            "noise_lsb": noise_lsb, "hum_v": hum_v, "hum_hz": hum_hz, "vref_shift": vref_shift,
            "temperature_c": temperature_c, "battery_v": battery_v, "supply_tap": supply_tap,
        }  # fmt: skip
        self.outputs = wire.OUT_SUPPLY

    # ------------------------------------------------------------ conversions

    def raw(self, n_windows: int, outputs: int) -> NDArray[np.uint16]:
        """Return the next conversions, (n_windows * window * 3,), channels interleaved."""
        out = np.empty((n_windows, wire.WINDOW, wire.CHANNELS), np.uint16)
        at = 0
        while at < n_windows:
            codes = self.channels(n_windows - at, outputs)
            n = codes[0].shape[0]
            for channel, of_one in enumerate(codes):
                out[at : at + n, :, channel] = of_one
            at += n
        return out.reshape(-1)

    def channels(self, most: int, outputs: int) -> list[NDArray[np.uint16]]:
        """Return the next windows of each channel, three arrays (n, window), 1 <= n <= most.

        They are drawn a chunk ahead, whatever is asked for, so that the same seed gives the same codes.
        """
        if self._ahead is None or self._given == self._chunk:
            self._knots, self._given = self._next_knots(), 0
            self._draw_ahead(outputs)
        elif outputs != self.outputs:
            self._draw_anew(outputs)
        self.outputs = outputs
        start, stop = self._given, min(self._chunk, self._given + most)
        self._given = stop
        self.windows_made += stop - start
        first = start - self._drawn_from
        return [c[first : first + stop - start] for c in self._ahead or ()]

    def _next_knots(self) -> Knots:
        if self._last is None:
            self._last = self.scene.take(1)
        knots = join([self._last, self.scene.take(self._chunk * STEPS)])
        self._last = cut(knots, -1, None)
        return knots

    def _draw_ahead(self, outputs: int) -> None:
        """Draw from the window that is next to the chunk's end; keep what is needed to draw it anew."""
        self._before, self._drawn_from = self._flow.copy(), self._given
        self._ahead = self._flow.draw(self, cut(self._knots, self._given * STEPS, None), outputs)

    def _draw_anew(self, outputs: int) -> None:
        """The switches changed: take back what was drawn ahead and not given."""
        self._flow, n = self._before, self._given - self._drawn_from
        if n:
            given = cut(self._knots, self._drawn_from * STEPS, self._given * STEPS + 1)
            self._flow.draw(self, given, self.outputs)
        self._draw_ahead(outputs)

    def networks(self, outputs: int) -> tuple[Network, ...]:
        """Return the three channels' networks with the switches as they stand."""
        if outputs not in self._networks:
            tapped = bool(outputs & wire.OUT_TAPPED)
            bias = (1 if outputs & wire.OUT_BIAS_UP else 0) - (1 if outputs & wire.OUT_BIAS_DOWN else 0)
            burden = bool(outputs & wire.OUT_BURDEN) and not tapped
            self._networks[outputs] = tuple(
                network(
                    self.board, c, burden=burden, bias=0 if tapped else bias, tapped=tapped,
                    controller_ohm=self.spec.controller_ohm,
                )
                for c in range(wire.CHANNELS)
            )  # fmt: skip
        return self._networks[outputs]

    def limits(self) -> tuple[float, float]:
        """Return the lowest and the highest that buffers and clamps let through [V at the pin]."""
        return self._limits

    # ------------------------------------------------------------ the rest

    def supply_v(self, outputs: int) -> float:
        """Return what feeds the sensor [V], before faults."""
        if self.spec.own_supply_v is not None:
            return self.spec.own_supply_v
        if outputs & wire.OUT_TAPPED:
            return self.spec.controller_supply_v
        if not outputs & wire.OUT_SUPPLY:
            return 0.0
        ohm, fe = self.supply_load_ohm, self.front_end
        free = fe.supply_v(current_a=0.0, usb_v=self._usb_v)
        return min(free * ohm / (ohm + fe.supply_source_ohm), fe.supply_limit_a * ohm)

    @property
    def lsb_per_v(self) -> float:
        """Ideal LSB per volt at the pin."""
        return float(1 << self.front_end.adc_bits) / self.vref_v

    @property
    def supply_load_ohm(self) -> float:
        """What the sensor is to its supply [ohm]."""
        return self.spec.track_ohm / (2 if self.spec.two_tracks else 1)

    def supply_limited(self, outputs: int) -> bool:
        """Whether the rig's supply is at its current limit."""
        feeds = (
            bool(outputs & wire.OUT_SUPPLY)
            and not outputs & wire.OUT_TAPPED
            and self.spec.own_supply_v is None
        )
        return (
            feeds and self.supply_v(outputs) >= 0.999 * self.front_end.supply_limit_a * self.supply_load_ohm
        )

    @property
    def supply_tap(self) -> bool:
        """Whether the third, sense-only lead of a tapped sensor is on."""
        return self._supply_tap

    def like(self, spec: SensorSpec | str, *, seed: int, **other: Any) -> World:
        """Return the same rig with another sensor on it, or on another day (`vref_shift`, `temperature_c`)."""
        return World(spec, seed=seed, **{**self._rig, **other})

    def truth(self, outputs: int | None = None) -> WorldTruth:
        """Return the loaded volts at the sensor at both ends, without faults in time."""
        outputs = self.outputs if outputs is None else outputs
        supply, hand = self.supply_v(outputs), self.spec.hand
        play = sum(f.width / 2 for f in self.spec.faults if f.kind == "backlash")  # the wiper lags behind
        volts = self.levels_v(np.array([hand.closed_at + play, hand.open_at - play]), outputs)
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

    def levels_v(self, places: FloatArray, outputs: int) -> tuple[FloatArray, FloatArray]:
        """Return the loaded volts at the sensor of signals A and B, each (n,), at rest at `places` (n,), 0 to 1."""
        given, nets = sources(self, self.scene.still(places), outputs), self.networks(outputs)
        a, b = (settled(nets[c], given.normal[c].e_v, given.normal[c].g_s)[0] for c in range(2))
        return a, b

    def slow(self, outputs: int) -> dict[str, object]:
        """Return {"readings": [[wire.SLOW_*, status, value], ...], "fault": supply limited, "button": down}."""
        found = [list(r) for r in self.readings(outputs)]
        return {"readings": found, "fault": self.supply_limited(outputs), "button": False}

    def readings(self, outputs: int) -> list[tuple[int, int, int]]:
        """Return slow readings of this moment, each (wire.SLOW_*, status, value)."""
        from sweeprig.twin.slow import readings

        at = max(0, self._given * STEPS - 1)
        now = cut(self._knots, at, at + 1)
        return readings(self, now, outputs, self._slow_rng, self._monitor_gain)


assert PER_STEP * STEPS == wire.WINDOW
__all__ = ["NOMINAL_SUPPLY_V", "World", "WorldTruth"]
