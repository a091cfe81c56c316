"""Looks at what is being kept for a reason to let go: an overloaded supply, a running engine; and at the heap."""

import gc
import struct
from array import array

from sweepboard import wire
from sweepboard.keep_sums import overload

LOOK_WINDOWS = 200  # after first power has settled: no fault may show in them
CHARGING = 3  # readings in a row: one that is disturbed stops no sweep


class Watch:
    """The watch over one sweep by its order. `problem` is "" or the light's word for why it has to end."""

    def __init__(self, order, window):
        self.problem = ""
        self._order = order
        self._window = window
        self._row = array(
            "I", [0, 0]
        )  # windows in a row with an overloaded supply; windows since the supply is on
        self._powered = order["hookup"] == "powered"
        self._charging = 0  # readings in a row of a battery that is being charged

    def records(self, message, at, n):
        """Take records: a fault or a short for `settle` windows in a row, or any just after power, is overload."""
        order = self._order
        if self._powered and overload(
            self._row, message, at, n, order["short"] * self._window, order["settle"], LOOK_WINDOWS
        ):
            self.problem = "supply"

    def slow(self, payload):
        """Take slow readings: CHARGING in a row at or above the order's limit are an engine that runs; 0 asks for none.

        One that the monitor calls bad counts too where it is that high: what clamps the lead lies above the limit.
        """
        most = self._order["battery_uv"]
        for at in range(0, len(payload), struct.calcsize(wire.SLOW_FORMAT)):
            quantity, _status, _, value = struct.unpack_from(wire.SLOW_FORMAT, payload, at)
            if most and quantity == wire.SLOW_BATTERY:
                self._charging = self._charging + 1 if value >= most else 0
        if self._charging >= CHARGING:
            self.problem = "engine"


class Heap:
    """Collects garbage before it is due: that would be in the middle of a cycle, with windows that wait already.

    A collection takes half as long as the converter's buffers last. The windows that came during this cycle are taken
    first, and then those that came during that.
    """

    EVERY = 1000  # windows: a second's garbage is half of what is free

    def __init__(self, stream):
        self._stream = stream
        self._next = self.EVERY

    def begin(self):
        """A sweep begins: sampling has not, so that nothing waits."""
        gc.collect()
        self._next = self.EVERY

    def tick(self):
        """Call it in each cycle."""
        if self._stream.index >= self._next:
            self._stream.pump()
            self._stream.pump()
            gc.collect()
            self._next = self._stream.index + self.EVERY
