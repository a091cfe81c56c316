"""The area on a real littlefs in memory, under MicroPython's unix port; each case prints its result as JSON."""

import json
import os
import sys

import vfs
from cases import Draws, read_thing

from sweepboard import flash_page as fp
from sweepboard import flash_store as fs
from sweepboard import flash_writer as writing
from sweepboard.flash_area import Keeping, path_of

BLOCKS = 120


class Disk:
    """A block device of flash in memory."""

    def __init__(self):
        self.data = bytearray(b"\xff" * (BLOCKS * fp.BLOCK))
        self.by_littlefs = True
        self.written = set()  # blocks that littlefs wrote

    def readblocks(self, n, buf, off=0):
        at = n * fp.BLOCK + off
        buf[:] = self.data[at : at + len(buf)]

    def writeblocks(self, n, buf, off=None):
        if off is None:
            self.ioctl(6, n)
        at = n * fp.BLOCK + (off or 0)
        self.written.add(n)
        for k in range(len(buf)):
            self.data[at + k] &= buf[k]

    def ioctl(self, op, arg):
        if op == 4:
            return BLOCKS
        if op == 5:
            return fp.BLOCK
        if op == 6:
            self.written.add(arg)
            self.data[arg * fp.BLOCK : (arg + 1) * fp.BLOCK] = b"\xff" * fp.BLOCK
        return 0


def made(n=40):
    """Return (disk, keeping, area) of a new disk with a user's file on it."""
    disk = Disk()
    vfs.VfsLfs2.mkfs(disk, progsize=256)
    vfs.mount(vfs.VfsLfs2(disk, progsize=256), "/ram")
    with open("/ram/user.txt", "wb") as file:
        file.write(b"mine" * 2000)
    keeping = Keeping(disk, "/ram/kept", os.urandom)
    while True:
        there, wanted = keeping.grow(n)
        if there == wanted:
            break
    return disk, keeping, keeping.find()


def lives_with_littlefs():
    """Keep things while littlefs writes beside; return what is wrong on either side."""
    disk, _, area = made()
    draws = Draws(5)
    store = fs.Store(area)
    store.open()
    clean = store.count(fs.CLEAN)
    wrong = []
    kept = {}
    for k in range(12):
        with open("/ram/file%d" % (k % 3), "wb") as file:
            file.write(bytes([k]) * 5000)
        data = draws.bytes(11000)
        disk.written = set()
        writer = writing.Writer(store, b"{}")
        writer.put(data, 0, len(data))
        writer.end(lambda digest: digest)
        if not disk.written <= set(area._places):
            wrong.append("a block of littlefs was written")
        kept[writer.number] = data
        if len(kept) > 3:
            oldest = min(kept)
            store.forget(oldest)
            del kept[oldest]
        while store.tidy():
            pass
    vfs.umount("/ram")
    vfs.mount(vfs.VfsLfs2(disk, progsize=256), "/ram")
    again = fs.Store(Keeping(disk, "/ram/kept", os.urandom).find())
    again.open()
    for number, data in kept.items():
        if read_thing(again, number)[0] != data:
            wrong.append("%d" % number)
    with open("/ram/user.txt", "rb") as file:
        if file.read() != b"mine" * 2000:
            wrong.append("the user's file")
    for k in range(3):
        with open("/ram/file%d" % k, "rb") as file:
            if file.read() != bytes([9 + k]) * 5000:
                wrong.append("file%d" % k)
    return {"wrong": wrong, "clean": clean, "numbers": len(again.numbers()), "kept": len(kept)}


def files_that_are_gone():
    """Remove, copy and restore files; return whether their blocks are still written to."""
    disk, keeping, area = made(8)
    found = {"before": [area.owns(i) for i in range(8)]}
    os.remove(path_of("/ram/kept", 0))
    with open(path_of("/ram/kept", 1), "rb") as file:
        data = file.read()
    os.remove(path_of("/ram/kept", 1))
    with open("/ram/other", "wb") as file:  # takes blocks that were free
        file.write(bytes(60000))
    with open(path_of("/ram/kept", 1), "wb") as file:
        file.write(data)
    with open(path_of("/ram/kept", 2), "rb") as file:
        data = file.read()
    with open(path_of("/ram/kept", 2), "wb") as file:
        file.write(data)
    disk.written = set()
    area = keeping.find()
    found["after"] = [area.owns(i) for i in range(8)]
    store = fs.Store(area)
    store.open()
    found["ready"] = store.ready(8)
    disk.written = set()
    try:
        writer = writing.Writer(store, b"{}")
        writer.put(bytes(40000), 0, 40000)
    except fs.Full:
        pass
    found["foreign"] = len(disk.written & {area._places[i] for i in range(3)})
    found["written"] = len(disk.written)
    with open("/ram/other", "rb") as file:
        found["other"] = file.read() == bytes(60000)
    return found


def no_room():
    """Ask for more than is free; return what is said, and whether the user's file is whole."""
    disk = Disk()
    vfs.VfsLfs2.mkfs(disk, progsize=256)
    vfs.mount(vfs.VfsLfs2(disk, progsize=256), "/ram")
    try:
        Keeping(disk, "/ram/kept", os.urandom).grow(110)
    except OSError as problem:
        return str(problem)
    return "made"


if __name__ == "__main__":
    print(json.dumps(globals()[sys.argv[1]]()))
