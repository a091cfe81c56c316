"""A rig with all leads on one voltage source, and the calibration made of it."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from datetime import UTC, datetime

import numpy as np

from support.fake_rig import FakeRig
from sweepboard import wire
from sweeprig.bench.calibration.calibrate import CalibrationOrder, make_calibration
from sweeprig.bench.calibration.points import Measured, parse_meter
from sweeprig.link.client import RigClient

GAIN, ZERO, NODE = 1.335e-3, 15.0, 0.6
CHIP = "straight"  # no chip that is known: this converter departs from its line nowhere
RIG = {"uid": "00ff", "build": "full", "chip": CHIP, "smps": "pwm"}
METER = parse_meter("0.05%+3", count_v=1e-4, range_v=6.0, serial="M1")
VOLTS = (0.2, 1.35, 2.5, 3.65, 4.8)
NOW = datetime(2026, 5, 4, 8, 0, tzinfo=UTC)


class SourceRig(FakeRig):
    """All leads on one voltage; `volts` yields it anew at each start. Codes are whole, half of them one higher."""

    def __init__(self, volts: Iterator[float] | None = None, **more) -> None:
        super().__init__(chip=CHIP, smps="pwm", **more)
        self.volts = volts or iter(VOLTS)
        self.now_v = 2.5
        self.drift_lsb = 0.0  # in each packet
        self.gain = GAIN

    def _obey(self, name, command):
        if name == "histogram":
            self.send_counts(command)
        if name == "start":
            self.now_v = next(self.volts, self.now_v)
        super()._obey(name, command)

    def send_counts(self, command):
        self._reply(command)
        counts = counts_of("rp2350").astype("<u4")
        for first in range(0, 4096, 512):
            head = struct.pack(wire.HISTOGRAM_FORMAT, command["channel"], 0, first, command["windows"])
            self.send(wire.HISTOGRAM, head + counts[first : first + 512].tobytes())

    def _next_packet(self):
        code = self.now_v / self.gain + ZERO + self.drift_lsb * self._packet
        total, low = round(code * wire.WINDOW), int(code)
        one = [v for _ in range(3) for v in (total, max(low - 2, 0), low + 3)]
        record = struct.pack(wire.RECORD_FORMAT, *one, wire.NO_POSITION, 0)
        self.send(wire.RECORDS, record * wire.RECORDS_PER_PACKET, self._index)
        if "monitor" in self.hello["capabilities"]:
            value = round(self.now_v * NODE * 1e6)
            slow = struct.pack(wire.SLOW_FORMAT, wire.SLOW_SIGNAL_A, 0, 0, value)
            warm = struct.pack(wire.SLOW_FORMAT, wire.SLOW_TEMPERATURE, 0, 0, 24500)
            self.send(wire.SLOW, slow + warm, self._index)
        self._index += wire.RECORDS_PER_PACKET
        self._packet += 1
        self.clock.now += wire.RECORDS_PER_PACKET * wire.WINDOW * wire.CHANNELS / wire.CONVERSION_HZ


def client_of(rig: FakeRig) -> RigClient:
    return RigClient(rig, clock=rig.clock)


def taken(volts: tuple[float, ...] = VOLTS) -> list[Measured]:
    codes = [(v / GAIN + ZERO,) * 3 for v in volts]
    return [
        Measured(c, (0.02,) * 3, (0.8,) * 3, (0.0,) * 3, node_v=NODE * v, temperature_c=24.5, reading_v=v)
        for c, v in zip(codes, volts, strict=True)
    ]


def made(points: list[Measured] | None = None, **more):
    return make_calibration(
        points or taken(), CalibrationOrder(METER, operator="A. Nobody"), RIG, now=lambda: NOW, **more
    )


def counts_of(chip: str = "rp2040", seed: int = 4) -> np.ndarray:
    """Counts of a straight ramp on a simulated converter, resting at both ends."""
    from sweeprig.twin.converter import draw_converter

    converter = draw_converter(chip, np.random.default_rng(seed), noise_lsb=0.8)
    rng = np.random.default_rng(seed)
    u = np.concatenate([np.zeros(20_000), np.linspace(0.0, 3900.0, 400_000), np.full(20_000, 3900.0)])
    return np.bincount(converter.codes(u + rng.normal(0, 0.8, u.size)), minlength=4096)
