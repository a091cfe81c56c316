"""Cases for the parts of a board: `micropython part_cases.py NAME` prints JSON."""

import io
import json
import random
import sys
from array import array

import board_standin
from board_standin import PWM, WDT, Clock, Pin

MEM = board_standin.install()

from sweepboard import pins, rp2_chip, windows, wire  # noqa: E402


def levels():
    return {pin.gpio: pin.value() for pin in Pin.made if pin.mode == Pin.OUT}


def switches_full():
    from sweepboard import rp2_switches

    clock = Clock()
    rp2_switches.time = clock
    switches = rp2_switches.Switches("full", rp2_chip.RP2040)
    out = {"start": [levels()[g] for g in (2, 6, 8, 9)], "outputs": []}
    switches.supply(True)
    switches.burden(True)
    out["outputs"].append(switches.outputs())
    states = []
    for mode in ("up", "down", "off"):
        switches.bias(mode)
        states.append([levels()[8], levels()[9], switches.outputs()])
    out["bias"] = states
    switches.tapped = True
    out["tapped"] = switches.outputs()
    out["lead"] = [switches.powered_lead()]
    Pin.levels[pins.LINK] = 0
    out["lead"].append(switches.powered_lead())
    out["button"] = [switches.button()]
    Pin.levels[pins.BUTTON] = 0
    out["button"].append(switches.button())
    switches.buzzer(200)
    clock.now = 199
    switches.tick()
    tone = [[PWM.made[0].pin.gpio, PWM.made[0].duty > 0]]
    clock.now = 200
    switches.tick()
    tone.append(PWM.made[0].duty)
    out["tone"] = tone
    switches.ramp(1000)
    ramp = PWM.made[-1]
    out["ramp"] = [ramp.pin.gpio, ramp.hz, ramp.duty]
    switches.ramp(0)
    out["ramp"] += [ramp.duty, ramp.ended, levels()[pins.RAMP]]
    switches.light("fast")
    blink = []
    for ms in (0, 100, 200, 300):
        clock.now = 1000 + ms
        switches.tick()
        blink.append(levels()["LED"])
    out["blink"] = blink
    lamp = next(pin for pin in Pin.made if pin.gpio == "LED")
    n_writes, write = [], lamp.value

    def counted(*level):
        n_writes.extend(level)
        return write(*level)

    lamp.value = counted
    for mode in ("slow", "off", "on", "on"):
        switches.light(mode)
        for ms in range(1000):
            clock.now = 2000 + ms
            switches.tick()
    out["writes"] = [bool(level) for level in n_writes]
    lamp.value = write
    out["fitted"] = sorted(switches.fitted)
    return out


def lights():
    """The light of rig.json: outside, none, the board's own; and pins that are taken."""
    from sweepboard import rp2_rig, rp2_switches

    asked = ({}, {"light": 15}, {"light": None}, {"light": pins.SUPPLY_ON}, {"light": 28}, {"light": "x"})
    chosen = [rp2_rig.light_pin(config, "plain") for config in asked]
    made = []
    for pin in (15, None):
        switches = rp2_switches.Switches("plain", rp2_chip.RP2040, pin)
        switches.light("on")
        made.append(["light" in switches.fitted, levels().get(15)])
    return {"chosen": chosen, "made": made, "own": "LED" in levels()}


def fault():
    from sweepboard import rp2_switches

    switches = rp2_switches.Switches("plain", rp2_chip.RP2040)
    pad = rp2_chip.pad_address(rp2_chip.RP2040, pins.SUPPLY_FAULT)
    MEM.words[pad] = 0x16
    out = [switches.fault()]
    Pin.levels[pins.SUPPLY_FAULT] = 1
    out.append(switches.fault())
    return {
        "fault": out,
        "pad": MEM[pad],
        "writes": [w[1] for w in MEM.log],
        "used": sorted(levels(), key=str),
    }


class Bus:
    """An I2C bus with a 16-bit converter: input -> code; None does not answer."""

    def __init__(self, codes, ready_after=0):
        self.codes, self.asked, self.left = codes, [], 0
        self.ready_after = ready_after

    def writeto_mem(self, address, pointer, data):
        word = data[0] << 8 | data[1]
        self.asked.append([address, pointer, word])
        self.input = (word >> 12 & 7) - 4
        self.left = self.ready_after
        if self.codes[self.input] is None:
            raise OSError(5)

    def readfrom_mem_into(self, address, pointer, buf):
        if pointer == 1:
            self.left -= 1
            buf[0] = 0x80 if self.left < 0 else 0
        else:
            buf[0] = (self.codes[self.input] & 0xFFFF) >> 8
            buf[1] = self.codes[self.input] & 0xFF


