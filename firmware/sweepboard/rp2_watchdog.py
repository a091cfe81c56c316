"""The watchdog that runs while the rig streams, and why the board started last.

machine.WDT has no stop; clearing ENABLE in the watchdog's CTRL stops it (RP2040 datasheet 4.7.6, RP2350 datasheet
12.9.7; reset reasons: RP2040 2.12.7 and 4.7.6, RP2350 6.4 and 12.9.7). Addresses and bits were read in the
register headers of the chip maker's public SDK 2.2.0; section numbers are from memory.
"""

import machine
from micropython import const

TIMEOUT_MS = const(4000)
CTRL_ENABLE = const(1 << 30)
REASON = const(0x08)
REASON_TIMER = const(1)
REASON_FORCE = const(2)

# chip name -> (watchdog's base, address of CHIP_RESET, bit of a reset by the RUN pin, bit of one by a debugger)
_CHIPS = {
    "rp2040": (0x40058000, 0x40064008, 1 << 16, 1 << 20),
    "rp2350": (0x400D8000, 0x4010002C, 1 << 18, 1 << 19),
}


class Watchdog:
    """Resets the board when the service stands still while it streams."""

    def __init__(self, chip_name):
        self._ctrl = _CHIPS[chip_name][0]
        self._dog = None

    def start(self):
        """Begin to watch, or begin anew."""
        self._dog = machine.WDT(timeout=TIMEOUT_MS)

    def feed(self):
        """Tell that all is well."""
        if self._dog is not None:
            self._dog.feed()

    def stop(self):
        """Watch no more."""
        machine.mem32[self._ctrl] = machine.mem32[self._ctrl] & ~CTRL_ENABLE & 0xFFFFFFFF
        self._dog = None


def reset_cause(chip_name, mem=None):
    """Return why the board started: "watchdog", "software", "debugger", "reset pin" or "power on"."""
    mem = mem or machine.mem32
    base, chip_reset, run_pin, debugger = _CHIPS[chip_name]
    reason = mem[base + REASON]
    if reason & REASON_TIMER:
        return "watchdog"
    if reason & REASON_FORCE:
        return "software"
    had = mem[chip_reset]
    if had & debugger:
        return "debugger"
    return "reset pin" if had & run_pin else "power on"
