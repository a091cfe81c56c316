"""Keeps sweeps on the board while no host is there: one button, one light.

The rig (a Service) does all that can feed anything: the same commands with the same refusals as for a host. What is
asked for here is only start, supply on, burden on and stop; supply and burden only by an order that says powered and
plug off. A host that sends a command ends a sweep that runs, before it is answered.
"""

import json
from binascii import hexlify

from sweepboard.arguments import RefusedError
from sweepboard.arm import ARMED, OVER, RUNNING, Arm
from sweepboard.flash_page import DATA_PAGES, END, ROOM, UNWANTED
from sweepboard.flash_store import CLEAN, Full, Store
from sweepboard.flash_writer import Writer, append
from sweepboard.keep_box import ROOM_BYTES, KeepBox
from sweepboard.keep_light import SHOW_MS, Button, Light
from sweepboard.keep_order import SWEEP, Orders, is_order
from sweepboard.keep_watch import Heap, Watch

WAIT_MS = 120000  # for the lever to be moved; then the rig lets go
BYTES_A_WINDOW = 10  # packed, of a noisy sensor; an ordinary one has 8
SPARE_BLOCKS = 3  # for snapshots and the end
SHOWN = ("still", "armed", "running", "running")  # by the phase of an Arm
AGAIN = (
    "fast",
    "few",
    "unmoved",
    "memory",
    "supply",
    "engine",
    "host",
    "button",
)  # results that do not count


def blocks_for(windows):
    """Return how many blocks a sweep of so many windows may take."""
    return windows * BYTES_A_WINDOW // (ROOM * DATA_PAGES) + SPARE_BLOCKS


