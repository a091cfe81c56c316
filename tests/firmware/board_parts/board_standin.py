"""Pins, PWM, I2C, watchdog and registers that remember, for MicroPython's unix port; and a clock that is told."""

import sys


class Clock:
    """Stands in for the module time."""

    def __init__(self):
        self.now = 0

    def ticks_ms(self):
        return self.now

    def ticks_diff(self, later, earlier):
        return later - earlier

    def ticks_add(self, ticks, delta):
        return ticks + delta

    def sleep_ms(self, n):
        self.now += n


class Memory:
    """Registers; `log` keeps every write."""

    def __init__(self):
        self.words = {}
        self.log = []

    def __getitem__(self, address):
        return self.words.get(address, 0)

    def __setitem__(self, address, value):
        self.words[address] = value
        self.log.append((address, value))


class Pin:
    IN, OUT, PULL_UP, PULL_DOWN = 0, 1, 2, 3
    levels = {}  # of inputs, by GPIO  # noqa: RUF012
    made = []  # noqa: RUF012

    def __init__(self, gpio, mode=None, pull=None, value=None):
        self.gpio, self.mode, self.pull = gpio, mode, pull
        self.level = value
        Pin.made.append(self)

    def init(self, mode, pull):
        self.mode, self.pull = mode, pull

    def value(self, level=None):
        if level is not None:
            self.level = int(level)
            return None
        if self.mode == Pin.OUT:
            return int(self.level or 0)
        at_rest = 1 if self.pull == Pin.PULL_UP else 0
        return Pin.levels.get(self.gpio, at_rest)


class PWM:
    made = []  # noqa: RUF012

    def __init__(self, pin):
        self.pin, self.hz, self.duty, self.ended = pin, 0, 0, False
        PWM.made.append(self)

    def freq(self, hz):
        self.hz = hz

    def duty_u16(self, duty):
        self.duty = duty

    def deinit(self):
        self.ended = True


class WDT:
    made = []  # noqa: RUF012

    def __init__(self, timeout):
        self.timeout, self.fed = timeout, 0
        WDT.made.append(self)

    def feed(self):
        self.fed += 1


class Machine:
    pass


def install():
    """Put `machine` in place; return its registers."""
    Machine.Pin, Machine.PWM, Machine.WDT = Pin, PWM, WDT
    Machine.mem32 = Memory()
    sys.modules["machine"] = Machine
    sys.modules["rp2"] = Machine  # nothing of it is used here
    return Machine.mem32
