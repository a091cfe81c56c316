"""The shaft of the driven build: a stepper behind STEP, DIR and ENABLE, a magnetic encoder at I2C 0x36, a home switch.

What limits the torque is the current set on the driver. Encoder registers (AS5600 class, from memory): 0x0B status, bit
5 magnet found; 0x0C raw angle, 12 bits.
"""

import time

import machine
from micropython import const

from sweepboard import drive, pins, wire

STATUS = const(0x0B)
MAGNET_FOUND = const(1 << 5)
RAW_ANGLE = const(0x0C)
STEPS = const(3200)  # a turn: 200 full steps, 16 microsteps each
HALF_DUTY = const(32768)


class Shaft:
    """Motor, encoder and home switch at their pins."""

    def __init__(self, i2c):
        self._i2c = i2c
        self._word = bytearray(2)
        self._dir = machine.Pin(pins.DIR, machine.Pin.OUT, value=0)
        self._enable = machine.Pin(pins.ENABLE, machine.Pin.OUT, value=1)  # 1: free
        self._home = machine.Pin(pins.HOME, machine.Pin.IN, machine.Pin.PULL_UP)
        self._step = machine.PWM(machine.Pin(pins.STEP))
        self._step.freq(100)
        self._step.duty_u16(0)

    def position(self):
        """Return the encoder's counts, or wire.NO_POSITION."""
        try:
            self._i2c.readfrom_mem_into(pins.ENCODER_I2C, STATUS, memoryview(self._word)[:1])
            if self._word[0] & MAGNET_FOUND:
                self._i2c.readfrom_mem_into(pins.ENCODER_I2C, RAW_ANGLE, self._word)
                return (self._word[0] << 8 | self._word[1]) & (drive.COUNTS - 1)
        except OSError:
            pass
        return wire.NO_POSITION

    def at_home(self):
        """Return whether the home switch is pressed."""
        return self._home.value()

    def turn(self, upwards, counts_s):
        """Turn at a steady rate."""
        self._dir.value(upwards)
        self._enable.value(0)
        self._step.freq(max(8, counts_s * STEPS // drive.COUNTS))
        self._step.duty_u16(HALF_DUTY)

    def rest(self):
        """Stand still, held."""
        self._step.duty_u16(0)

    def let_go(self):
        """Take the current off the motor."""
        self._enable.value(1)


class Drive(drive.Drive):
    """The drive of a board; `clock` is the module time's."""

    def __init__(self, i2c, clock=time):
        super().__init__(Shaft(i2c), clock.ticks_ms, clock.ticks_diff)