def monitor(kind):
    from sweepboard.rp2_monitor import Monitor

    codes = ([8000, 24000, -8, 0x7FFF], [8000, None, 5, 6], [1, 2, 3, 4])[kind]
    bus = Bus(codes, ready_after=10**6 if kind == 2 else 0)
    clock = Clock()
    part = Monitor(bus, clock=clock)
    part.begin()
    done = []
    for ms in range(400):
        clock.now = ms
        if part.poll():
            done.append(ms)
    return {"asked": bus.asked, "readings": part.readings(), "done": done, "idle": part.poll()}


class Shaft:
    """A motor and its encoder: turns as the step pin says, or not."""

    def __init__(self, clock, at=1000):
        self.clock, self.at, self.stuck, self.magnet, self.there = clock, at, False, True, True
        self.last, self.way, self.turned, self.lowest = 0, 1, 0, -5000

    def turn(self):
        ms = self.clock.now - self.last
        self.last = self.clock.now
        step, enable = PWM.made[-1], levels()[pins.ENABLE]
        if step.duty and not enable and not self.stuck:
            counts = step.hz * 4096 / 3200 * ms / 1000
            counts *= self.way if levels()[pins.DIR] else -self.way
            counts = max(counts, self.lowest - self.at)
            self.turned += counts
            self.at = (self.at + counts) % 4096
        Pin.levels[pins.HOME] = 1 if self.at <= 200 else 0

    def readfrom_mem_into(self, address, pointer, buf):
        if not self.there:
            raise OSError(5)
        if pointer == 0x0B:
            buf[0] = 0x20 if self.magnet else 0
        else:
            buf[0] = int(self.at) >> 8
            buf[1] = int(self.at) & 0xFF


def drive(kind):
    from sweepboard.rp2_drive import Drive

    clock = Clock()
    shaft = Shaft(clock)
    Pin.levels[pins.HOME] = 0
    part = Drive(shaft, clock=clock)
    if kind == 3:
        shaft.magnet = False
        try:
            return part.command("goto", 2000, 1000)
        except ValueError as problem:
            return {"problem": str(problem), "position": part.tick()}
    action = "home" if kind == 2 else "goto"
    start = part.command(action, 2000 if kind != 4 else 100, 1000)
    shaft.stuck = kind == 1
    moved = 0
    while part.moving and clock.now < 20000:
        clock.now += 1
        shaft.turn()
        part.tick()
        if kind == 5 and clock.now == 200:
            shaft.there = False
        moved = clock.now
    return {
        "start": start["state"], "state": part.state, "at": shaft.at, "ms": moved, "free": levels()[pins.ENABLE],
        "duty": PWM.made[-1].duty, "position": part.tick(),
    }  # fmt: skip


def runaway(kind):
    """What would turn without an end: the motor reversed, count 0 crossed, a motor that turns after it was learnt."""
    from sweepboard.rp2_drive import Drive

    clock = Clock()
    shaft = Shaft(clock, at={"wrap": 108, "round": 3900}.get(kind, 1000))
    Pin.levels[pins.HOME] = 0
    part = Drive(shaft, clock=clock)
    out = []

    def go(target):
        before, began = shaft.turned, clock.now
        part.command("goto", target, 4096 if kind == "wrap" else 1000)
        least = most = 0
        while part.moving and clock.now < began + 20000:
            clock.now += 1
            shaft.way = -1 if kind == "amid" and clock.now >= 500 else shaft.way
            shaft.turn()
            Pin.levels[pins.HOME] = 0
            part.tick()
            least, most = min(least, shaft.turned - before), max(most, shaft.turned - before)
        out.append(
            [part.state, int(shaft.at), int(least), int(most), clock.now - began, levels()[pins.ENABLE]]
        )

    if kind == "reversed":
        shaft.way = -1
        go(2000)
        go(1500)
    elif kind == "wrap":
        go(0)
    elif kind in ("at a stop", "jammed"):
        shaft.way, shaft.lowest = -1, 1000
        shaft.stuck = kind == "jammed"
        go(1100)
        go(1200)
    elif kind == "amid":
        go(2000)
    elif kind == "round":
        go(100)
        go(3900)
    else:
        go(1200)
        shaft.way = -1
        go(1400)
    return out


