"""A rig with a button, a light and a memory, for the keeper under CPython and under MicroPython alike."""

import json
from array import array

from harness import ALL, Rig, Watchdog
from torn_area import TornArea

from sweepboard import flash_page as fp
from sweepboard import wire

WORDS = wire.WINDOW * wire.CHANNELS
WINDOW_MS = 0.996
CAPABLE = ALL + ("guaranteed-tap",)


class FlatDraws:
    """The same byte over and over: an area that begins erased."""

    def bytes(self, n):
        return b"\xff" * n

    def below(self, n):
        return n - 1


def order(**changes):
    """Return the text of an order; the levels are for a lever from code 500 to 3500."""
    what = {
        "id": "abcd", "uid": "00ff", "build": "full", "task": "sweep", "hookup": "powered", "plug_off": True,
        "sweeps": 6, "hours": 24, "least": 100 * 332, "span": 2000 * 332, "strokes": 3, "hold": 301, "lead": 620,
        "longest": 10040, "fast": 402, "low": 164 * 332, "high": 3900 * 332, "short": 600, "settle": 100,
        "battery_uv": 0, "spread": 150, "more": None,
    }  # fmt: skip
    what.update(changes)
    return json.dumps(what)


def strokes(n, stroke_s=1.0, rest_s=0.6, first_s=1.0):
    """Return the course of a lever: (seconds, place from 0 to 1) at its corners."""
    corners = [(0.0, 0.0), (first_s, 0.0)]
    at = first_s
    for k in range(n):
        at += stroke_s
        corners.append((at, 1.0 - k % 2))
        at += rest_s
        corners.append((at, 1.0 - k % 2))
    return corners


class KeepRig:
    """The harness's rig; `course` is what the hand does from each start of sampling on."""

    def __init__(self, area=None, course=None, blocks=60, fitted=CAPABLE, **parts):
        self.area = area or TornArea(blocks, FlatDraws())
        self.course = course or strokes(4)
        self.pressed = False
        self.lead = None
        self.fed_by_harness = False
        self.shorted = False
        self.lit = []
        self.parts = parts
        self.fitted = fitted
        self.boot()

    def boot(self):
        """Switch the rig on: a new service on the same memory."""
        self.rig = Rig(codes=self._codes, fitted=self.fitted, watchdog=Watchdog(), keeping=self, **self.parts)
        rig = self.rig
        self.service, self.switches, self.clock = rig.service, rig.switches, rig.clock
        self.switches.button = lambda: self.pressed
        if self.lead is not None:
            self.switches.powered_lead = lambda: self.lead == "powered"
        self.switches.fault = lambda: self.shorted and bool(self.switches.outputs() & wire.OUT_SUPPLY)
        start, light = rig.source.start, self.switches.light

        def begin():
            rig.n = 0
            start()

        def shine(mode):
            self.lit.append((self.clock.ms(), mode))
            light(mode)

        def fetch(outputs, n):
            codes = self._codes(rig.n, n * WORDS)
            rig.n += n * WORDS
            return bytes(memoryview(codes))

        rig.source._fetch = fetch
        rig.source.start = begin
        self.switches.light = shine

    def find(self):
        """The memory, as the service asks for it before this object knows its rig."""
        return self.area

    def grow(self, n):
        return self.area.n, self.area.n

    def button(self):
        return self.pressed

    @property
    def keeper(self):
        return self.service.keeper

    def _codes(self, first, n):
        """Codes of whole windows: the lever's course with a little noise that depends on the window alone."""
        codes = array("H")
        fed = self.switches.outputs() & wire.OUT_SUPPLY or self.fed_by_harness
        for window in range(first // WORDS, (first + n) // WORDS):
            a, supply = (self._code(window), 3000) if fed else (15, 15)
            if self.shorted:
                a = supply = 100 if fed else 15
            for k in range(2):
                noise = (window * 7 + k * 3) % 5
                codes.extend(array("H", [a + noise, 12, supply + noise % 2] * (wire.WINDOW // 2)))
        return codes

    def _code(self, window):
        t = window * WINDOW_MS / 1000
        before = self.course[0]
        for corner in self.course:
            if corner[0] >= t:
                span = corner[0] - before[0]
                share = (t - before[0]) / span if span else 0
                return 500 + int(3000 * (before[1] + share * (corner[1] - before[1])))
            before = corner
        return 500 + int(3000 * before[1])

    # --- what a person and a host do

    def wait(self, ms, until=None):
        """Let time pass with nobody there."""
        end = self.clock.ms() + ms
        while self.clock.ms() < end:
            if not self.service.step():
                self.clock.sleep_ms(5 if self.keeper.running else 20)
            if until is not None and until():
                return True
        return False

    def press(self, ms=200):
        self.pressed = True
        self.wait(ms)
        self.pressed = False
        self.wait(100)

    def leave(self):
        """The host goes."""
        self.wait(wire.KEEP_ALIVE_MS + 100)

    def send(self, text=None):
        """A host sends an order and goes; return its answer."""
        answer = self.rig.ask("keep_order", text=text or order())
        self.leave()
        return answer

    def sweep(self, within_ms=130000):
        """Press and let the hand move; return the light's word at the end."""
        self.press()
        self.wait(within_ms, lambda: not self.keeper.running)
        return self.keeper.light.word

    def head(self, number):
        """Return what the HEAD of a kept sweep says."""
        return json.loads(self.keeper.store.text(number, fp.HEAD))["sweep"]

    def kept(self, number):
        """Return (DATA, END as an object or None) of what is kept, by its pages."""
        page = bytearray(fp.PAGE)
        data, end, sequence = b"", b"", 0
        found = self.keeper.store.read_page(number, 0, page)
        while found:
            data += found[3] if found[0] == fp.DATA else b""
            end += found[3] if found[0] == fp.END else b""
            sequence += 1
            found = self.keeper.store.read_page(number, sequence, page)
        try:
            return data, json.loads(end)
        except ValueError:
            return data, None
