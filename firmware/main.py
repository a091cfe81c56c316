"""Starts the service on the board."""

import micropython

# A host may be speaking already, and any byte 3 of its messages would stop the program as Ctrl-C does.
try:
    micropython.kbd_intr(-1)
except KeyboardInterrupt:
    micropython.kbd_intr(-1)

from sweepboard import boot

boot.run()
