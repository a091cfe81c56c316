"""The drive of the driven build: a motor turns the shaft, an angle encoder says where it is. It knows no pins.

Steps are not counted: the drive turns at a steady rate until the ENCODER has moved as far as was asked, so a lost step
cannot become an angle. What was moved is summed up from reading to reading, so that count 0 may be crossed; a target is
reached by the shorter way round. Which way the motor turns the encoder is learnt from the first counts that it moves;
from then on the wrong way ends a movement. Until it is known, a lever that stands is tried the other way once: it may
rest against a stop. A movement ends too when the encoder does not follow, when it does not answer, at home, and after
the time that the way takes. Angles are encoder counts, 4096 a turn; a sensor's travel is less than half a turn.

Drive(shaft, ms, diff_ms): `shaft` has position() in counts or wire.NO_POSITION, at_home(), turn(upwards, counts_s),
rest() and let_go(); `ms` and `diff_ms` are a clock's.
"""

from sweepboard import wire

COUNTS = 4096
HALF_TURN = COUNTS // 2
NEAR = 2  # counts: arrived
STALLED_COUNTS = 4  # a shaft that moves less in STALLED_MS stands still
STALLED_MS = 300
SPARE_MS = 1000  # beyond the time that the way takes at its speed
HOME_COUNTS = 4608  # home lies within a turn, and an eighth of one
PAST_HOME = 64  # counts, 5.6 degrees: the closed stop lies so far behind the home switch at most
WRONG_COUNTS = 8  # 0.7 degrees: what a movement may go the other way
READ_EVERY_MS = 4
ASK_AGAIN_MS = 200  # where the encoder does not answer: a stuck bus must not eat the time of the windows
NO_ENCODER = "the angle encoder does not answer or finds no magnet"


class Drive:
    """Moves the shaft; tick() looks where it is, and never waits."""

    def __init__(self, shaft, ms, diff_ms):
        self._shaft = shaft
        self._ms = ms
        self._diff_ms = diff_ms
        self.state = "free"
        self.moving = False
        self._reversed = self._learnt = False  # whether the motor turns the other way; whether that is known
        self._read_ms = ms()
        self._position = shaft.position()

    def tick(self):
        """Go on with a movement; return the position for the records."""
        now = self._ms()
        missing = self._position == wire.NO_POSITION and not self.moving
        if self._diff_ms(now, self._read_ms) >= (ASK_AGAIN_MS if missing else READ_EVERY_MS):
            self._read_ms = now
            self._position = self._shaft.position()
            if self.moving:
                self._mind(now)
        return self._position

    def _mind(self, now):
        """Stop a movement that has come to its end, whatever that is."""
        if self._position == wire.NO_POSITION:
            self._end("no encoder")
            return
        self._follow()
        state = self._reached()
        if state is None and self._goes_wrong():
            state = "wrong way"
        if state is None and self._diff_ms(now, self._began_ms) > self._longest_ms:
            state = "too long"
        if state is None and self._stands_still(now) and not self._tries_the_other_way():
            state = "stalled"
        if state is not None:
            self._end(state)

    def _follow(self):
        """Sum up what the encoder has moved since the last reading, in the direction asked."""
        step = (self._position - self._last + HALF_TURN) % COUNTS - HALF_TURN
        self._last = self._position
        self._moved += step if self._upwards else -step

    def _reached(self):
        """Return the word for the place where the movement ends, or None on the way there."""
        if self._homing:
            return "home" if self._shaft.at_home() else None
        if self._moved >= self._asked - NEAR:
            return "arrived"
        if self._upwards or not self._shaft.at_home():
            self._home_at = None
            return None
        if self._home_at is None:
            self._home_at = self._moved
        return "home reached" if self._moved - self._home_at >= PAST_HOME else None

    def _goes_wrong(self):
        """Return whether the shaft goes the other way; the first movement learns which way the motor turns."""
        if self._moved >= WRONG_COUNTS:
            self._learnt = True
        self._most = max(self._most, self._moved)
        if self._moved > self._most - WRONG_COUNTS:
            return False
        if self._learnt:
            return True
        self._learnt = True
        self._turn_round()
        return False

    def _turn_round(self):
        """Take the motor to turn the other way from now on."""
        self._reversed = not self._reversed
        self._asked -= self._moved
        self._moved = self._most = self._stall_at = 0
        self._shaft.turn(self._upwards != self._reversed, self._speed)

    def _tries_the_other_way(self):
        """Turn round where it is not known which way the motor turns: it may push the lever against a stop."""
        if self._learnt or self._tried:
            return False
        self._tried = True
        self._turn_round()
        return True

    def _stands_still(self, now):
        """Return whether the shaft has not moved since the last look, one every STALLED_MS."""
        if self._diff_ms(now, self._stall_ms) < STALLED_MS:
            return False
        moved = abs(self._moved - self._stall_at)
        self._stall_ms, self._stall_at = now, self._moved
        return moved < STALLED_COUNTS

    def _end(self, state):
        self._shaft.rest()
        self.moving = False
        self.state = state
        if state in ("stalled", "no encoder", "too long", "wrong way"):
            self._shaft.let_go()

    def command(self, action, position, speed):
        """Do one of DRIVE_ACTIONS; return what goes into the reply. ValueError says why it cannot."""
        if action == "home":
            self._look()
            self._go(False, HOME_COUNTS, speed, homing=True)
        elif action == "goto":
            self._look()
            way = (position - self._position + HALF_TURN) % COUNTS - HALF_TURN
            if abs(way) > NEAR:
                self._go(way > 0, abs(way), speed, homing=False)
            else:
                self._shaft.rest()
                self.moving, self.state = False, "arrived"
        elif action == "stop":
            self._end("stopped")
        elif action == "free":
            self.free()
        elif not self.moving:
            self._position = self._shaft.position()
        return {"state": self.state, "moving": self.moving, "position": self._position}

    def _look(self):
        self._position = self._shaft.position()
        if self._position == wire.NO_POSITION:
            self._end("no encoder")
            raise ValueError(NO_ENCODER)

    def _go(self, upwards, counts, speed, *, homing):
        self._upwards, self._homing, self._asked, self._speed = upwards, homing, counts, speed
        self._last, self._moved, self._most, self._stall_at = self._position, 0, 0, 0
        self._tried = False  # in this movement, both ways
        self._home_at = None  # what was moved when the home switch was met
        self._began_ms = self._stall_ms = self._ms()
        self._longest_ms = SPARE_MS + 1000 * counts // speed
        self._shaft.turn(upwards != self._reversed, speed)
        self.moving = True
        self.state = "moving"

    def free(self):
        """Let the shaft go."""
        self._shaft.rest()
        self._shaft.let_go()
        self.moving = False
        self.state = "free"
