"""The drive of the driven build: a stepper turns the shaft, a magnetic encoder at I2C 0x36 says where it is.

The steps are not counted: the drive turns at a steady rate until the ENCODER is where it should be, so a lost step
cannot become an angle. It stops when the encoder does not follow, when it does not answer, at home and after a
time. Encoder registers (AS5600 class, from memory): 0x0B status, bit 5 magnet found; 0x0C raw angle, 12 bits.
Angles are encoder counts, 4096 a turn; a sensor's travel is less than one turn and does not cross count 0.
"""

import time

import machine
from micropython import const

from sweepboard import pins, wire

STATUS = const(0x0B)
MAGNET_FOUND = const(1 << 5)
RAW_ANGLE = const(0x0C)
COUNTS = const(4096)
STEPS = const(3200)  # a turn: 200 full steps, 16 microsteps each
NEAR = const(2)  # counts: arrived
STALLED_COUNTS = const(4)  # a shaft that moves less in STALLED_MS stands still
STALLED_MS = const(300)
LONGEST_MS = const(60000)
READ_EVERY_MS = const(4)
HALF_DUTY = const(32768)


class Drive:
    """Moves the shaft; tick() looks where it is, and never waits."""

    def __init__(self, i2c, clock=time):
        self._i2c = i2c
        self._ticks_ms = clock.ticks_ms
        self._ticks_diff = clock.ticks_diff
        self._word = bytearray(2)
        self._dir = machine.Pin(pins.DIR, machine.Pin.OUT, value=0)
        self._enable = machine.Pin(pins.ENABLE, machine.Pin.OUT, value=1)  # 1: free
        self._home = machine.Pin(pins.HOME, machine.Pin.IN, machine.Pin.PULL_UP)
        self._step = machine.PWM(machine.Pin(pins.STEP))
        self._step.freq(100)
        self._step.duty_u16(0)
        self.state = "free"
        self.moving = False
        self._position = wire.NO_POSITION
        self._read_ms = self._ticks_ms()
        self._look()

    def tick(self):
        """Go on with a movement; return the position for the records."""
        now = self._ticks_ms()
        if self._ticks_diff(now, self._read_ms) >= READ_EVERY_MS:
            self._read_ms = now
            self._look()
            if self.moving:
                self._mind(now)
        return self._position

    def _look(self):
        try:
            self._i2c.readfrom_mem_into(pins.ENCODER_I2C, STATUS, memoryview(self._word)[:1])
            if self._word[0] & MAGNET_FOUND:
                self._i2c.readfrom_mem_into(pins.ENCODER_I2C, RAW_ANGLE, self._word)
                self._position = (self._word[0] << 8 | self._word[1]) & (COUNTS - 1)
                return
        except OSError:
            pass
        self._position = wire.NO_POSITION

    def _mind(self, now):
        """Stop a movement that has come to its end, whatever that is."""
        if self._position == wire.NO_POSITION:
            self._end("no encoder")
            return
        state = self._reached()
        if state is None and self._ticks_diff(now, self._began_ms) > LONGEST_MS:
            state = "too long"
        if state is None and self._stands_still(now):
            state = "stalled"
        if state is not None:
            self._end(state)

    def _reached(self):
        """Return the word for the place where the movement ends, or None on the way there."""
        if self._homing:
            return "home" if self._home.value() else None
        if self._passed():
            return "arrived"
        return "home reached" if not self._upwards and self._home.value() else None

    def _stands_still(self, now):
        """Return whether the shaft has not moved since the last look, one every STALLED_MS."""
        if self._ticks_diff(now, self._stall_ms) < STALLED_MS:
            return False
        moved = abs(self._position - self._stall_at)
        self._stall_ms, self._stall_at = now, self._position
        return moved < STALLED_COUNTS

    def _passed(self):
        away = self._target - self._position
        return away <= NEAR if self._upwards else away >= -NEAR

    def _end(self, state):
        self._step.duty_u16(0)
        self.moving = False
        self.state = state
        if state in ("stalled", "no encoder", "too long"):
            self._enable.value(1)

    def command(self, action, position, speed):
        """Do one of DRIVE_ACTIONS; return what goes into the reply. ValueError says why it cannot."""
        if action == "home":
            self._go(False, 0, speed, homing=True)
        elif action == "goto":
            self._look()
            if self._position == wire.NO_POSITION:
                raise ValueError("the angle encoder does not answer or finds no magnet")
            if abs(position - self._position) > NEAR:
                self._go(position > self._position, position, speed, homing=False)
        elif action == "stop":
            self._end("stopped")
        elif action == "free":
            self.free()
        return {"state": self.state, "moving": self.moving, "position": self._position}

    def _go(self, upwards, target, speed, *, homing):
        self._look()
        if self._position == wire.NO_POSITION:
            raise ValueError("the angle encoder does not answer or finds no magnet")
        self._upwards, self._target, self._homing = upwards, target, homing
        now = self._ticks_ms()
        self._began_ms = self._stall_ms = now
        self._stall_at = self._position
        self._dir.value(upwards)
        self._enable.value(0)
        self._step.freq(max(8, speed * STEPS // COUNTS))
        self._step.duty_u16(HALF_DUTY)
        self.moving = True
        self.state = "moving"

    def free(self):
        """Let the shaft go."""
        self._step.duty_u16(0)
        self._enable.value(1)
        self.moving = False
        self.state = "free"
