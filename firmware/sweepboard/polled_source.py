"""Windows from a converter that is read one conversion at a time: any port without the fast source.

Windows lie on a grid of `period_ms`. The conversions of one window are made one after the other as fast as the
port reads them, at the window's beginning; the rest of the period is for the service. So most of the time nobody
looks, and nothing may be said about dropouts shorter than a period. A window whose turn is missed by half a
period or more is told as a gap.
"""

from array import array

from sweepboard import wire
from sweepboard.windows import reduce_into

WINDOW = 16
PERIOD_MS = 10


class PolledSource:
    """Windows of conversions that `readers` give: for each channel a function returning a 16-bit value."""

    def __init__(self, readers, clock, window=WINDOW, period_ms=PERIOD_MS):
        self.channels = len(readers)
        self.window = window
        self.conversion_hz = self.channels * window * 1000 // period_ms  # on average
        self.conversions_lost = 0
        self.conversions_in_error = 0
        self._readers = readers
        self._clock = clock
        self._period_ms = period_ms
        # Two buffers in turn: the window before the last one stays whole for a snapshot.
        self._buffers = [memoryview(array("H", [0] * (self.channels * window))) for _ in range(2)]
        self._turn = 0
        self._running = False
        self._due_ms = 0
        self._splice = 0
        self._taken = None
        self._missed = 0

    def start(self):
        """Begin a grid now."""
        self._due_ms = self._clock.ms()
        self._splice = wire.FLAG_SPLICE
        self._taken = None
        self._missed = 0
        self._running = True

    def stop(self):
        """Sample no more."""
        self._running = False

    def poll(self):
        """Return 1 where a window is due, else 0."""
        if not self._running:
            return 0
        late_ms = self._clock.diff_ms(self._clock.ms(), self._due_ms)
        if late_ms < 0:
            return 0
        missed = (late_ms + self._period_ms // 2) // self._period_ms
        if missed:
            self._missed += missed
            self.conversions_lost += missed * self.channels * self.window
            self._due_ms += missed * self._period_ms
            self._splice = wire.FLAG_SPLICE
            return 0
        return 1

    def take(self, buf, at):
        """Make the conversions of a window and reduce them into `buf` from `at`; return its flags."""
        codes = self._buffers[self._turn]
        self._turn = 1 - self._turn
        i = 0
        for _ in range(self.window):
            for reader in self._readers:
                codes[i] = reader() >> 4
                i += 1
        reduce_into(codes, 0, self.channels, self.window, buf, at)
        self._taken = codes
        self._due_ms += self._period_ms
        flags = self._splice
        self._splice = 0
        return flags

    def raw(self):
        """Return the conversions of the window last taken, or None."""
        return self._taken

    def gap(self):
        """Return (windows missed before the next one, reason), or None; each gap is told once."""
        if not self._missed:
            return None
        gap = (self._missed, wire.GAP_DMA_LATE)
        self._missed = 0
        return gap
