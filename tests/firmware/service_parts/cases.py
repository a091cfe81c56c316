"""Cases for the service: `python cases.py NAME` and `micropython cases.py NAME` print JSON."""

import json
import random
import struct
import sys
from array import array

from harness import (
    WORDS,
    Drive,
    Monitor,
    Port,
    Rig,
    ShortPort,
    Watchdog,
    gaps,
    ramp,
    records,
    reduced,
)

from sweepboard import wire


def quiet(first, n):
    """Return what an unpowered sensor gives."""
    return array("H", bytes(2 * n))


def kinds(messages):
    return [message[0] for message in messages]


def hello():
    rig = Rig(selfcheck=lambda: {"free_bytes": 5})
    return rig.ask("hello")


BAD = [
    (b"nonsense", "malformed"),
    (b"", "malformed"),
    (b"[1, 2]", "malformed"),
    (b'{"cmd": "hello"}', "malformed"),
    (b'{"id": "x", "cmd": "hello"}', "malformed"),
    (b'{"id": true, "cmd": "hello"}', "malformed"),
    (b'{"id": -1, "cmd": "hello"}', "malformed"),
    (b'{"id": 7}', "malformed"),
    (b'{"id": 7, "cmd": 5}', "malformed"),
    (b'{"id": 7, "cmd": "nosuch"}', "unknown-command"),
    (b'{"id": 7, "cmd": "supply"}', "malformed"),
    (b'{"id": 7, "cmd": "supply", "on": 1}', "malformed"),
    (b'{"id": 7, "cmd": "supply", "on": true, "hard": 1}', "malformed"),
    (b'{"id": 7, "cmd": "start", "hookup": "sideways"}', "out-of-range"),
    (b'{"id": 7, "cmd": "start", "hookup": 3}', "malformed"),
    (b'{"id": 7, "cmd": "bias", "mode": "sideways"}', "out-of-range"),
    (b'{"id": 7, "cmd": "snapshots", "spread": 4096}', "out-of-range"),
    (b'{"id": 7, "cmd": "snapshots", "before": 100000}', "out-of-range"),
    (b'{"id": 7, "cmd": "snapshots", "spread": 1.5}', "malformed"),
    (b'{"id": 7, "cmd": "histogram", "channel": 3, "windows": 1}', "out-of-range"),
    (b'{"id": 7, "cmd": "histogram", "channel": 0, "windows": 1}', "not-now"),
    (b'{"id": 7, "cmd": "slow", "every_ms": 100}', "not-fitted"),
    (b'{"id": 7, "cmd": "drive", "action": "stop"}', "not-fitted"),
    (b'{"id": 7, "cmd": "snapshots", "spread": true}', "malformed"),
    (b'\xff\xfe{"id": 7}', "malformed"),
    (b"[" * 2000, "malformed"),
]


def bad_commands():
    rig = Rig()
    out = []
    for payload, expected in BAD:
        rig.send(wire.COMMAND, payload)
        rig.steps(60)
        answers = [json.loads(m[2]) for m in rig.messages() if m[0] == wire.REPLY]
        out.append(
            [
                expected,
                [a["error"] for a in answers],
                [a["reason"] for a in answers],
                [a["id"] for a in answers],
            ]
        )
    return {"answers": out, "count": rig.service.bad_commands, "hello": rig.ask("hello")["id"]}


def failing():
    """A command whose work fails with whatever: refused and counted, all off, and the service lives on."""
    out = []
    for error in (
        OSError(5),
        RuntimeError("maximum recursion depth exceeded"),
        MemoryError(),
        ValueError("x"),
    ):
        rig = Rig(codes=quiet)
        rig.ask("supply", on=True)

        def fails(mode, error=error):
            raise error

        rig.switches.light = fails
        answer = rig.ask("light", mode="on")
        out.append([answer["ok"], answer.get("error"), rig.switches.outputs(), rig.ask("hello")["build"]])
        out[-1].append(rig.service.bad_commands)
    return out


