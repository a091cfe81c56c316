"""Blocks of flash for flash_store.py on a disk that littlefs has to itself: each is a file of exactly one block.

Such a file has nothing of littlefs in its block, and littlefs neither moves nor writes it as long as nobody writes the
file. FOLDER/area holds the area's name and which block of the device each file has. A user may remove, copy or restore
the files, and then the blocks are others': before the first write to one after a start, owns() clears one spare bit of
it and looks for it through the file.
"""

import os
import struct
from array import array

from sweepboard.flash_page import BLOCK, BLOCK_HEAD, PAGE, block_head, opened_block

PER_FOLDER = 32  # files: littlefs looks through a folder's entries one by one
AT_ONCE = 4  # files made in one call: half a second
SPARE = 16  # blocks that are left to the user's own files
COUNT, ERASE = 4, 6  # of a block device's ioctl
NAME = 8


class FlashArea:
    """`n` blocks of `device`, a block device of 4096 bytes a block; see flash_store.Store."""

    def __init__(self, device, folder, name, places):
        self.n = len(places)
        self.name = name
        self._device = device
        self._folder = folder
        self._places = places

    def close(self):
        """Nothing is open."""

    def read(self, i, buf, at):
        """Read into `buf` from byte `at` of a block."""
        self._device.readblocks(self._places[i], buf, at)

    def program(self, i, buf, at):
        """Clear the bits of a page that are 0 in `buf`."""
        self._device.writeblocks(self._places[i], buf, at)

    def erase(self, i):
        """Set all bits of a block; the program stands still for it."""
        self._device.ioctl(ERASE, self._places[i])

    def owns(self, i):
        """Return whether a block is still that of our file: a bit that is cleared in one shows in the other."""
        page, seen = bytearray(PAGE), self._through_file(i)
        self.read(i, page, 0)
        if seen != page:
            return False
        for at in range(BLOCK_HEAD * 2, PAGE):
            if page[at]:
                one = bytearray(b"\xff" * PAGE)
                one[at] = page[at] & page[at] - 1
                self.program(i, one, 0)
                self.read(i, page, 0)
                return page[at] == one[at] and self._through_file(i) == page
        return False  # no bit is left: not used any more

    def _through_file(self, i):
        try:
            with open(path_of(self._folder, i), "rb") as file:
                return file.read(PAGE)
        except OSError:
            return None


def path_of(folder, i):
    """Return the path of a block's file."""
    return "%s/%02d/%03d" % (folder, i // PER_FOLDER, i)


class Keeping:
    """Finds the area, and makes it. `random(n)` gives bytes that no other area has."""

    def __init__(self, device, folder, random):
        self._device = device
        self._folder = folder
        self._random = random
        self._name = None
        self._n = self._made = 0

    def find(self):
        """Return the area, or None where there is none."""
        try:
            with open(self._folder + "/area", "rb") as file:
                data = file.read()
        except OSError:
            return None
        places = array("H", [0] * ((len(data) - NAME) // 2))
        for i in range(len(places)):
            places[i] = struct.unpack_from("<H", data, NAME + 2 * i)[0]
        return FlashArea(self._device, self._folder, data[:NAME], places) if places else None

    def grow(self, n):
        """Make a few of `n` files; return (files there, n). OSError where there is no room or the disk fails."""
        found = self.find()
        if found is not None:
            return found.n, found.n
        if self._name is None or n != self._n:
            self._begin(n)
        for _ in range(AT_ONCE):
            if self._made < n:
                self._make(self._made)
                self._made += 1
        if self._made == n:
            self._finish()
        return self._made, n

    def _begin(self, n):
        for i in range(n):  # what an earlier beginning left
            try:
                os.remove(path_of(self._folder, i))
            except OSError:
                break
        stat = os.statvfs(self._folder.rsplit("/", 1)[0] or "/")
        if stat[0] != BLOCK:
            raise OSError("blocks of %d bytes, not %d" % (stat[0], BLOCK))
        need = n + 2 * (n // PER_FOLDER + 2) + SPARE
        if stat[3] < need:
            raise OSError("%d blocks are free, %d are needed" % (stat[3], need))
        self._name, self._n, self._made = self._random(NAME), n, 0
        _folder(self._folder)

    def _make(self, i):
        path = path_of(self._folder, i)
        _folder(path.rsplit("/", 1)[0])
        head = block_head(self._name, i, 0, 1)
        with open(path, "wb") as file:
            file.write(head + b"\xff" * (PAGE - BLOCK_HEAD))
            for _ in range(BLOCK // PAGE - 1):
                file.write(b"\xff" * PAGE)

    def _finish(self):
        """Find the block of each file by its head, and write them down: from then on there is an area."""
        head = bytearray(BLOCK_HEAD)
        places = [None] * self._n
        for block in range(self._device.ioctl(COUNT, 0)):
            self._device.readblocks(block, head, 0)
            found = opened_block(head)
            if found is not None and found[3] == self._name and found[0] < self._n:
                if places[found[0]] is not None:
                    raise OSError("two blocks hold the file %d" % found[0])
                places[found[0]] = block
        if None in places:
            raise OSError("the block of the file %d was not found" % places.index(None))
        data = self._name + b"".join([struct.pack("<H", block) for block in places])
        with open(self._folder + "/area", "wb") as file:
            file.write(data)


def _folder(path):
    try:
        os.mkdir(path)
    except OSError:
        pass
