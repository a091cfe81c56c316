"""A rig with a sensor plugged in, as a circuit: how its parts, switches and supply change the sensor's signals.

Nothing here moves in time; world.py does.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sweepboard import wire
from sweeprig.frontend import front_end
from sweeprig.twin.circuit import Board, Network, draw_board, network, warmed
from sweeprig.twin.converter import Converter, draw_converter
from sweeprig.twin.sensors import SensorSpec

FloatArray = NDArray[np.float64]

REFERENCE_DROP_V = 0.030  # rail to ADC_VREF: 150 uA through 200 ohm, Pico datasheet
CLAMP_V = 0.3  # above the rail: parts.toml, D1 of the plain build
CHARGING_V = 14.3  # common practice, no source: 13.5 to 14.7 V while an alternator charges
MONITOR_GAIN = 0.0015  # relative half-width of the I2C converter's gain


@dataclass(frozen=True)
class RigSettings:
    """Which rig, and on which day. `rig_seed` draws its parts; a calibration and the sweeps after it use the same."""

    rig_seed: int = 0
    build: str = "full"
    chip: str = "rp2040"
    usb_v: float = 5.0
    noise_lsb: float | None = None  # of the converter, instead of what is drawn
    hum_v: float = 0.3e-3
    hum_hz: float = 50.0
    vref_shift: float = (
        0.0  # relative, of the converter's reference since the calibration (mode, temperature, load)
    )
    temperature_c: float = 25.0
    battery_v: float = 12.6  # at rest, of a 12 V system; twice that and twice what charges it in one of 24 V
    system_v: float = 12.0
    engine_at_s: float = 0.0  # [s] of the world after which an engine charges the battery; 0: never
    converter: Converter | None = None  # instead of one that is drawn
    supply_tap: bool = True  # the third, sense-only lead of a tapped sensor is on


class Rig:
    """One rig and what is plugged into it."""

    def __init__(self, spec: SensorSpec, settings: RigSettings) -> None:
        self.spec, self.settings = spec, settings
        self.front_end = front_end(settings.build)
        rng = np.random.default_rng([settings.rig_seed, 0x21])
        own = np.random.default_rng([settings.rig_seed, 0x7E3])
        board = draw_board(self.front_end, rng)
        self.board: Board = warmed(board, own, temperature_c=settings.temperature_c)
        self.converter: Converter = settings.converter or draw_converter(
            settings.chip, rng, noise_lsb=settings.noise_lsb
        )
        self.monitor_gain = 1.0 + rng.uniform(-MONITOR_GAIN, MONITOR_GAIN)
        self.vref_v = self.board.vref_v * (1.0 + settings.vref_shift)
        self._networks: dict[int, tuple[Network, ...]] = {}
        self._limits = _limits(self.board)

    def battery_v(self, seconds: float) -> float:
        """Return the volts on the battery lead after so many seconds of the world."""
        runs = 0 < self.settings.engine_at_s <= seconds
        return self.settings.system_v / 12.0 * (CHARGING_V if runs else self.settings.battery_v)

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

    def supply_v(self, outputs: int) -> float:
        """Return the sensor's supply [V], before faults."""
        if self.spec.own_supply_v is not None:
            return self.spec.own_supply_v
        if outputs & wire.OUT_TAPPED:
            return self.spec.controller_supply_v
        if not outputs & wire.OUT_SUPPLY:
            return 0.0
        ohm, fe = self.supply_load_ohm, self.front_end
        free = fe.supply_v(current_a=0.0, usb_v=self.settings.usb_v)
        return min(free * ohm / (ohm + fe.supply_source_ohm), fe.supply_limit_a * ohm)

    def ground_drop_v(self, outputs: int) -> float:
        """Return by how much the sensor's ground is above the rig's, from the current that the sensor draws [V]."""
        fed = bool(outputs & wire.OUT_SUPPLY) and not outputs & wire.OUT_TAPPED
        if not fed or self.spec.own_supply_v is not None:
            return 0.0
        return self.board.ground_ohm * self.supply_v(outputs) / self.supply_load_ohm

    @property
    def lsb_per_v(self) -> float:
        """Ideal LSB per volt at the pin."""
        return float(1 << self.front_end.adc_bits) / self.vref_v

    @property
    def supply_load_ohm(self) -> float:
        """The sensor's resistance as a load of its supply [ohm]."""
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


def _limits(board: Board) -> tuple[float, float]:
    """Return the range that buffers or clamps let through [V]; they and the reference share one rail."""
    rail = board.vref_v + REFERENCE_DROP_V
    return board.rail_v, rail + (-board.rail_v if board.front_end.buffered else CLAMP_V)
