"""A board in the vehicle, under MicroPython's unix port: its flash is a file, its conversions come from a file.

vehicle.py keep AREA IDENTITY CODES PRESSES CUT    press that often, sweep; the power goes CUT programs into the last
vehicle.py live AREA IDENTITY CODES OUT HOOKUP     stream to a host that is there, all that it gets into OUT
"""

import json
import sys

from harness import Port

from sweepboard import simulated_board, simulated_keeping, wire

WINDOW_BYTES = 2 * wire.WINDOW * wire.CHANNELS


class Torn(simulated_keeping.FileArea):
    """The file's flash; after `left` programs one is done by half, and the power goes."""

    left = -1

    def program(self, i, buf, at):
        self.left -= 1
        if self.left == -1:
            half = bytes(buf[:128]) + b"\xff" * 128
            super().program(i, half, at)
            raise SystemExit
        super().program(i, buf, at)


class Vehicle:
    """The service of a simulated board, with a button and a sensor that somebody moves from each start on."""

    def __init__(self, identity, codes, area=None):
        self.pressed = False
        self.n = 0  # windows since the start
        self.codes = open(codes, "rb")
        self.port = Port()
        if area is not None:
            simulated_keeping.FileArea = Torn
        self.service = simulated_board.build(self.port, self._ask, identity)
        self.fed = "powered" in codes

    def _ask(self, kind, outputs, n):
        if kind == simulated_board.ASK_START:
            self.n = 0
        if kind == simulated_board.ASK_SLOW:
            return json.dumps({"readings": [], "fault": False, "button": self.pressed}).encode()
        if kind != simulated_board.ASK_RAW:
            return b"\1"
        if self.fed and not outputs & wire.OUT_SUPPLY:
            self.n += 1
            return bytes(WINDOW_BYTES)
        self.codes.seek(WINDOW_BYTES * self.n)
        data = self.codes.read(WINDOW_BYTES * n)
        self.n += len(data) // WINDOW_BYTES
        return data

    def wait(self, ms, until=None):
        clock, switches = self.service.clock, self.service.switches
        end = clock.ms() + ms
        while clock.ms() < end and not (until and until()):
            switches.state = {"button": self.pressed}
            if not self.service.step():
                clock.sleep_ms(5)

    def press(self):
        self.pressed = True
        self.wait(200)
        self.pressed = False
        self.wait(200)

    def send(self, kind, payload=b""):
        self.port.inp += wire.encode(kind, 0, 0, payload)

    def command(self, **what):
        what["id"] = 1
        self.send(wire.COMMAND, json.dumps(what).encode())
        self.wait(20)


def keep(area, identity, codes, presses, cut):
    """Press, sweep, press, sweep; print what the light said."""
    car = Vehicle(identity, codes, area)
    keeper = car.service.keeper
    said = []
    car.wait(4000)
    for k in range(presses):
        car.press()
        if k == presses - 1:
            car.wait(20000, lambda: keeper.light.word == "running")
            keeper.store.area.left = cut
        print(json.dumps(said + ["runs"]))
        car.wait(30000, lambda: not keeper.running)
        said.append(keeper.light.word)
        car.wait(2000)
    print(json.dumps(said))


def live(identity, codes, out, hookup):
    """Stream as to a host; all that came goes into `out`."""
    car = Vehicle(identity, codes)
    car.command(cmd="snapshots", spread=150, jump=150)
    car.command(cmd="start", hookup=hookup)
    if hookup == "powered":
        car.command(cmd="supply", on=True)
        car.command(cmd="burden", on=True)
    for _ in range(10):
        car.send(wire.ALIVE)
        car.wait(1000)
    car.command(cmd="stop")
    with open(out, "wb") as file:
        file.write(car.port.out)


if __name__ == "__main__":
    with open(sys.argv[3]) as file:  # MicroPython takes no long words on its command line
        what = json.load(file)
    if sys.argv[1] == "keep":
        what["kept"] = sys.argv[2]
        keep(sys.argv[2], what, sys.argv[4], int(sys.argv[5]), int(sys.argv[6]))
    else:
        live(what, sys.argv[4], sys.argv[5], sys.argv[6])