class Keeper:
    """What a press does. tick() is called in each cycle of the service, host_came() before a command is obeyed."""

    def __init__(self, rig, area, button=None):
        self.rig = rig
        self.store = Store(area)
        self.store.open()
        self.orders = Orders(self.store, rig.identity, rig.clock)
        self.light = Light(rig.switches, rig.clock)
        self.running = False
        self.looks_for_room = True  # something was kept or removed since the last look
        self._button = Button(button or rig.switches.button, rig.clock)
        self._box = None
        self._arm = None
        self._writer = None
        self._order = None
        self._began_ms = self._shown_ms = rig.clock.ms()
        self._press = 0
        self._watch = None
        self._heap = Heap(rig.stream)

    # --- each cycle

    def tick(self):
        """Do what is due. The program stands still for an erase, so that is done only where nothing streams."""
        if self.running:
            self._follow()
        elif self.rig.stream.running:
            return
        else:
            self.orders.tick()
            self._make_room()
        if self.running or not self.rig.host_is_there():
            self._take_press(self._button.poll())
            self._show_rest()
            self.light.tick()
        else:
            self._button.poll()
            self.light.let_go()

    def _show_rest(self):
        """Let the light say what a press would do, where it has said for long enough how the last sweep ended."""
        over = self.rig.clock.diff_ms(self.rig.clock.ms(), self._shown_ms) >= SHOW_MS
        if self.running or not (over or self.light.word == "off"):
            return
        if self.orders.order is None:
            self.light.show("off")
        elif not self.looks_for_room:
            self._say(self._why_not_now() or "ready")

    def _say(self, word):
        self.light.show(word)
        self._shown_ms = self.rig.clock.ms()

    def _take_press(self, press):
        if press == "long" and not self.running:
            self._mark_unwanted()
        elif self.running and (press == "long" or (press == "short" and self._order["task"] == "sweep")):
            self._end("button")
        elif press == "short" and not self.running:
            self.begin()

    def host_came(self):
        """A host has sent a command: what runs ends first."""
        if self.running:
            self._end("host")

    def close(self):
        """Let the memory go, where it is a file."""
        self.store.area.close()

    # --- room

    def needed(self):
        """Return how many blocks the next sweep of the order may take."""
        order = self.orders.order
        if order is None:
            return 0
        return blocks_for(order["longest"])

    def _make_room(self):
        """Erase a block where one waits for it; give up a sweep that does not count where the next has no room."""
        if not self.looks_for_room or self.store.tidy():
            return
        self.looks_for_room = False
        if self.orders.order is None or self.store.count(CLEAN) >= self.needed():
            return
        for number in self.store.numbers():
            if not is_order(self.store, number) and not self._counts(number):
                self.store.forget(number)
                self.looks_for_room = True
                return

    def _counts(self, number):
        """Return whether a kept sweep is one of those that the order asks for."""
        try:
            end = json.loads(self.store.text(number, END))
        except ValueError:
            return False
        return end.get("word") not in AGAIN and not self.is_unwanted(number)

    def is_unwanted(self, number):
        """Return whether a long press has marked a sweep as not wanted."""
        return bool(self.store.text(number, UNWANTED))

    def sweeps(self):
        """Return the numbers of the kept sweeps."""
        return [number for number in self.store.numbers() if not is_order(self.store, number)]

    def _mark_unwanted(self):
        sweeps = self.sweeps()
        try:
            if sweeps and self.store.text(sweeps[-1], END) and not self.is_unwanted(sweeps[-1]):
                append(self.store, sweeps[-1], UNWANTED, b"1")
                self._say("unwanted")
        except Full:
            self._say("memory")

    # --- a sweep

    def why_not(self):
        """Return the word of the light that says why a press may not begin a sweep, or ""."""
        word = self._why_not_now()
        needed = self.needed()
        return word or ("" if self.store.ready(needed) >= needed else "memory")

    def _why_not_now(self):
        """Return the same by what is known; nothing is written for it."""
        if not self.orders.holds():
            return "order"
        done = [n for n in self.sweeps() if n > self.orders.number and self._counts(n)]
        if len(done) >= self.orders.order["sweeps"]:
            return "order"
        self._press = len(done) + 1
        return "" if self.store.count(CLEAN) >= self.needed() else "memory"

    def begin(self):
        """Begin a sweep, or say why not. Nothing is switched on where there is a reason against it."""
        word = self.why_not()
        if word:
            self._say(word)
            return
        order = self._order = self.orders.order
        self._arm = Arm(order, timed=order["task"] == "wiggle")
        if self._box is None:
            room = self.rig.histogram.lend(ROOM_BYTES)
            self._box = KeepBox(room, self.rig.source.window, self._on_records, self._on_slow)
        self._heap.begin()
        self._box.clear(order["lead"])
        self._watch = Watch(order, self.rig.source.window)
        self._writer = None
        self._began_ms = self.rig.clock.ms()
        self.running = True
        self.rig.route(self._box)
        try:
            self._switch_on(order)
        except RefusedError:
            self._end("supply")

    def _switch_on(self, order):
        """Start, and feed the sensor where the order allows it: the only place here that switches anything on."""
        ask = self.rig.ask
        self.rig.snapshots.set(order["spread"], order["spread"], 150, 300, 2)
        ask("start", hookup=order["hookup"])
        if self.rig.monitor is not None:
            ask("slow", every_ms=100)
        if order["hookup"] == "powered" and order["plug_off"]:
            ask("supply", on=True)
            if "burden" in self.rig.fitted():
                ask("burden", on=True)

    def _on_records(self, message, at, n, index):
        """Look at records on their way into the memory."""
        self._watch.records(message, at, n)
        if (
            self._arm.feed(message, at, n, index) >= RUNNING
            and self._writer is None
            and not self._watch.problem
        ):
            self._open()

    def _on_slow(self, payload):
        self._watch.slow(payload)

    def _open(self):
        head = {
            "order": self.orders.number,
            "press": self._press,
            "boot": self.orders.boot,
            "ms": self.rig.clock.ms(),
        }
        head["task"] = self._order["task"]
        head["start"] = self._arm.start
        try:
            self._writer = Writer(self.store, json.dumps({SWEEP: head}).encode())
            self._box.begin(self._writer)
        except Full:
            self._watch.problem = "memory"

    def _follow(self):
        phase = self._arm.phase
        self._heap.tick()
        if self._watch.problem:
            self.rig.make_safe()
        if self._watch.problem or self._box.full:
            self._end(self._watch.problem or "memory")
        elif phase == OVER:
            self._end("")
        elif phase <= ARMED and self.rig.clock.diff_ms(self.rig.clock.ms(), self._began_ms) >= WAIT_MS:
            self._end("unmoved")
        else:
            self.light.show(SHOWN[phase])

    def _end(self, word):
        """End the sweep: feed nothing, keep what came, say how it went. `word` "" finds out."""
        try:
            figures = self.rig.ask("stop")
        finally:
            self.rig.make_safe()
            self.rig.route(None)
            self.running = False
            self.looks_for_room = True
        self._box.drain(1 << 20)
        if self._box.full and word in ("", "button", "host"):
            word = "memory"
        if not word or (word == "button" and self._order["task"] == "wiggle"):
            word = self._judged()
        if self._writer is not None and not self._box.full:
            self._close(word, figures)
        self._writer = None
        self._say(word if word not in ("host", "button") else "few")

    def _close(self, word, figures):
        arm = self._arm
        end = {"word": word, "ended": arm.ended or word, "strokes": arm.strokes, "fast": arm.fast}
        end["ms"] = self.rig.clock.ms()
        end["events"] = self._box.n_snapshots + figures["snapshots_skipped"]
        for name in ("windows_made", "windows_dropped", "conversions_lost", "snapshots_skipped"):
            end[name] = figures[name]
        text = json.dumps(end)[:-1]
        try:
            self._writer.end(lambda digest: (text + ', "sha256": "%s"}' % hexlify(digest).decode()).encode())
        except Full:
            self._box.full = True

    def _judged(self):
        """Return the word for a sweep that came to its end."""
        arm, order = self._arm, self._order
        if order["task"] == "wiggle":
            return "kept"
        if not arm.strokes:
            return "unmoved"
        if arm.strokes - arm.fast < order["strokes"]:
            return "fast" if arm.fast else "few"
        near = (order["low"] and arm.low < order["low"]) or (order["high"] and arm.high > order["high"])
        return "rail" if near else "kept"
