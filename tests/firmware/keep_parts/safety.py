"""A kept order in a world of accidents: random presses, leads, harnesses, faults, power cuts and hosts.

Whatever comes, in any order: what feeds a sensor is switched on by a host's own command, or by a press under an order
that says powered and plug off, for this rig, after a measurement has found the leads dead. `python safety.py SEED
ROUNDS` prints what went wrong, a sentence each.
"""

import json
import sys

from cases import Draws
from keep_rig import KeepRig, order, strokes
from torn_area import PowerCutError, TornArea

from sweepboard import flash_page as fp
from sweepboard import flash_store as fs
from sweepboard import wire

FEEDING = wire.OUT_SUPPLY | wire.OUT_BURDEN | wire.OUT_BIAS_UP | wire.OUT_BIAS_DOWN
HOST = ("hello", "start powered", "start tapped", "supply", "burden", "bias", "stop", "kept", "prompt never")


class Accidents:
    """One rig, one memory, and what must never be."""

    def __init__(self, seed):
        self.draws = Draws(seed)
        self.wrong = []
        self.fed = self.pressed = self.tapped_runs = 0
        self.by_host = False  # a host is asking for something just now
        self.truth = None  # the order that was sent last and taken, as its object
        self.rig = KeepRig(
            area=TornArea(40, self.draws), course=strokes(3, stroke_s=0.5), hookups=("powered", "tapped")
        )
        self.rig.lead = "powered"
        self._boot()

    def _boot(self):
        self.rig.boot()
        switches = self.rig.switches
        for name, off in (("supply", False), ("burden", False), ("bias", "off"), ("ramp", 0)):
            setattr(switches, name, self._watched(name, getattr(switches, name), off))

    def _watched(self, name, put, off):
        def switch(value):
            if value != off and value:
                self._check(name)
            put(value)

        return switch

    def _check(self, name):
        """Something is about to be switched on."""
        if self.by_host:
            return
        self.fed += 1
        what = self.truth or {}
        if what.get("hookup") != "powered" or what.get("plug_off") is not True:
            self.wrong.append(name + " under the order " + json.dumps(what.get("hookup")))
        if what.get("uid") != "00ff" or what.get("build") != "full":
            self.wrong.append(name + " under an order for another rig")
        harness = self.rig.fed_by_harness and not self.rig.shorted  # a short hides what feeds it
        if harness or self.rig.lead != "powered":
            self.wrong.append(
                "%s with the %s lead, harness %s" % (name, self.rig.lead, self.rig.fed_by_harness)
            )
        if not self.rig.keeper.running:
            self.wrong.append(name + " while nothing is kept")

    def _look(self):
        """What must hold between any two events."""
        outputs, keeper = self.rig.switches.outputs(), self.rig.keeper
        if keeper.running and keeper._order["hookup"] == "tapped":
            self.tapped_runs += 1
            if outputs & FEEDING:
                self.wrong.append("a tapped order feeds %d" % outputs)
        if outputs & FEEDING and not keeper.running and not self.rig.service.host_is_there():
            since = self.rig.clock.ms() - self.rig.service._host_ms
            if since > 10100:
                self.wrong.append("fed %d with nobody there for %d ms" % (outputs, since))
        if self.rig.service.tapped and outputs & FEEDING:
            self.wrong.append("tapped and fed")

    def live(self, n):
        """Let `n` things happen."""
        for _ in range(n):
            try:
                self._something()
            except PowerCutError:
                self.rig.area.cut_in = -1
                self._boot()
            self._look()

    def _something(self):
        draws, rig = self.draws, self.rig
        chance = draws.below(20)
        if chance < 7:
            self.pressed += 1
            rig.press(draws.below(2) * 1600 + 60)
        elif chance < 12:
            rig.wait((50, 1500, 3200, 9000, 16000)[draws.below(5)])
        elif chance < 13:
            rig.lead = ("powered", "tap", "none", "powered")[draws.below(4)]
        elif chance < 14:
            rig.fed_by_harness = not draws.below(3)
        elif chance < 15:
            rig.shorted = not draws.below(3)
        elif chance < 16:
            if draws.below(2):
                rig.area.cut_in = draws.below(30)
            else:
                self._boot()
        elif chance < 18:
            self._host()
        else:
            self._send()

    def _host(self):
        self.by_host = True
        name = HOST[self.draws.below(len(HOST))]
        rig = self.rig.rig
        try:
            if name.startswith("start"):
                rig.ask("start", hookup=name.split()[1])
            elif name in ("supply", "burden"):
                rig.ask(name, on=True)
            elif name == "bias":
                rig.ask("bias", mode="up")
            elif name != "prompt never":
                rig.ask(name)
        finally:
            self.by_host = False

    def _send(self):
        """A host sends an order, a good one, or one with something changed."""
        draws = self.draws
        what = json.loads(order(strokes=2, hold=100, longest=4000))
        what["hookup"] = ("powered", "tapped")[draws.below(2)]
        what["plug_off"] = what["hookup"] == "powered" if draws.below(4) else bool(draws.below(2))
        if not draws.below(6):
            what[("uid", "build")[draws.below(2)]] = "another"
        if not draws.below(6):
            name = sorted(what)[draws.below(len(what))]
            what[name] = (None, True, -1, "tapped", [], 1 << 40)[draws.below(6)]
        before = self.truth
        self.truth = None  # a cut while it is sent leaves one or the other
        try:
            answer = self.rig.rig.ask("keep_order", text=json.dumps(what))
        except PowerCutError:
            self._after_cut(before, what)
            raise
        self.truth = what if answer["ok"] else before

    def _after_cut(self, before, what):
        """After a power cut the order before, the new one, or none is in force; the memory says which."""
        store = fs.Store(self.rig.area)
        self.rig.area.cut_in = -1
        store.open()
        orders = [
            n for n in store.numbers() if store.text(n, fp.END) and store.text(n, fp.HEAD)[:9] == b'{"order":'
        ]
        there = json.loads(json.loads(store.text(orders[-1], fp.HEAD))["order"]) if orders else None
        if there not in (None, before, what):
            self.wrong.append("an order that nobody sent")
        self.truth = there


def accidents(seed, rounds):
    wrong = []
    fed = pressed = tapped = kept = 0
    for i in range(rounds):
        world = Accidents(seed + i)
        world.live(50)
        wrong += ["%d: %s" % (seed + i, text) for text in world.wrong]
        fed, pressed, tapped = fed + world.fed, pressed + world.pressed, tapped + world.tapped_runs
        kept += len(world.rig.keeper.sweeps())
    return {
        "wrong": wrong[:8],
        "n_wrong": len(wrong),
        "fed": fed,
        "pressed": pressed,
        "tapped": tapped,
        "kept": kept,
    }


if __name__ == "__main__":
    print(json.dumps(accidents(int(sys.argv[1]), int(sys.argv[2]))))
