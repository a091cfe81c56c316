"""The drive of a simulated driven build: the board's own logic, a shaft that the simulated rig turns."""

import struct

from sweepboard import drive

ASK_TURN = 8  # what the motor does: TURN_HELD or not, TURN_UP, counts a second
ASK_SHAFT = 9  # where the shaft is, after so many milliseconds without a stream
TURN_UP = 0x8000
TURN_HELD = 0x4000
TURN_COUNTS = 0x3FFF
SHAFT_FORMAT = "<HB"  # counts or wire.NO_POSITION, whether the home switch is pressed
MOST_MS = 0xFFFF


class SimulatedShaft:
    """Motor, encoder and home switch of the simulated rig.

    A stream carries the rig's time; without one it is told how long the board waited.
    """

    def __init__(self, ask, clock):
        self._ask = ask
        self._clock = clock
        self._asked_ms = clock.ms()
        self._home = 0
        self.streams = None  # a function that says whether a stream runs

    def _look(self):
        now = self._clock.ms()
        waited = 0 if self.streams is None or self.streams() else self._clock.diff_ms(now, self._asked_ms)
        self._asked_ms = now
        position, self._home = struct.unpack(SHAFT_FORMAT, self._ask(ASK_SHAFT, 0, min(waited, MOST_MS)))
        return position

    def position(self):
        """Return the encoder's counts, or wire.NO_POSITION."""
        return self._look()

    def at_home(self):
        """Return whether the home switch was pressed when the shaft was last looked at."""
        return self._home

    def turn(self, upwards, counts_s):
        """Turn at a steady rate."""
        self._look()
        self._ask(ASK_TURN, 0, TURN_HELD | (TURN_UP if upwards else 0) | counts_s)

    def rest(self):
        """Stand still, held."""
        self._ask(ASK_TURN, 0, TURN_HELD)

    def let_go(self):
        """Take the current off the motor."""
        self._ask(ASK_TURN, 0, 0)


def make(ask, clock):
    """Return the drive of a simulated board, and its shaft."""
    shaft = SimulatedShaft(ask, clock)
    return drive.Drive(shaft, clock.ms, clock.diff_ms), shaft
