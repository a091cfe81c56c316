"""Writes kept things, page after page; reads every page back."""

import hashlib
import struct

from sweepboard.flash_page import (
    DATA,
    DATA_PAGES,
    END,
    HEAD,
    HEADER,
    HEADER_FORMAT,
    MOST_NUMBER,
    PAGE,
    ROOM,
    TICKS_AT,
    crc32,
)  # fmt: skip
from sweepboard.flash_store import Full
from sweepboard.keep_sums import copy


class Writer:
    """Writes one thing, page after page. Nothing of it counts before its HEAD page is whole."""

    def __init__(self, store, head, behind=None):
        """Begin a thing; with `behind` go on behind the last page of one that is there. Full where no block is left."""
        self.number = store.highest % MOST_NUMBER + 1 if behind is None else behind
        store.highest = max(store.highest, self.number)
        self.n_bytes = 0  # of DATA, those that wait for their page included
        self.n_pages = 0
        self._store = store
        self._block = -1
        self._page = bytearray(PAGE)
        self._content = memoryview(self._page)[HEADER:]
        self._behind_crc = memoryview(self._page)[4:]
        self._used = 0
        self._digest = hashlib.sha256()
        if behind is None:
            self.write_all(HEAD, head)
        else:
            self._go_on()

    def _go_on(self):
        blocks = self._store.blocks_of(self.number)
        self.n_pages = self._store.n_pages(self.number, blocks)
        if self.n_pages % DATA_PAGES:
            self._block = blocks[self.n_pages // DATA_PAGES]

    def write_all(self, kind, content):
        """Write `content` in as many pages of one kind as it takes."""
        for at in range(0, max(1, len(content)), ROOM):
            part = content[at : at + ROOM]
            self._page[HEADER : HEADER + len(part)] = part
            self._program(kind, len(part))

    def _program(self, kind, used):
        store, page = self._store, self._page
        place, at = divmod(self.n_pages, DATA_PAGES)
        if at == 0:
            self._block = store.take_block(self.number, place)
        if used < ROOM:
            page[HEADER + used :] = store._blank[: ROOM - used]
        struct.pack_into(HEADER_FORMAT, page, 0, 0, kind, used, self.number, self.n_pages)
        struct.pack_into("<I", page, 0, crc32(self._behind_crc))
        store.area.program(self._block, page, PAGE * (at + 1))
        store.area.read(self._block, store._page, PAGE * (at + 1))
        if store._page != page:
            raise Full
        self.n_pages += 1

    def put(self, data, at, n):
        """Take data[at : at + n]; write a page where one is full. Return how many pages were written."""
        before = self.n_pages
        while n:
            part = min(n, ROOM - self._used)
            start = HEADER + self._used
            copy(self._page, start, data, at, part)
            self._used += part
            self.n_bytes += part
            at += part
            n -= part
            if self._used == ROOM:
                self._flush()
        return self.n_pages - before

    def _flush(self):
        used, self._used = self._used, 0
        self._digest.update(self._content if used == ROOM else self._content[:used])
        self._program(DATA, used)

    def end(self, text):
        """Write what waits and the END; `text(digest)` gives its content for the SHA-256 of all DATA."""
        if self._used:
            self._flush()
        self.write_all(END, text(self._digest.digest()))


def append(store, number, kind, content=b""):
    """Write one more page behind a thing that has ended, such as that it is not wanted. Full where there is no room."""
    Writer(store, None, number).write_all(kind, content)


class Ticks:
    """Counts up to 2040 in the last page of a thing's first block, by clearing one bit after the other."""

    MOST = 8 * (PAGE - 1)

    def __init__(self, store, number):
        self._store = store
        self._block = store.blocks_of(number)[0]
        self._page = bytearray(PAGE)

    def count(self):
        """Return how many bits are cleared; a torn one counts."""
        self._store.area.read(self._block, self._page, TICKS_AT)
        return sum(8 - _ones(byte) for byte in self._page)

    def add(self):
        """Clear one more bit."""
        self.count()
        for at in range(PAGE):
            byte = self._page[at]
            if byte and self._store._is_ours(self._block):
                one = bytearray(self._store._blank)
                one[at] = byte & byte - 1
                self._store.area.program(self._block, one, TICKS_AT)
                return


def _ones(byte):
    n = 0
    while byte:
        byte &= byte - 1
        n += 1
    return n
