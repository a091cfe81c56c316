"""The order that says what a press of the button may do: what it must hold, and until when it holds.

The board has no clock. The order lasts for hours of running time, and each start counts as one part of five minutes,
so that no switching off and on makes it last longer.
"""

import json

from sweepboard.arguments import RefusedError, checked, one_of, switch, whole
from sweepboard.flash_page import END, HEAD, ROOM
from sweepboard.flash_store import Full
from sweepboard.flash_writer import Ticks, Writer

ORDER, SWEEP = "order", "sweep"  # the first key of a HEAD
TICK_MS = 300000
TICKS_PER_HOUR = 12
MOST_HOURS = 24
MOST_TEXT = 12 * ROOM  # bytes of its HEAD: with END below the page of the ticks
MOST_WINDOWS = 302000  # five minutes, and a little
MOST_LEVEL = 4095 * 332
TASKS = ("sweep", "wiggle")


def text_of(name, value):
    """Check for a text."""
    if not isinstance(value, str) or len(value) > 64:
        raise RefusedError("malformed", "%s is no text of at most 64 characters" % name)
    return value


def anything(name, value):
    """Check nothing: the host's own."""
    return value


TAKES = {
    "id": (text_of, None),
    "uid": (text_of, None),
    "build": (text_of, None),
    "task": (one_of(TASKS), None),
    "hookup": (one_of(("powered", "tapped")), None),
    "plug_off": (switch, None),
    "sweeps": (whole(1, 50), None),
    "hours": (whole(1, MOST_HOURS), None),
    "least": (whole(1, MOST_LEVEL), None),
    "span": (whole(0, MOST_LEVEL), None),
    "strokes": (whole(1, 100), None),
    "hold": (whole(0, MOST_WINDOWS), None),
    "lead": (whole(0, 2000), None),
    "longest": (whole(1, MOST_WINDOWS), None),
    "fast": (whole(0, MOST_WINDOWS), None),
    "low": (whole(0, MOST_LEVEL), None),
    "high": (whole(0, MOST_LEVEL), None),
    "short": (whole(0, 4095), None),
    "settle": (whole(1, 2000), None),
    "battery_uv": (whole(0, 1 << 30), None),
    "spread": (whole(0, 4095), None),
    "more": (anything, None),
}


def opened(text):
    """Return what an order says; RefusedError where it is not one."""
    try:
        order = json.loads(text)
    except (ValueError, RuntimeError, MemoryError):
        raise RefusedError("malformed", "the order is no JSON") from None
    if not isinstance(order, dict):
        raise RefusedError("malformed", "the order is no JSON object")
    order["cmd"] = "order"
    values = checked(order, TAKES)
    if values["hookup"] == "powered" and not values["plug_off"]:
        raise RefusedError(
            "refused", "powered without a laptop only where the order says that the plug is off"
        )
    if values["hookup"] == "tapped" and values["plug_off"]:
        raise RefusedError("refused", "tapped, and yet the plug is off: one of them is wrong")
    return values


def must_fit(order, identity):
    """RefusedError where an order is for another rig, or for what this build may not do."""
    for key in ("uid", "build"):
        if order[key] != identity[key]:
            raise RefusedError("refused", "the order is for %s %s" % (key, order[key]))
    if order["hookup"] not in identity["hookups"]:
        raise RefusedError("refused", "this build does not allow the hookup %s" % order["hookup"])
    if order["hookup"] == "tapped" and "guaranteed-tap" not in identity["capabilities"]:
        raise RefusedError("refused", "this build cannot guarantee that it feeds nothing into a tapped lead")


class Orders:
    """The order in force: the latest that is whole."""

    def __init__(self, store, identity, clock):
        self.order = None
        self.number = 0
        self.boot = 0  # ticks at this start: no two starts under one order have the same
        self._store = store
        self._identity = identity
        self._clock = clock
        self._ticks = None
        self._ticked_ms = clock.ms()
        self.find()

    def find(self):
        """Look for the order in force."""
        before = self.number
        self.order, self.number, self._ticks = None, 0, None
        for number in reversed(self._store.numbers()):
            if is_order(self._store, number) and self._store.text(number, END):
                self._take(number, before)
                return

    def _take(self, number, before):
        try:
            order = opened(json.loads(self._store.text(number, HEAD))[ORDER])
            must_fit(order, self._identity)
        except (RefusedError, ValueError, KeyError, TypeError):
            return  # for another rig, or of another version: it holds nothing here
        self.order, self.number = order, number
        self._ticks = Ticks(self._store, number)
        if number == before:
            return
        self._ticks.add()
        self.boot = self._ticks.count()
        self._ticked_ms = self._clock.ms()

    def set(self, text):
        """Keep an order in the place of the one before; RefusedError where it is none that this rig may have."""
        must_fit(opened(text), self._identity)
        head = json.dumps({ORDER: text}).encode()
        if len(head) > MOST_TEXT:
            raise RefusedError(
                "out-of-range", "an order of %d bytes, not at most %d" % (len(head), MOST_TEXT)
            )
        try:
            writer = Writer(self._store, head)
            writer.end(lambda digest: b"{}")
        except Full:
            raise RefusedError(
                "not-now", "no block of flash is ready: collect and remove what is kept"
            ) from None
        for number in self._store.numbers():
            if number != writer.number and is_order(self._store, number):
                self._store.forget(number)
        self.find()

    def tick(self):
        """Count running time; call it in each cycle that may write."""
        if self._ticks is None:
            return
        if self._clock.diff_ms(self._clock.ms(), self._ticked_ms) >= TICK_MS:
            self._ticked_ms = self._clock.ms()
            self._ticks.add()

    def used(self):
        """Return how many parts of five minutes the order has been running."""
        return 0 if self._ticks is None else self._ticks.count()

    def holds(self):
        """Return whether there is an order and its time is not over."""
        return self.order is not None and self.used() <= self.order["hours"] * TICKS_PER_HOUR


def is_order(store, number):
    """Return whether a kept thing is an order."""
    return store.text(number, HEAD).startswith(('{"%s"' % ORDER).encode())