def deep():
    """Valid JSON whose brackets go deeper than any argument may."""
    rig = Rig()
    out = []
    for depth in (150, 1900):
        value = b"[" * depth + b"]" * depth
        for body in (
            b'{"id": 7, "cmd": "supply", "on": %s}',
            b'{"id": 7, "cmd": %s}',
            b'{"id": %s}',
            b'{"id": 7, "x": %s}',
        ):
            rig.send(wire.COMMAND, body.replace(b"%s", value))
            rig.steps(60)
            out += [json.loads(m[2])["error"] for m in rig.messages() if m[0] == wire.REPLY]
    return {"errors": out, "hello": rig.ask("hello")["build"]}


def flood():
    """Commands without an end: an earlier `supply on` waits, then `supply off` and `stop` are among them."""
    rig = Rig(codes=quiet)
    rig.ask("supply", on=True)
    rig.ask("start")
    for _ in range(30):
        rig.say("status")
    rig.say("supply", on=True)
    rig.say("supply", on=False)
    rig.say("stop")
    steps = 0
    while rig.service.stream.running and steps < 1000:
        rig.say("status")
        rig.service.step()
        rig.port.out = bytearray()
        steps += 1
    outputs = rig.switches.outputs()
    rig.steps(500)
    answers = len([m for m in rig.messages() if m[0] == wire.REPLY])
    return {
        "outputs": outputs, "after": rig.switches.outputs(), "steps": steps, "answers": answers,
        "waiting": len(rig.service.inbox._waiting), "unheard": rig.ask("status")["bad_commands"],
    }  # fmt: skip


def flood_at_rest():
    """The same without a stream; each answer takes 20 ms, and each cycle 10."""
    rig = Rig(codes=quiet)
    rig.ask("supply", on=True)
    for _ in range(60):
        rig.say("status")
    rig.say("supply", on=True)
    rig.say("supply", on=False)
    began = rig.clock.ms()
    while rig.switches.outputs() and rig.clock.ms() - began < 5000:
        rig.say("status")
        rig.service.step()
        answered = len([m for m in rig.messages() if m[0] == wire.REPLY])
        rig.clock.sleep_ms(10 + 20 * answered)
    took_ms = rig.clock.ms() - began
    rig.steps(500)
    return {
        "took_ms": took_ms, "after": rig.switches.outputs(), "hello": rig.ask("hello")["build"],
        "waiting": len(rig.service.inbox._waiting),
    }  # fmt: skip


def garbage():
    """100 kB of bytes without an end, zeros in between, frames cut short; then a command."""
    rig = Rig()
    seed = random.Random(3) if hasattr(random, "Random") else random
    if seed is random:
        random.seed(3)
    longest = 0
    for _ in range(60):
        rig.port.inp += bytes([1 + seed.getrandbits(7) for _ in range(1700)])
        if seed.getrandbits(2) == 0:
            rig.port.inp += (
                b"\0" + wire.encode(wire.COMMAND, 0, 0, b'{"id": 1, "cmd": "supply"}')[:-7] + b"\0\0"
            )
        while rig.port.inp:
            rig.service.step()
            longest = max(longest, len(rig.service.inbox._splitter._run))
    rig.port.inp += b"\0"
    rig.messages()
    return {"hello": rig.ask("hello")["id"], "longest": longest, "supply": rig.switches.outputs()}


def exact():
    """Every record is the reduction of what was fetched."""
    seed = random.Random(5) if hasattr(random, "Random") else random
    if seed is random:
        random.seed(5)
    kept = []

    def codes(first, n):
        block = array("H", [seed.getrandbits(12) for _ in range(n)])
        kept.extend(reduced(block[i : i + WORDS]) for i in range(0, n, WORDS))
        return block

    rig = Rig(codes=codes, ahead=4)
    rig.ask("start")
    rig.steps(20)
    rig.ask("stop")
    found = records(rig.messages())
    flags = [found[i][10] for i in sorted(found)]
    wrong = [i for i in found if found[i][:9] != kept[i]]
    return {
        "n": len(found),
        "indices": sorted(found) == list(range(len(found))),
        "wrong": wrong,
        "flags": flags[:3],
    }


def bad_conversions():
    def codes(first, n):
        block = ramp(first, n)
        for i in range(n):
            if first + i in (WORDS, WORDS + 7):
                block[i] |= 0x8000
        return block

    rig = Rig(codes=codes)
    rig.ask("start")
    rig.steps(10)
    stop = rig.ask("stop")
    found = records(rig.messages())
    return {
        "flags": [found[i][10] for i in range(3)],
        "errors": stop["conversions_in_error"],
        "max": found[1][2],
    }


