"""The drive of the driven build: a stepper turns the shaft, a magnetic encoder at I2C 0x36 says where it is.

The steps are not counted: the drive turns at a steady rate until the ENCODER has moved as far as was asked, so a
lost step cannot become an angle. What was moved is summed up from reading to reading, so that count 0 may be crossed.
Which way the motor turns the encoder is learnt from the first counts that it moves; from then on the wrong way ends a
movement. It stops too when the encoder does not follow, when it does not answer, at home, and after the time that the
way takes. What limits the torque is the current set on the driver. Encoder registers (AS5600 class, from memory): 0x0B
status, bit 5 magnet found; 0x0C raw angle, 12 bits.
Angles are encoder counts, 4096 a turn; a sensor's travel is less than one turn.
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
SPARE_MS = const(1000)  # beyond the time that the way takes at its speed
HOME_COUNTS = const(4608)  # home lies within a turn, and an eighth of one
WRONG_COUNTS = const(8)  # 0.7 degrees: what a movement may go the other way
READ_EVERY_MS = const(4)
ASK_AGAIN_MS = const(
    200
)  # where the encoder does not answer: a stuck bus must not eat the time of the windows
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
        self._reversed = self._learnt = False  # whether the motor turns the other way; whether that is known
        self._position = wire.NO_POSITION
        self._read_ms = self._ticks_ms()
        self._look()

    def tick(self):
        """Go on with a movement; return the position for the records."""
        now = self._ticks_ms()
        missing = self._position == wire.NO_POSITION and not self.moving
        if self._ticks_diff(now, self._read_ms) >= (ASK_AGAIN_MS if missing else READ_EVERY_MS):
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
        self._follow()
        state = self._reached()
        if state is None and self._goes_wrong():
            state = "wrong way"
        if state is None and self._ticks_diff(now, self._began_ms) > self._longest_ms:
            state = "too long"
        if state is None and self._stands_still(now):
            state = "stalled"
        if state is not None:
            self._end(state)

    def _follow(self):
        """Sum up what the encoder has moved since the last reading, in the direction asked."""
        half = COUNTS // 2
        step = (self._position - self._last + half) % COUNTS - half
        self._last = self._position
        self._moved += step if self._upwards else -step

    def _reached(self):
        """Return the word for the place where the movement ends, or None on the way there."""
        if self._homing:
            return "home" if self._home.value() else None
        if self._moved >= self._asked - NEAR:
            return "arrived"
        return "home reached" if not self._upwards and self._home.value() else None

    def _goes_wrong(self):
        """Return whether the shaft goes the other way; the first movement learns which way the motor turns."""
        if self._moved >= WRONG_COUNTS:
            self._learnt = True
        if self._moved > -WRONG_COUNTS:
            return False
        if self._learnt:
            return True
        self._learnt = True
        self._reversed = not self._reversed
        self._dir.value(self._upwards != self._reversed)
        self._asked -= self._moved
        self._moved = 0
        return False

    def _stands_still(self, now):
        """Return whether the shaft has not moved since the last look, one every STALLED_MS."""
        if self._ticks_diff(now, self._stall_ms) < STALLED_MS:
            return False
        moved = abs(self._moved - self._stall_at)
        self._stall_ms, self._stall_at = now, self._moved
        return moved < STALLED_COUNTS

    def _end(self, state):
        self._step.duty_u16(0)
        self.moving = False
        self.state = state
        if state in ("stalled", "no encoder", "too long", "wrong way"):
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
        self._upwards, self._homing = upwards, homing
        self._asked = HOME_COUNTS if homing else abs(target - self._position)
        self._last, self._moved, self._stall_at = self._position, 0, 0
        self._began_ms = self._stall_ms = self._ticks_ms()
        self._longest_ms = SPARE_MS + 1000 * self._asked // speed
        self._dir.value(upwards != self._reversed)
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
