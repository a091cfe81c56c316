"""A rig without firmware whose channels read what a test says for each state of its switches."""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from support.fake_rig import FakeRig
from sweepboard import wire
from sweeprig.bench.readings.live import RigVolts, volts_of
from sweeprig.calibration.nominal import nominal_calibration
from sweeprig.capture.model import SweepSetup
from sweeprig.judge.profile import Profile
from sweeprig.link.client import RigClient

FULL = [
    "supply-switch", "supply-sense", "supply-fault", "burden", "bias", "buffered", "monitor",
    "buzzer", "button", "ground-sense", "battery", "guaranteed-tap",
]  # fmt: skip
PLAIN = ["supply-switch", "supply-sense", "supply-fault"]


@dataclass
class Outputs:
    """What is switched."""

    supply: bool = False
    burden: bool = False
    bias: str = "off"
    tapped: bool = False
    index: int = 0  # of the record, for readings that change in time


Reading = tuple[float, float, float]  # signal A, signal B, supply [V]


class ScriptedRig(FakeRig):
    """`volts(outputs)` gives the channels; `fault(outputs)` the limiter's flag; `slow` readings [uV or uA]."""

    def __init__(self, volts: Callable[[Outputs], Reading], *, build: str = "full", **hello: Any) -> None:
        hello.setdefault("capabilities", FULL if build != "plain" else PLAIN)
        hello.setdefault("hookups", ["powered", "tapped"] if build != "plain" else ["powered"])
        super().__init__(build=build, chip="rp2040", **hello)
        self.out = Outputs()
        self.volts = volts
        self.fault: Callable[[Outputs], bool] = lambda _o: False
        self.slow: dict[int, int] = {}
        self.stuck_on = False  # a rig that does not let go
        self._lines = [c.line for c in nominal_calibration(self.hello).channels]
        self._slow_every = 0

    def did(self, name: str) -> list[dict[str, Any]]:
        return [c for c in self.commands if c["cmd"] == name]

    def _record(self, index: int) -> bytes:
        self.out.index = index
        pairs = zip(self.volts(self.out), self._lines, strict=True)
        codes = [min(4095, max(0, round((v - line.offset_v) / line.gain_v))) for v, line in pairs]
        fields = [x for c in codes for x in (c * wire.WINDOW, max(0, c - 2), min(4095, c + 2))]
        flags = wire.FLAG_SUPPLY_ON if self.out.supply or self.stuck_on else 0
        flags |= wire.FLAG_BURDEN_ON if self.out.burden else 0
        flags |= wire.FLAG_BIAS_ON if self.out.bias != "off" else 0
        flags |= wire.FLAG_SUPPLY_FAULT if self.fault(self.out) else 0
        return struct.pack(wire.RECORD_FORMAT, *fields, wire.NO_POSITION, flags)

    def _next_packet(self) -> None:
        if self._packet >= self.n_packets:
            return
        n = wire.RECORDS_PER_PACKET
        payload = b"".join(self._record(self._index + i) for i in range(n))
        if self._slow_every and self.slow:
            readings = (struct.pack(wire.SLOW_FORMAT, q, 0, 0, v) for q, v in self.slow.items())
            self.send(wire.SLOW, b"".join(readings), self._index)
        self.send(wire.RECORDS, payload, self._index)
        self._index += n
        self._packet += 1
        self.clock.now += n * wire.WINDOW * wire.CHANNELS / wire.CONVERSION_HZ

    def _obey(self, name: str, command: dict[str, Any]) -> None:
        if name == "start":
            self.out.tapped = command["hookup"] == "tapped"
        if name == "slow":
            self._slow_every = command["every_ms"]
        if name in ("supply", "burden") and not self.stuck_on:
            setattr(self.out, name, command["on"])
        if name == "bias":
            self.out.bias = command["mode"]
        super()._obey(name, command)


def client_of(rig: FakeRig) -> RigClient:
    client = RigClient(rig, clock=rig.clock)
    client.hello()
    return client


def volts_of_rig(client: RigClient, setup: SweepSetup, profile: Profile) -> RigVolts:
    """The volts of a rig that was never calibrated."""
    return volts_of(client, setup, nominal_calibration(client.hello()), profile.supply.nominal_v)


def sensor(signal: float = 0.45, supply: float = 4.72) -> Callable[[Outputs], Reading]:
    """A sensor that gives nothing until it is fed."""
    return lambda o: (signal, 0.0, supply) if o.supply else (0.0, 0.0, 0.0)