def watchdog():
    from sweepboard.rp2_watchdog import Watchdog, reset_cause

    out = {}
    for name, base in (("rp2040", 0x40058000), ("rp2350", 0x400D8000)):
        dog = Watchdog(name)
        dog.feed()
        dog.start()
        MEM.words[base] = 0xC0001234
        dog.feed()
        dog.stop()
        out[name] = [WDT.made[-1].timeout, WDT.made[-1].fed, MEM[base]]
    causes = []
    for words in (
        {0x40058008: 1}, {0x40058008: 2}, {0x40064008: 1 << 16}, {0x40064008: 1 << 20}, {0x40064008: 1 << 8}, {},
    ):  # fmt: skip
        memory = board_standin.Memory()
        memory.words = words
        causes.append(reset_cause("rp2040", memory))
    return {"dogs": out, "causes": causes}


class Failing:
    """A service that fails a number of times, then ends."""

    def __init__(self, calls, clock, lasts_ms):
        self.calls, self.clock, self.lasts_ms = calls, clock, lasts_ms
        self.source = self

    def run(self):
        self.calls.append("run")
        self.clock.now += self.lasts_ms
        if self.calls.count("run") < 6:
            raise RuntimeError("worn out")

    def stop(self):
        self.calls.append("source stop")

    def close(self):
        self.calls.append("close")

    def end_watch(self):
        self.calls.append("end watch")

    def make_safe(self):
        self.calls.append("safe")


def boot_fails(lasts_ms):
    from sweepboard import boot

    clock, calls, said = Clock(), [], []
    boot.serve(None, lambda port: Failing(calls, clock, lasts_ms), lambda e: said.append(str(e)), clock)
    return {"runs": calls.count("run"), "said": said, "each": calls[1:5]}


def boot_stops_badly():
    """A source that cannot be stopped, and a watch that cannot be ended: the supply goes off all the same."""
    from sweepboard import boot

    clock, calls = Clock(), []

    class Worse(Failing):
        def stop(self):
            self.calls.append("source stop")
            raise OSError("register")

        def end_watch(self):
            self.calls.append("end watch")
            raise OSError("register")

    boot.serve(None, lambda port: Worse(calls, clock, 5), lambda e: None, clock)
    return calls[:5]


def boot_prompt():
    from sweepboard import boot

    out = [boot.prompt_wanted()]
    Pin.levels[pins.BUTTON] = 0
    out.append(boot.prompt_wanted())
    return out


def build():
    """Which build is found: pull-ups on the bus, and who answers there."""
    from sweepboard import rp2_rig

    class Answers:
        def __init__(self, *addresses):
            self.addresses = addresses

        def readfrom_mem(self, address, pointer, n):
            if address not in self.addresses:
                raise OSError(5)
            return b"\0"

    found = [rp2_rig.find_build()[0]]
    for addresses in ((), (0x48,), (0x48, 0x36), (0x36,)):
        found.append(rp2_rig.find_build(Answers(*addresses))[0])
    return found


class Stream(io.IOBase):
    """One end of a port: what can be read, what was written, and whether it says so to poll()."""

    def __init__(self):
        self.inp = bytearray()
        self.out = []
        self.takes = True

    def ioctl(self, request, arg):
        if request != 3:  # MP_STREAM_POLL; -1: there is no file number
            return -1
        return (1 if self.inp and arg & 1 else 0) | (4 if self.takes and arg & 4 else 0)

    def readinto(self, buf):
        buf[0] = self.inp[0]
        self.inp = self.inp[1:]
        return 1

    def write(self, data):
        self.out.append(len(data))
        return len(data)


def usb():
    from sweepboard.outbox import Outbox
    from sweepboard.usb_port import UsbPort

    stream = Stream()
    port = UsbPort(stream, stream)
    stream.inp += b"abcdef"
    out = {"read": [bytes(port.read(4)).decode(), bytes(port.read(4)).decode(), bytes(port.read(4)).decode()]}
    box = Outbox(port)
    box.add(wire.REPLY, 0, b"x" * 100)
    box.add(wire.REPLY, 0, b"y")
    box.write()
    out["writes"] = stream.out
    stream.takes = False
    box.add(wire.REPLY, 0, b"z")
    out["full"] = [box.write(), len(box), port.writable()]
    return out


def polled():
    from sweepboard.polled_source import PolledSource

    clock = Clock()
    clock.ms = clock.ticks_ms
    clock.diff_ms = clock.ticks_diff
    n = [0]

    def reader():
        n[0] += 1
        return (n[0] * 37 & 0xFFF) << 4

    source = PolledSource([reader] * 3, clock, window=4, period_ms=10)
    source.start()
    buf = bytearray(24)
    got, gaps, seen = [], [], []
    for ms in list(range(60)) + list(range(117, 140)):
        clock.now = ms
        ready = source.poll()
        gap = source.gap()
        if gap:
            gaps.append([ms, gap[0], gap[1]])
        if ready:
            flags = source.take(buf, 0)
            got.append([ms, flags])
            seen.append(list(source.raw()))
    return {
        "got": got,
        "gaps": gaps,
        "seen": seen[0],
        "hz": source.conversion_hz,
        "sum": buf[0] | buf[1] << 8,
    }


