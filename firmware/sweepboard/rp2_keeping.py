"""Where an RP2 board keeps sweeps, and the button that asks for them.

A full build has its button on GP11. A plain build has a wire or a button from GP11 to the ground pin beside it, or the
board's own BOOTSEL button where MicroPython reads it.
"""

import gc
import os

import machine
import rp2

from sweepboard import pins

FOLDER = "/kept"


class BoardKeeping:
    """The area on the board's own flash, loaded where there is one; `button()` says whether the button is down."""

    def __init__(self, build):
        self._made = None
        self._pin = machine.Pin(pins.BUTTON, machine.Pin.IN, machine.Pin.PULL_UP)
        self._bootsel = getattr(rp2, "bootsel_button", None) if build == "plain" else None

    def free_bytes(self):
        """Return how much of the heap is left."""
        gc.collect()
        return gc.mem_free()

    def find(self):
        """Return the area, or None where there is none."""
        try:
            os.stat(FOLDER + "/area")
        except OSError:
            return None
        return self._keeping().find()

    def grow(self, n):
        """Make a few of `n` blocks; return (blocks there, n)."""
        return self._keeping().grow(n)

    def _keeping(self):
        if self._made is None:
            from sweepboard.flash_area import Keeping

            self._made = Keeping(rp2.Flash(), FOLDER, os.urandom)
        return self._made

    def button(self):
        """Return whether the button is down."""
        return not self._pin.value() or bool(self._bootsel is not None and self._bootsel())
