"""The large buffers of an RP2 board, taken once, while the heap is whole: before any other module is loaded.

Modules that come as sources fill the heap of a board with a radio; what they leave has no room for a large block.
"""

from array import array

from micropython import const

BUFFERS = const(32)  # a power of two: 32 windows are 31.9 ms, longer than a garbage collection
WINDOW_WORDS = const(498)  # wire.WINDOW * wire.CHANNELS
COUNTS_BYTES = const(16384)  # 4096 codes, u32 each

_taken = {}


def windows():
    """Return BUFFERS arrays of one window of conversions each; the same ones at every call."""
    if "windows" not in _taken:
        nothing = bytes(2 * WINDOW_WORDS)
        _taken["windows"] = [array("H", nothing) for _ in range(BUFFERS)]
    return _taken["windows"]


def counts():
    """Return the room for a histogram's counts; the same at every call."""
    if "counts" not in _taken:
        _taken["counts"] = bytearray(COUNTS_BYTES)
    return _taken["counts"]


def take():
    """Take all of them now."""
    windows()
    counts()
