"""Looks at what is being kept for a reason to let go: an overloaded supply, a running engine."""

import struct

from sweepboard import wire
from sweepboard.windows import mean_code

LOOK_WINDOWS = 200  # after first power has settled: no fault may show in them


class Watch:
    """The watch over one sweep by its order. `problem` is "" or the light's word for why it has to end."""

    def __init__(self, order, window):
        self.problem = ""
        self._order = order
        self._window = window
        self._bad = 0  # windows in a row with an overloaded supply
        self._fed = 0  # windows since the supply is on

    def records(self, message, at, n):
        """Take records: a fault or a short for `settle` windows in a row, or any just after power, is overload."""
        if self._order["hookup"] != "powered":
            return
        settle = self._order["settle"]
        for i in range(n):
            place = at + wire.RECORD_SIZE * i
            flags = message[place + wire.PLACE_AT + 2] | message[place + wire.PLACE_AT + 3] << 8
            on = flags & wire.FLAG_SUPPLY_ON
            low = on and mean_code(message, place, wire.SUPPLY, self._window) < self._order["short"]
            bad = low or flags & wire.FLAG_SUPPLY_FAULT
            self._fed += bool(on)
            self._bad = self._bad + 1 if bad else 0
            first = settle < self._fed <= settle + LOOK_WINDOWS
            if self._bad >= settle or (first and bad):
                self.problem = "supply"

    def slow(self, payload):
        """Take slow readings: a battery at or above the order's limit is an engine that runs; 0 asks for none."""
        most = self._order["battery_uv"]
        for at in range(0, len(payload), struct.calcsize(wire.SLOW_FORMAT)):
            quantity, status, _, value = struct.unpack_from(wire.SLOW_FORMAT, payload, at)
            if most and quantity == wire.SLOW_BATTERY and not status and value >= most:
                self.problem = "engine"
