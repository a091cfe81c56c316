"""Where an RP2 board keeps sweeps, and the button that asks for them.

A full build has its button on GP11. A plain build has a wire or a button from GP11 to the ground pin beside it, or the
board's own BOOTSEL button where MicroPython reads it.
"""

import os

import machine
import rp2

from sweepboard import pins
from sweepboard.flash_area import Keeping

FOLDER = "/kept"


class BoardKeeping(Keeping):
    """The area on the board's own flash; `button()` says whether the button is down."""

    def __init__(self, build):
        super().__init__(rp2.Flash(), FOLDER, os.urandom)
        self._pin = machine.Pin(pins.BUTTON, machine.Pin.IN, machine.Pin.PULL_UP)
        self._bootsel = getattr(rp2, "bootsel_button", None) if build == "plain" else None

    def button(self):
        """Return whether the button is down."""
        return not self._pin.value() or bool(self._bootsel is not None and self._bootsel())
