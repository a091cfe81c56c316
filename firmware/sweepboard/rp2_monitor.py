"""The slow, precise converter of the full build: 16 bits, four inputs, I2C address 0x48 (ADS1115 class).

Registers and bits from the data sheet of that class of parts, from memory: pointer 0 conversion, 1 configuration;
configuration = start | input | range 4.096 V | single shot | 128 readings a second | comparator off. One LSB is
125 uV. Inputs: 0 signal A, 1 supply, 2 sensor ground, 3 battery.
"""

import time

from micropython import const

from sweepboard import pins, wire

POINTER_CONVERSION = const(0)
POINTER_CONFIG = const(1)
START = const(0x8000)  # reads 1 where no conversion is going on
INPUT_LSB = const(12)
SINGLE_ENDED = const(4)  # 4 + input
RANGE_4V = const(0x0200)
SINGLE_SHOT = const(0x0100)
RATE_128 = const(0x0080)
COMPARATOR_OFF = const(0x0003)
UV_PER_LSB = const(125)
READY_MS = const(9)  # a reading takes 7.8 ms and 10 % at most
GIVE_UP_MS = const(50)
STATUS_GOOD = const(0)
STATUS_NO_ANSWER = const(1)
QUANTITIES = (wire.SLOW_SIGNAL_A, wire.SLOW_SUPPLY, wire.SLOW_GROUND, wire.SLOW_BATTERY)  # by input


class Monitor:
    """Reads the four inputs one after another; each call takes well under a millisecond."""

    def __init__(self, i2c, address=pins.MONITOR_I2C, clock=time):
        self._i2c = i2c
        self._address = address
        self._ticks_ms = clock.ticks_ms
        self._ticks_diff = clock.ticks_diff
        self._word = bytearray(2)
        self._input = -1  # being read; -1: none
        self._began = 0
        self._values = []

    def begin(self):
        """Begin a round, unless one is going on."""
        if self._input < 0:
            self._values = []
            self._start(0)

    def _start(self, number):
        self._input = number
        self._began = self._ticks_ms()
        word = (
            START | (SINGLE_ENDED + number) << INPUT_LSB | RANGE_4V | SINGLE_SHOT | RATE_128 | COMPARATOR_OFF
        )
        self._word[0] = word >> 8
        self._word[1] = word & 0xFF
        try:
            self._i2c.writeto_mem(self._address, POINTER_CONFIG, self._word)
        except OSError:
            self._note(STATUS_NO_ANSWER, 0)

    def poll(self):
        """Go on with a round; return whether one has ended with this call."""
        if self._input < 0:
            return False
        if len(self._values) > self._input:
            return self._next()
        waited = self._ticks_diff(self._ticks_ms(), self._began)
        if waited < READY_MS:
            return False
        self._read(waited)
        return self._next() if len(self._values) > self._input else False

    def _read(self, waited):
        try:
            self._i2c.readfrom_mem_into(self._address, POINTER_CONFIG, self._word)
            if self._word[0] & START >> 8:
                self._i2c.readfrom_mem_into(self._address, POINTER_CONVERSION, self._word)
                value = self._word[0] << 8 | self._word[1]
                self._note(STATUS_GOOD, value - 65536 if value & 0x8000 else value)
            elif waited > GIVE_UP_MS:
                self._note(STATUS_NO_ANSWER, 0)
        except OSError:
            self._note(STATUS_NO_ANSWER, 0)

    def _note(self, status, value):
        self._values.append((QUANTITIES[self._input], status, value * UV_PER_LSB))

    def _next(self):
        if self._input + 1 < len(QUANTITIES):
            self._start(self._input + 1)
            return False
        self._input = -1
        return True

    def readings(self):
        """Return (quantity, status, microvolts) of each input in the round that ended last."""
        return self._values
