"""A world around one rig: leads that are swapped, a harness that feeds, a converter that stalls, a host in any order.

run(program) plays a list of steps and returns what went wrong, a sentence each. `python supply_program.py` reads one
program a line, as JSON, and prints one answer a line.
"""

import json
import sys
from array import array

from harness import Drive, Rig, Watchdog

FITTED = ("supply-switch", "burden", "bias", "buzzer", "light", "button", "ramp")
SUPPLY = 1
FEEDING = 1 | 2 | 4 | 8  # supply, burden, bias up, bias down
PLUG_MS = 100  # a lead that was pulled may be fed for so long: its contacts bounce


class World:
    """What stands around the rig, and what must never be."""

    def __init__(self):
        self.lead = "powered"  # powered | tap | none
        self.harness = False  # whether another controller feeds the sensor
        self.converts = True
        self.wrong = []
        self.rig = Rig(codes=self._codes, fitted=FITTED, drive=Drive(), watchdog=Watchdog())
        self.rig.source._fetch = self._fetch
        self._away_ms = 0
        self._pull_lead()

    def _fetch(self, outputs, n):
        return self.rig._fetch(outputs, n) if self.converts else b""

    def _codes(self, first, n):
        fed = self.harness or self.rig.switches.outputs() & SUPPLY
        level = (2000, 15, 3000) if fed else (15, 15, 15)
        return array("H", [level[(first + i) % 3] for i in range(n)])

    def _pull_lead(self):
        """Feel the lead as a full build does, and watch the switch of the supply."""
        switches = self.rig.switches
        switches.powered_lead = lambda: self.lead == "powered"
        put = switches.supply

        def supply(on):
            if on and not switches.outputs() & SUPPLY:
                self._check_power()
            put(on)

        switches.supply = supply

    def _check_power(self):
        if self.harness:
            self.wrong.append("a sensor that is fed was fed once more")
        if self.lead != "powered":
            self.wrong.append(f"a sensor on the {self.lead} lead was fed")
        if not self.converts:
            self.wrong.append("fed without a measurement")

    def look(self):
        """Note what must not be."""
        on = self.rig.switches.outputs() & FEEDING
        if self.rig.service.tapped and on:
            self.wrong.append(f"outputs {on} while tapped")
        now = self.rig.clock.ms()
        if self.lead == "powered" or not on:
            self._away_ms = now
        elif now - self._away_ms > PLUG_MS:
            self.wrong.append(f"outputs {on} on the {self.lead} lead")

    def step(self, word, value):
        """Do one step of a program."""
        if word == "say":
            self.rig.say(value[0], **value[1])
        elif word == "go":
            self._go(value, alive=True)
        elif word == "silent":
            self._go(value, alive=False)
        elif word in ("lead", "harness", "converts"):
            self._change(word, value)
        self.look()

    def _change(self, word, value):
        if word == "harness" and self.rig.switches.outputs() & SUPPLY:
            return  # nobody can see a second supply on a lead that stands at 5 V already
        setattr(self, word, value)

    def _go(self, n, alive):
        for i in range(n):
            self.rig.steps(1, alive=alive and i % 100 == 0)
            self.look()
        self.rig.port.out = bytearray()


def run(program):
    world = World()
    for word, value in program:
        world.step(word, value)
    world.step("go", 5)
    return world.wrong


if __name__ == "__main__":
    for line in sys.stdin:
        print(json.dumps(run(json.loads(line))))
        if hasattr(sys.stdout, "flush"):
            sys.stdout.flush()