def stalled(block, ms):
    """The host takes nothing for `ms`, then everything."""
    rig = Rig(port=Port(block))
    rig.ask("start")
    rig.steps(40)
    rig.port.allowed = 1000
    rig.steps(ms * 1000 // 996)
    depth = len(rig.service.outbox)
    rig.port.allowed = 1 << 30
    steps = []
    for _ in range(100):
        before, index = len(rig.port.out), rig.service.stream.index
        rig.steps(1)
        steps.append([len(rig.port.out) - before, rig.service.stream.index - index])
    stop = rig.ask("stop")
    messages = rig.messages()
    return {
        "records": sorted(records(messages)),
        "gaps": gaps(messages),
        "stop": stop,
        "depth": depth,
        "steps": steps,
        "multiple": len(rig.port.out) % block,
    }


def never_read():
    """A host that only sends: commands wait unread when their answers find no room."""
    rig = Rig()
    rig.port.allowed = 0
    for _ in range(200):
        rig.say("status")
    rig.steps(300)
    depth, waiting = len(rig.service.outbox), len(rig.port.inp)
    rig.port.allowed = 1 << 30
    rig.steps(300)
    answers = [m for m in rig.messages() if m[0] == wire.REPLY]
    return {"depth": depth, "waiting": waiting, "answers": len(answers)}


def partial():
    """A port that takes a few bytes at once, and half of what it promised, gets the very same bytes."""
    outs = []
    for port, room in ((Port(), 1 << 20), (Port(), 7), (ShortPort(), 50)):
        port.room = room
        rig = Rig(port=port)
        rig.say("hello")
        rig.say("start")
        for i in range(64):
            rig.service.step()
            if i == 30:
                rig.say("supply", on=False)
        rig.say("stop")
        for _ in range(2000):
            rig.service.step()
        outs.append(bytes(port.out))
    return {"same": outs[0] == outs[1] == outs[2], "n": len(outs[0])}


def keep_alive():
    rig = Rig(codes=quiet)
    rig.ask("supply", on=True)
    rig.ask("start")
    rig.steps(4000)
    lived = rig.service.stream.running and rig.switches.outputs() == 1
    made = rig.service.stream.counts.made
    rig.steps(8000, alive=False)
    after = rig.service.stream.counts.made - made
    rig.messages()
    rig.steps(100, alive=False)
    return {
        "lived": lived, "after_s": after * 996e-6, "running": rig.service.stream.running,
        "outputs": rig.switches.outputs(), "silent": len(rig.messages()),
    }  # fmt: skip


def supply_alone():
    """The supply on without a stream: a host that speaks every half second, and then one that does not."""
    rig = Rig(codes=quiet)
    rig.ask("supply", on=True)
    rig.ask("burden", on=True)
    rig.ask("bias", mode="up")
    for _ in range(120):
        rig.send(wire.ALIVE)
        rig.steps(100, alive=False)
    lived = rig.switches.outputs()
    began = rig.clock.ms()
    while rig.switches.outputs() and rig.clock.ms() - began < 60000:
        rig.steps(1, alive=False)
    return {"lived": lived, "lived_s": 60, "after_ms": rig.clock.ms() - began}


def spike(at, depth=1000):
    """2000, 2010, 2020 on the channels, with four conversions of channel 0 lifted at conversion `at`."""

    def codes(first, n):
        block = array("H", [2000 + 10 * ((first + i) % 3) for i in range(n)])
        for place in (at, at + 3, at + 6, at + 9):
            if first <= place < first + n:
                block[place - first] += depth
        return block

    return codes


def shots(messages):
    out = []
    for kind, index, payload in messages:
        if kind == wire.SNAPSHOT:
            first, trigger, channels, channel, n = struct.unpack_from(wire.SNAPSHOT_FORMAT, payload)
            codes = list(array("H", payload[wire.SNAPSHOT_SIZE :]))
            out.append([index, first, trigger, channels, channel, n, codes])
    return out


def snapshot(at, depth, before, after, spread, jump):  # noqa: PLR0917
    codes = spike(at, depth)
    rig = Rig(codes=codes)
    rig.ask("snapshots", spread=spread, jump=jump, before=before, after=after, per_second=20)
    rig.ask("start")
    rig.steps(30)
    out = []
    for shot in shots(rig.messages()):
        begin = shot[0] * WORDS + shot[1]
        shot[6] = shot[6] == list(codes(begin, shot[5]))
        out.append(shot)
    return out


def step_jump():
    """A step of the level between two windows: no spread anywhere, but a jump."""

    def codes(first, n):
        return array("H", [1000 if (first + i) < 6 * WORDS else 1300 for i in range(n)])

    rig = Rig(codes=codes)
    rig.ask("snapshots", jump=200, before=30, after=30)
    rig.ask("start")
    rig.steps(20)
    return shots(rig.messages())


def snapshot_rate():
    """A spike in every window: only so many a second are sent, the others are counted."""

    def codes(first, n):
        return array("H", [3000 if (first + i) % WORDS == 30 else 1000 for i in range(n)])

    rig = Rig(codes=codes)
    rig.ask("snapshots", spread=100, before=300, after=600, per_second=5)
    rig.ask("start")
    rig.steps(1004)
    found = [shot[0] for shot in shots(rig.messages(keep=True))]
    return {"at": found, "skipped": rig.ask("status")["snapshots_skipped"]}


def histogram():
    counted = [0] * 4096
    seen = []

    def codes(first, n):
        block = array("H", [(first + i) * 7 % 4096 for i in range(n)])
        seen.append(block)
        return block

    rig = Rig(codes=codes)
    rig.ask("start")
    rig.steps(5)
    before = len(seen)
    reply = rig.ask("histogram", channel=1, windows=20)
    second = rig.ask("histogram", channel=1, windows=20)
    rig.steps(60)
    pieces = [m for m in rig.messages() if m[0] == wire.HISTOGRAM]
    counts = []
    heads = []
    for _kind, _index, payload in pieces:
        heads.append(list(struct.unpack_from(wire.HISTOGRAM_FORMAT, payload)))
        counts += list(array("I", payload[wire.HISTOGRAM_SIZE :]))
    best = None
    for shift in range(before - 2, before + 2):  # the window in which the command arrived
        for i in range(4096):
            counted[i] = 0
        for block in seen[shift : shift + 20]:
            for i in range(1, WORDS, 3):
                counted[block[i]] += 1
        if counted == counts:
            best = shift
    return {
        "ok": reply["ok"],
        "second": second["error"],
        "heads": heads,
        "match": best is not None,
        "sum": sum(counts),
    }


def ramping():
    """Return a rig with a ramp, and the list that its course (ms, duty) goes into, every 50 ms."""
    rig = Rig(codes=quiet, fitted=("supply-switch", "burden", "bias", "light", "ramp"))
    course = []
    put = rig.switches.ramp

    def note(duty):
        if not course or not duty or rig.clock.ms() - course[-1][0] >= 50:
            course.append((rig.clock.ms(), duty))
        put(duty)

    rig.switches.ramp = note
    return rig, course


def go_on(rig, n, **how):
    """Go on for n steps and forget what the rig sends: it would not fit into MicroPython's memory."""
    for _ in range(n // 50):
        rig.steps(50, **how)
        rig.port.out = bytearray()


def begin_ramp(rig, leg_ms=1000):
    rig.ask("start", hookup="powered")
    reply = rig.ask("ramp", leg_ms=leg_ms, legs=2)
    go_on(rig, 200)
    return reply


def slow_ramp():
    """The rig's own ramp: its course, and who may not have it."""
    rig, course = ramping()
    errors = [rig.ask("ramp", leg_ms=1000).get("error"), begin_ramp(rig, 499).get("error")]
    rig.ask("supply", on=True)
    errors.append(rig.ask("ramp", leg_ms=1000).get("error"))
    rig.ask("start", hookup="tapped")
    errors.append(rig.ask("ramp", leg_ms=1000).get("error"))
    errors.append(Rig(codes=quiet).ask("ramp", leg_ms=1000).get("error"))
    idle = [len(course), rig.switches.duty, rig.ask("status")["ramp_permille"]]
    reply = begin_ramp(rig)
    supply = rig.ask("supply", on=True).get("error")
    permille = rig.ask("status")["ramp_permille"]
    go_on(rig, 2500)
    return {
        "errors": errors, "idle": idle, "reply": reply, "supply": supply, "permille": permille, "course": course,
    }  # fmt: skip


def ramp_ends():
    """All that ends a ramp: the duty before and after."""
    ends = {}
    ways = {
        "asked": lambda rig: rig.ask("ramp", leg_ms=0),
        "stop": lambda rig: rig.ask("stop"),
        "start": lambda rig: rig.ask("start", hookup="powered"),
        "tapped": lambda rig: rig.ask("start", hookup="tapped"),
        "histogram": lambda rig: (rig.ask("histogram", channel=0, windows=100), go_on(rig, 150)),
        "silence": lambda rig: go_on(rig, 5000, alive=False),
        "prompt": lambda rig: rig.ask("prompt"),
    }
    for name, way in ways.items():
        rig, _course = ramping()
        begin_ramp(rig, 60000)
        before = rig.switches.duty
        way(rig)
        rig.steps(2)
        ends[name] = [before, rig.switches.duty]
    return ends


def interlock():
    drive = Drive()
    rig = Rig(codes=quiet, drive=drive, monitor=Monitor())
    rig.ask("supply", on=True)
    rig.ask("burden", on=True)
    rig.ask("bias", mode="up")
    before = rig.switches.outputs()
    rig.ask("start", hookup="tapped")
    during = [rig.service.outputs()]
    answers = [
        rig.ask("supply", on=True), rig.ask("burden", on=True), rig.ask("bias", mode="up"),
        rig.ask("bias", mode="down"), rig.ask("drive", action="goto", position=5),
    ]  # fmt: skip
    during.append(rig.service.outputs())
    off = [
        rig.ask("supply", on=False)["ok"],
        rig.ask("bias", mode="off")["ok"],
        rig.ask("drive", action="stop")["ok"],
    ]
    rig.ask("stop")
    after_stop = rig.ask("supply", on=True).get("error")
    rig.ask("start", hookup="powered")
    powered = rig.ask("supply", on=True)["ok"]
    plain = Rig(hookups=("powered",)).ask("start", hookup="tapped")
    return {
        "before": before, "during": during, "errors": [a.get("error") for a in answers], "off": off,
        "after_stop": after_stop, "powered": powered, "plain": plain.get("error"), "freed": drive.freed,
        "seen": max(rig.outputs_seen),
    }  # fmt: skip


def lead():
    """A rig that feels which lead is plugged in."""
    rig = Rig()
    rig.switches.powered_lead = lambda: False
    out = [rig.ask("supply", on=True).get("error"), rig.ask("start", hookup="powered").get("error")]
    out.append(rig.ask("start", hookup="tapped").get("error"))
    rig.switches.powered_lead = lambda: True
    out += [rig.ask("start", hookup="tapped").get("error"), rig.ask("start", hookup="powered").get("error")]
    return out


def voltage_there():
    """Something else feeds the sensor: the supply is not switched on, streaming or not."""
    rig = Rig(codes=lambda first, n: array("H", [3000 if (first + i) % 3 == 2 else 15 for i in range(n)]))
    out = [rig.ask("supply", on=True)]
    rig.ask("start")
    rig.steps(5)
    out.append(rig.ask("supply", on=True))
    return {
        "errors": [a.get("error") for a in out],
        "reason": out[0]["reason"],
        "outputs": rig.switches.outputs(),
    }


def button():
    rig = Rig()
    rig.ask("start")
    down = [False]
    rig.switches.button = lambda: down[0]
    pattern = (
        [False] * 10
        + [True, True, False, False, True]
        + [True] * 100
        + [False] * 100
        + [True] * 60
        + [False] * 50
    )
    for state in pattern:
        down[0] = state
        rig.steps(1)
    messages = rig.messages()
    marks = [[m[1], list(struct.unpack(wire.MARK_FORMAT, m[2]))] for m in messages if m[0] == wire.MARK]
    flagged = [i for i, r in records(messages).items() if r[10] & wire.FLAG_BUTTON]
    return {"marks": marks, "flagged": len(flagged)}


def flags():
    rig = Rig(codes=quiet)
    rig.ask("start")
    out = []
    for cmd, arguments in (("supply", {"on": True}), ("burden", {"on": True}), ("bias", {"mode": "down"})):
        rig.ask(cmd, **arguments)
        rig.steps(40)
        found = records(rig.messages())
        out.append(found[max(found)][10])
    rig.switches.fault = lambda: True
    rig.steps(40)
    found = records(rig.messages())
    out += [found[max(found)][10], rig.outputs_seen[-1]]
    return out


def slow():
    monitor = Monitor()
    rig = Rig(monitor=monitor)
    rig.ask("slow", every_ms=50)
    rig.ask("start")
    rig.steps(1004)
    messages = [m for m in rig.messages() if m[0] == wire.SLOW]
    readings = [list(struct.unpack_from(wire.SLOW_FORMAT, messages[0][2], i)) for i in (0, 8)]
    rig.ask("slow", every_ms=0)
    rounds = monitor.rounds
    rig.steps(200)
    return {"n": len(messages), "readings": readings, "off": monitor.rounds - rounds}


def leaving():
    dog = Watchdog()
    rig = Rig(codes=quiet, watchdog=dog)
    powered = rig.ask("supply", on=True)["ok"]
    rig.ask("start")
    rig.steps(20)
    number = rig.say("prompt")
    rig.service.run()
    answers = [json.loads(m[2]) for m in rig.messages() if m[0] == wire.REPLY]
    return {
        "ok": [a["ok"] for a in answers if a["id"] == number], "dog": dog.calls, "outputs": rig.switches.outputs(),
        "running": rig.service.stream.running, "powered": powered,
    }  # fmt: skip


def watched():
    dog = Watchdog()
    rig = Rig(watchdog=dog)
    rig.steps(5)
    before = list(dog.calls)
    rig.ask("start")
    rig.steps(5)
    rig.ask("stop")
    rig.steps(5)
    return {"before": before, "calls": dog.calls}


class GapSource:
    """Ten windows, seven missing, ten windows."""

    channels = 3
    window = wire.WINDOW
    conversion_hz = wire.CONVERSION_HZ
    conversions_lost = 0

    def __init__(self):
        self.n = 0
        self.told = True
        self.codes = memoryview(ramp(0, WORDS))

    def start(self):
        self.n = 0

    def stop(self):
        pass

    def poll(self):
        if self.n == 10 and self.told is True:
            self.told = False
            self.conversions_lost = 7 * WORDS
            return 0
        return 1 if self.n < 20 else 0

    def gap(self):
        if self.told is False:
            self.told = None
            return (7, wire.GAP_OVERRUN)
        return None

    def take(self, buf, at):
        self.n += 1
        struct.pack_into("<IHHIHHIHH", buf, at, self.n, 1, 2, 3, 4, 5, 6, 7, 8)
        return wire.FLAG_SPLICE if self.n in (1, 11) else 0

    def raw(self):
        return self.codes


def source_gap():
    rig = Rig()
    source = GapSource()
    rig.service.stream.source = rig.service.source = source
    rig.service.snapshots._source = source
    rig.ask("start")
    rig.steps(60)
    stop = rig.ask("stop")
    messages = rig.messages()
    found = records(messages)
    order = [(m[0], m[1]) for m in messages if m[0] in (wire.RECORDS, wire.GAP)]
    return {
        "indices": sorted(found), "sums": [found[i][0] for i in sorted(found)], "gaps": gaps(messages),
        "order": order, "stop": stop,
    }  # fmt: skip


def status():
    rig = Rig()
    rig.ask("start")
    rig.steps(32)
    rig.ask("status")
    found = [m for m in rig.messages() if m[0] == wire.STATUS]
    return list(struct.unpack(wire.STATUS_FORMAT, found[0][2]))


def tidied():
    """How often the heap is collected at rest, and in 700 windows."""
    times = []
    rig = Rig(tidy=lambda: times.append(rig.clock.ms()))
    rig.steps(300)
    at_rest = len(times)
    rig.ask("start")
    rig.steps(700)
    return [at_rest, [b - a for a, b in zip(times[1:], times[2:])]]  # noqa: B905, RUF007


def tidied_late():
    """How often the heap is collected while the host takes nothing, so that something always waits."""
    times = []
    rig = Rig(tidy=lambda: times.append(rig.clock.ms()))
    rig.ask("start")
    rig.port.allowed = 0
    rig.steps(5000)
    return [len(rig.service.outbox) > 0, [b - a for a, b in zip(times[1:], times[2:])]]  # noqa: B905, RUF007


def tidied_for_a_command():
    """How often the heap was collected before a command in a stream, with it, and with another right behind it."""
    times = []
    rig = Rig(tidy=lambda: times.append(rig.clock.ms()))
    rig.ask("start")
    rig.steps(100)
    counts = [len(times)]
    for _ in range(2):
        rig.ask("status")
        counts.append(len(times))
    return counts


def wrap():
    """The record index wraps at 2**32."""
    rig = Rig()
    rig.ask("start")
    rig.service.stream.index = 2**32 - 8
    rig.steps(60)
    return [m[1] for m in rig.messages() if m[0] == wire.RECORDS][:3]


def positions():
    rig = Rig(drive=Drive())
    refused = rig.ask("drive", action="home")
    goto = rig.ask("drive", action="goto", position=100)
    rig.ask("start")
    rig.steps(20)
    found = records(rig.messages())
    before_stop = rig.service.drive.moving
    rig.ask("stop")
    after_stop, freed = rig.service.drive.moving, rig.service.drive.freed
    rig.service.drive.moving = True
    rig.steps(1000, alive=False)
    return {
        "refused": refused["error"], "goto": goto, "position": found[3][9], "moving": rig.service.drive.moving,
        "freed": rig.service.drive.freed - freed, "stop": [before_stop, after_stop],
    }  # fmt: skip


def abandoned():
    """A host that goes away five times while frames wait, one of them half written; then one that stays."""
    rig = Rig()
    for _ in range(5):
        rig.port.allowed = 1 << 30
        rig.ask("start")
        rig.port.allowed = 700
        rig.steps(4000, alive=False)
    stopped = not rig.service.stream.running
    rig.port.allowed = 1 << 30
    rig.ask("start")
    rig.port.allowed = 0
    rig.steps(700)
    waiting = len(rig.service.outbox)
    rig.port.allowed = 1 << 30
    rig.steps(50)
    rig.messages()
    counts = rig.service.stream.counts
    return {"stopped": stopped, "waiting": waiting, "made": counts.made, "dropped": counts.dropped}


def abandoned_counts():
    rig = Rig()
    rig.ask("start")
    rig.port.allowed = 3000
    rig.steps(4000, alive=False)
    counts = rig.service.stream.counts
    return [counts.made, counts.sent, counts.dropped, len(rig.port.out)]


def bias_off_at_start():
    rig = Rig(codes=quiet)
    rig.ask("bias", mode="up")
    before = rig.switches.outputs()
    rig.ask("start")
    return [before, rig.switches.outputs()]


def snapshot_after_gap():
    """An event in the first window after a gap: nothing from before the gap belongs to it."""
    rig = Rig()
    source = GapSource()
    rig.service.stream.source = rig.service.source = source
    rig.service.snapshots._source = source
    rig.ask("snapshots", spread=1, before=300, after=3)
    source.take_plain = source.take

    def take(buf, at):
        flags = source.take_plain(buf, at)
        high = 900 if source.n == 11 else 100
        struct.pack_into("<IHHIHHIHH", buf, at, 16600, 100, high, 16600, 100, 100, 16600, 100, 100)
        return flags

    source.take = take
    source.codes = memoryview(array("H", [900 if i == 6 else 100 for i in range(WORDS)]))
    rig.ask("start")
    rig.steps(60)
    return [shot[:4] for shot in shots(rig.messages())]


def started_twice():
    """A second start begins at index 0; nothing of the first stream comes after its reply."""
    rig = Rig()
    rig.ask("start")
    rig.steps(37)
    rig.messages()
    rig.say("start")
    rig.steps(40)
    messages = rig.messages()
    at = kinds(messages).index(wire.REPLY)
    after = [m[1] for m in messages[at:] if m[0] == wire.RECORDS]
    return {"after": after, "selfcheck": rig.ask("selfcheck").get("error")}


def other_protocol():
    rig = Rig()
    rig.port.inp += wire.encode(wire.COMMAND, 0, 0, b"{}", protocol=9)
    rig.port.inp += wire.encode(wire.RECORDS, 0, 0, b"{}")
    rig.steps(3)
    answers = [json.loads(m[2]) for m in rig.messages() if m[0] == wire.REPLY]
    return {"answers": answers, "count": rig.service.bad_commands}


if __name__ == "__main__":
    print(json.dumps(globals()[sys.argv[1]](*[int(word) for word in sys.argv[2:]])))