def polled_rig():
    """A board that is no RP2: hello of its service, made from rig.json."""
    import machine

    from sweepboard import polled_rig

    class ADC:
        def __init__(self, pin):
            self.gpio = pin.gpio

        def read_u16(self):
            return self.gpio << 4

    machine.ADC = ADC
    machine.unique_id = lambda: b"\x01\xab"
    machine.reset_cause = lambda: 3
    machine.PWRON_RESET, machine.WDT_RESET = 1, 3

    class Port:
        inp = wire.encode(wire.COMMAND, 0, 0, b'{"id": 1, "cmd": "hello"}')
        inp += wire.encode(wire.COMMAND, 0, 0, b'{"id": 2, "cmd": "start"}')
        out = b""

        def read(self, n):
            data, self.inp = self.inp[:n], self.inp[n:]
            return data

        def writable(self):
            return 1000

        def write(self, data):
            self.out += bytes(data)
            return len(data)

    port = Port()
    service = polled_rig.make(port, {"analogue": [32, 33, 34]})
    for _ in range(5):
        service.step()
    service.stream.stop()
    for _ in range(5):
        service.step()
    found = [wire.open_message(run) for run in port.out.split(b"\0") if run]
    hello = json.loads(next(m[4] for m in found if m[0] == wire.HELLO))
    record = next(m[4] for m in found if m[0] == wire.RECORDS)
    return {"hello": hello, "record": list(record[:24])}


def loops():
    """The loops in viper and the plain ones."""
    random.seed(4)
    out = []
    for kind in range(8):
        codes = array("H", bytes(2 * 498))
        for i in range(498):
            codes[i] = (
                0, 4095, i, 4095 - i, random.getrandbits(12), 4095 if i % 3 == 1 else 0, 0x8000 | i,
                random.getrandbits(16),
            )[kind]  # fmt: skip
        a, b = bytearray(27), bytearray(27)
        out.append(
            windows.reduce_into(codes, 0, 3, 166, a, 3) == windows.reduce_plain(codes, 0, 3, 166, b, 3)
        )
        out.append(a == b)
        for channel in range(3):
            x = windows.farthest(codes, 0, 3, channel, 166, 2000)
            out.append(x == windows.farthest_plain(codes, 0, 3, channel, 166, 2000))
            c, d = array("I", bytes(16384)), array("I", bytes(16384))
            windows.count_into(codes, 0, 3, channel, 166, c)
            windows.count_plain(codes, 0, 3, channel, 166, d)
            out.append(c == d)
        e, f = array("H", bytes(200)), array("H", bytes(200))
        windows.copy_codes(codes, 7, 50, e, 20)
        windows.copy_plain(codes, 7, 50, f, 20)
        out.append(e == f)
        for spread, jump in ((0, 0), (100, 0), (0, 100), (4000, 1), (1, 4000)):
            g, h = array("I", [5000, 300000, 0]), array("I", [5000, 300000, 0])
            x = windows.unusual(b, 3, 3, 166, g, spread, jump, 1)
            out.append(x == windows.unusual_plain(b, 3, 3, 166, h, spread, jump, 1) and g == h)
            three = b[3:] + bytes(4) + bytes(28) + b[3:] + bytes(4)
            x = windows.unusual(three, 0, 3, 166, g, spread, jump, 3)
            out.append(x == windows.unusual_plain(three, 0, 3, 166, h, spread, jump, 3) and g == h)
    return {"agree": out, "native": windows.reduce_into is not windows.reduce_plain}


def stuffing():
    from sweepboard.outbox import stuff_into

    random.seed(5)
    wrong = []
    for n in (1, 2, 253, 254, 255, 256, 508, 509, 600):
        for kind in range(4):
            data = bytes([(1, 0, random.getrandbits(8), random.getrandbits(1))[kind] for _ in range(n)])
            a, b = bytearray(n + 10), bytearray(n + 10)
            if stuff_into(a, 2, data, n) != wire.stuff_into(b, 2, data, n) or a != b:
                wrong.append([n, kind])
    return {"wrong": wrong, "native": stuff_into is not wire.stuff_into}


if __name__ == "__main__":
    print(
        json.dumps(globals()[sys.argv[1]](*[int(word) if word.isdigit() else word for word in sys.argv[2:]]))
    )
