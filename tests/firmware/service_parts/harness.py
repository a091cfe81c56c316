"""A port, sources and switches without hardware, for the service under CPython and under MicroPython alike."""

import json
import struct
from array import array

from sweepboard import wire
from sweepboard.no_switches import RememberedSwitches
from sweepboard.service import Service
from sweepboard.simulated_source import SimulatedClock, SimulatedSource

WORDS = wire.WINDOW * wire.CHANNELS
ALL = ("supply-switch", "burden", "bias", "buzzer", "light", "button")


class Port:
    """A port that takes `room` bytes at once, `allowed` in all."""

    def __init__(self, block=1):
        self.block = block
        self.inp = bytearray()
        self.out = bytearray()
        self.room = 1 << 20
        self.allowed = 1 << 30
        self.most_asked = 0

    def read(self, n):
        data = bytes(self.inp[:n])
        self.inp = self.inp[n:]
        return data

    def writable(self):
        return min(self.room, self.allowed)

    def write(self, data):
        if len(data) > self.writable():
            raise AssertionError("a write of more than the port takes")
        self.out += bytes(data)
        self.allowed -= len(data)
        return len(data)


class ShortPort(Port):
    """A port that takes less than it promised."""

    def write(self, data):
        self.most_asked = max(self.most_asked, len(data))
        n = (len(data) + 1) // 2
        self.out += bytes(data[:n])
        return n


class Watchdog:
    def __init__(self):
        self.calls = []

    def start(self):
        self.calls.append("start")

    def feed(self):
        if self.calls[-1] != "feed":
            self.calls.append("feed")

    def stop(self):
        self.calls.append("stop")


class Monitor:
    def __init__(self):
        self.rounds = 0
        self.going = False

    def begin(self):
        self.going = True

    def poll(self):
        ended = self.going
        self.going = False
        self.rounds += ended
        return ended

    def readings(self):
        return [(wire.SLOW_SIGNAL_A, 0, 1234567), (wire.SLOW_GROUND, 1, -125)]


class Drive:
    moving = False
    position = 77
    freed = 0

    def tick(self):
        return self.position

    def command(self, action, position, speed):
        if action == "home":
            raise ValueError("the angle encoder does not answer")
        self.moving = action == "goto"
        return {"state": action, "position": position, "speed": speed}

    def free(self):
        self.moving = False
        self.freed += 1


def ramp(first, n):
    """Codes that any reader can check: channel 0 counts, 1 and 2 rest."""
    codes = array("H", bytes(2 * n))
    for i in range(n):
        channel = (first + i) % 3
        codes[i] = ((first + i) // 3 * 5) % 4096 if channel == 0 else 0
    return codes


class Rig:
    """A service on a SimulatedSource; the harness is its host."""

    def __init__(self, codes=ramp, port=None, hookups=("powered", "tapped"), fitted=ALL, ahead=1, **parts):
        self.n = 0
        self.codes = codes
        self.outputs_seen = []
        self.port = port or Port()
        self.source = SimulatedSource(self._fetch, ahead=ahead)
        self.switches = RememberedSwitches(fitted)
        self.clock = SimulatedClock(self.source)
        identity = {
            "firmware": "0.1.0", "board": "none", "chip": "none", "uid": "00ff", "build": "full",
            "hookups": hookups, "reset_cause": "watchdog", "python": "3", "capabilities": list(fitted),
        }  # fmt: skip
        self.service = Service(
            port=self.port,
            source=self.source,
            switches=self.switches,
            clock=self.clock,
            identity=identity,
            **parts,
        )
        self.source.outputs = self.service.outputs
        self.next_id = 0

    def _fetch(self, outputs, n_windows):
        self.outputs_seen.append(outputs)
        codes = self.codes(self.n, n_windows * WORDS)
        self.n += n_windows * WORDS
        return bytes(memoryview(codes))

    def steps(self, n, alive=True):
        for i in range(n):
            if alive and i % 200 == 0:
                self.send(wire.ALIVE)
            if not self.service.step():
                self.clock.sleep_ms(5)

    def send(self, kind, payload=b""):
        self.port.inp += wire.encode(kind, 0, 0, payload)

    def say(self, cmd, **arguments):
        """Send a command; return its id."""
        self.next_id += 1
        body = {"id": self.next_id, "cmd": cmd}
        body.update(arguments)
        self.send(wire.COMMAND, json.dumps(body).encode())
        return self.next_id

    def ask(self, cmd, **arguments):
        """Send a command, return its answer; other messages are kept for take_in()."""
        number = self.say(cmd, **arguments)
        for _ in range(50):
            self.service.step()
            for kind, _index, payload in self.messages(keep=True):
                if kind in (wire.REPLY, wire.HELLO) and json.loads(payload)["id"] == number:
                    return json.loads(payload)
        raise AssertionError("no answer to " + cmd)

    def messages(self, keep=False):
        """Return (kind, index, payload) of what came since the last call; AssertionError on a bad frame."""
        found = []
        runs = bytes(self.port.out).split(b"\0")
        for run in runs[:-1]:
            if run:
                message = wire.open_message(run)
                if message is None:
                    raise AssertionError("a bad frame")
                found.append((message[0], message[3], message[4]))
        if not keep:
            self.port.out = bytearray(runs[-1])
        return found


def records(messages):
    """Return index -> fields of each record."""
    found = {}
    for kind, index, payload in messages:
        if kind == wire.RECORDS:
            for i in range(len(payload) // wire.RECORD_SIZE):
                found[index + i] = list(struct.unpack_from(wire.RECORD_FORMAT, payload, i * wire.RECORD_SIZE))
    return found


def gaps(messages):
    """Return [index, windows, reason] of each gap."""
    found = []
    for kind, index, payload in messages:
        if kind == wire.GAP:
            n, reason, _, _ = struct.unpack(wire.GAP_FORMAT, payload)
            found.append([index, n, reason])
    return found


def reduced(codes):
    """Return sum, min, max of each channel, by builtins."""
    out = []
    for channel in range(3):
        part = [codes[i] for i in range(channel, len(codes), 3)]
        out += [sum(part), min(part), max(part)]
    return out
