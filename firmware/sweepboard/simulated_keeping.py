"""Where a simulated board keeps sweeps: a file that stands in for its flash, and outlives the board."""

import os

from sweepboard.flash_page import BLOCK, PAGE, block_head

NAME = 8


class FileArea:
    """Blocks in a file: `n` of 4096 bytes, then the area's name. A program only clears bits, as flash does."""

    def __init__(self, path):
        self._file = open(path, "r+b")  # noqa: SIM115  (open as long as the board runs)
        self.n = self._file.seek(0, 2) // BLOCK
        self._file.seek(self.n * BLOCK)
        self.name = self._file.read(NAME)
        self._old = bytearray(PAGE)

    def read(self, i, buf, at):
        """Read into `buf` from byte `at` of a block."""
        self._file.seek(i * BLOCK + at)
        self._file.readinto(buf)

    def program(self, i, buf, at):
        """Clear the bits of a page that are 0 in `buf`."""
        self.read(i, self._old, at)
        self._put(i * BLOCK + at, bytes([a & b for a, b in zip(self._old, buf)]))  # noqa: B905  (MicroPython)

    def erase(self, i):
        """Set all bits of a block."""
        self._put(i * BLOCK, b"\xff" * BLOCK)

    def _put(self, at, data):
        self._file.seek(at)
        self._file.write(data)
        self._file.flush()

    def close(self):
        """Let the file go."""
        self._file.close()

    def owns(self, i):
        """Return True: the file is ours."""
        return True


class FileKeeping:
    """Finds the file at `path`, and makes it."""

    def __init__(self, path):
        self._path = path

    def find(self):
        """Return the area, or None where there is no file."""
        try:
            os.stat(self._path)
        except OSError:
            return None
        return FileArea(self._path)

    def grow(self, n):
        """Make the file; return (blocks, n)."""
        area = self.find()
        if area is not None:
            return area.n, area.n
        name = os.urandom(NAME)
        with open(self._path, "wb") as file:
            for i in range(n):
                file.write(bytes(block_head(name, i, 0, 1)))
                file.write(b"\xff" * (BLOCK - 32))
            file.write(name)
        return n, n
