"""A rig of a few lines for tests of the link and of captures: no firmware, no port, a clock of its own."""

from __future__ import annotations

import json
import struct
from typing import Any

from sweepboard import wire
from sweeprig.errors import PortLostError

HELLO: dict[str, Any] = {
    "firmware": "0.0-fake",
    "protocol": wire.PROTOCOL,
    "board": "fake",
    "chip": "none",
    "uid": "00ff",
    "build": "full",
    "capabilities": ["supply-switch", "burden"],
    "hookups": ["powered", "tapped"],
    "channels": wire.CHANNELS,
    "window": wire.WINDOW,
    "conversion_hz": wire.CONVERSION_HZ,
    "records_per_packet": wire.RECORDS_PER_PACKET,
    "reset_cause": "power on",
    "python": "none",
}


class Clock:
    """Seconds that pass only when told."""

    def __init__(self) -> None:
        self.now = 100.0

    def __call__(self) -> float:
        return self.now


def record(i: int) -> bytes:
    """Return record `i` of a ramp that any reader can check: sums follow from the index."""
    mean = i % 4000
    sums = [mean * wire.WINDOW, 2000 * wire.WINDOW, 3700 * wire.WINDOW]
    fields = [v for s in sums for v in (s, s // wire.WINDOW, s // wire.WINDOW + 1)]
    return struct.pack(wire.RECORD_FORMAT, *fields, wire.NO_POSITION, wire.FLAG_SUPPLY_ON)


class FakeRig:
    """A transport that answers as a rig does. Time passes as packets are read and as reads find nothing."""

    name = "fake"

    def __init__(self, clock: Clock | None = None, **hello: Any) -> None:
        self.clock = clock or Clock()
        self.hello = {**HELLO, **hello}
        self.n_packets = 10**9  # then the stream falls silent
        self.lost_after: int | None = None  # packets; then the port is gone
        self.greets = True
        self.answers = True
        self.says = b""  # before anything else
        self.instead_of_hello: bytes | None = None
        self.drop: dict[int, int] = {}  # at packet: number of packets not sent, but counted
        self.refuse: dict[str, tuple[str, str]] = {}
        self.commands: list[dict[str, Any]] = []
        self.n_alive = 0
        self.alive_at: list[float] = []
        self.streaming = False
        self.closed = False
        self._out = bytearray()
        self._splitter = wire.Splitter()
        self._sequence = 0
        self._index = 0
        self._packet = 0

    # --- transport

    def read(self, timeout_s: float) -> bytes:
        if self.says:
            self._out[:0] = self.says
            self.says = b""
        if not self._out and self.streaming:
            self._next_packet()
        if not self._out:
            self.clock.now += max(timeout_s, 0.001)
        data = bytes(self._out)
        self._out.clear()
        return data

    def write(self, data: bytes) -> None:
        if self._gone():
            raise PortLostError("The board on fake went away.")
        for run in self._splitter.feed(data):
            opened = wire.open_message(run)
            assert opened is not None
            kind, protocol, _, _, payload = opened
            assert protocol == wire.PROTOCOL
            if kind == wire.ALIVE:
                self.n_alive += 1
                self.alive_at.append(self.clock.now)
            else:
                self._command(json.loads(payload))

    def close(self) -> None:
        self.closed = True

    # --- board

    def _gone(self) -> bool:
        return self.lost_after is not None and self._packet >= self.lost_after

    def _next_packet(self) -> None:
        if self._gone():
            raise PortLostError("The board on fake went away.")
        if self._packet >= self.n_packets:
            return
        self._index += wire.RECORDS_PER_PACKET * self.drop.get(self._packet, 0)
        payload = b"".join(record(self._index + i) for i in range(wire.RECORDS_PER_PACKET))
        self.send(wire.RECORDS, payload, self._index)
        self._index += wire.RECORDS_PER_PACKET
        self._packet += 1
        self.clock.now += wire.RECORDS_PER_PACKET * wire.WINDOW * wire.CHANNELS / wire.CONVERSION_HZ

    def send(self, kind: int, payload: bytes, index: int = 0) -> None:
        self._out += wire.encode(kind, self._sequence, index, payload)
        self._sequence = (self._sequence + 1) & 0xFFFF

    def _reply(self, command: dict[str, Any], **more: Any) -> None:
        self.send(wire.REPLY, json.dumps({"id": command["id"], "ok": True, **more}).encode())

    def _command(self, command: dict[str, Any]) -> None:
        self.commands.append(command)
        name = command["cmd"]
        if name == "hello":
            self._greet(command)
        elif not self.answers:
            return
        elif name in self.refuse:
            error, reason = self.refuse[name]
            answer = {"id": command["id"], "ok": False, "error": error, "reason": reason}
            self.send(wire.REPLY, json.dumps(answer).encode())
        else:
            self._obey(name, command)

    def _obey(self, name: str, command: dict[str, Any]) -> None:
        if name == "start":
            self.streaming, self._index, self._packet = True, 0, 0
        if name == "stop":
            self.streaming = False
        if name == "status":
            self.send(
                wire.STATUS, struct.pack(wire.STATUS_FORMAT, 5, 4, 3, 2, 1, 0, 99, 0, 1, 0), self._index
            )
        self._reply(command, window=wire.WINDOW)

    def _greet(self, command: dict[str, Any]) -> None:
        if self.instead_of_hello is not None:
            self._out += self.instead_of_hello
        elif self.greets:
            self.send(wire.HELLO, json.dumps({"id": command["id"], **self.hello}).encode())
