"""The board's serial port, without ever waiting for the host.

The port tells by POLLOUT only that it takes at least one byte, and a write of more would wait up to 500 ms for
room. Its buffer of 256 bytes fills and empties by packets of 64 (MicroPython's shared/tinyusb). So frames are
written by whole blocks of 64 bytes: room for one byte then is room for 64. Text that something prints in
between can break that; the next write then waits at most those 500 ms, and what that costs is told as a gap.
"""

import select
import sys

import micropython

BLOCK = 64  # bytes of a full-speed bulk packet
CTRL_C = 3
MOST_READ = 256


class UsbPort:
    """Standard input and output as bytes. `stdin` and `stdout` are the binary streams."""

    block = BLOCK

    def __init__(self, stdin=None, stdout=None):
        self._in = stdin or sys.stdin.buffer
        self._out = stdout or sys.stdout.buffer
        self._may_read = select.poll()
        self._may_read.register(self._in, select.POLLIN)
        self._may_write = select.poll()
        self._may_write.register(self._out, select.POLLOUT)
        self._asks = self._may_write.ipoll
        self._byte = bytearray(1)
        self._found = bytearray(MOST_READ)
        self._left = 0  # of the block that is being written

    def open(self):
        """Take Ctrl-C as a byte like any other."""
        micropython.kbd_intr(-1)

    def close(self):
        """Let Ctrl-C interrupt again."""
        micropython.kbd_intr(CTRL_C)

    def read(self, n):
        """Return at most `n` bytes that are there, at most MOST_READ: 34 us each, nearly all of it the question."""
        ready, read_into, byte, found = self._may_read.ipoll, self._in.readinto, self._byte, self._found
        n = min(n, MOST_READ)
        i = 0
        while i < n and next(ready(0), None) is not None and read_into(byte):
            found[i] = byte[0]
            i += 1
        return bytes(memoryview(found)[:i]) if i else b""

    def writable(self):
        """Return how many bytes a write takes now."""
        if self._left:
            return self._left
        found = next(self._asks(0), None)
        return BLOCK if found is not None and found[1] & select.POLLOUT else 0

    def write(self, data):
        """Write `data`, at most as much as writable() said; return how many bytes went."""
        n = self._out.write(data)
        n = len(data) if n is None else n
        self._left = ((self._left or BLOCK) - n) % BLOCK
        return n
