"""Kept things in blocks of flash that are erased beforehand: whole after a power cut, or known to be cut.

Pages and blocks: flash_page.py. Flash only ever clears bits until a block is erased, so a page is written once, and one
that was torn has no good crc. A block is erased only after its page 0 was cleared, and has a page 0 again only when it
is erased: what a power cut leaves in between is erased again. Nothing is erased and nothing but pages is written while
something is being kept.

`area` has `n` blocks, `name` (8 bytes), read(i, buf, at), program(i, buf, at), erase(i) and owns(i).
"""

from array import array

from sweepboard.flash_page import (
    BLOCK,
    BLOCK_HEAD,
    DATA,
    DATA_PAGES,
    HEAD,
    PAGE,
    block_head,
    opened_block,
    opened_page,
)  # fmt: skip

DIRTY, CLEAN, USED, LOST = 0, 1, 2, 3  # states of a block; LOST: no longer ours


class Full(Exception):  # noqa: N818  (not an error: it is expected)
    """No block is left, or one does not hold what was written: a worn one."""


class Store:
    """The kept things of an area. open() comes first."""

    def __init__(self, area):
        self.area = area
        self.highest = 0
        self._states = bytearray(area.n)
        self._owners = array("H", bytes(2 * area.n))  # number of the thing in a block
        self._places = array("H", bytes(2 * area.n))  # which of its blocks it is
        self._erased = array("I", bytes(4 * area.n))
        self._known = bytearray(area.n)  # whether a block was found to be ours since open()
        self._next = 0
        self._page = bytearray(PAGE)
        self._blank = b"\xff" * PAGE

    # --- what is there

    def open(self):
        """Look at all blocks."""
        for i in range(self.area.n):
            self._known[i] = 0
            self._look(i)
        heads = {self._owners[i] for i in self._used() if self._places[i] == 0}
        for i in self._used():
            if self._owners[i] not in heads:
                self._states[i] = DIRTY  # its first block was removed
        most = max(self._erased)
        for i in range(self.area.n):
            self._erased[i] = self._erased[i] or most  # not known any more: no less than this
        last = [i for i in self._used() if self._owners[i] == max(heads)] if heads else [0]
        self._next = max(last, key=lambda i: self._places[i])

    def _used(self):
        return [i for i in range(self.area.n) if self._states[i] == USED]

    def _look(self, i):
        page = self._page
        self._states[i] = DIRTY
        self.area.read(i, page, 0)
        head = opened_block(page)
        if head is None or head[0] != i or head[3] != self.area.name:
            return
        self.highest = max(self.highest, head[1])
        self._erased[i] = head[2]
        self.area.read(i, page, PAGE)
        found = opened_page(page)
        if found is not None and found[2] % DATA_PAGES == 0:
            self._states[i], self._owners[i], self._places[i] = USED, found[1], found[2] // DATA_PAGES
            self.highest = max(self.highest, found[1])
        elif found is None and self._is_blank(i):
            self._states[i] = CLEAN

    def _is_blank(self, i):
        for at in range(PAGE, BLOCK, PAGE):
            self.area.read(i, self._page, at)
            if self._page != self._blank:
                return False
        return True

    def numbers(self):
        """Return the numbers of what is kept, lowest first."""
        return sorted(self._owners[i] for i in self._used() if self._places[i] == 0)

    def blocks_of(self, number):
        """Return the blocks of a thing in its own order, as far as none is missing."""
        there = {self._places[i]: i for i in self._used() if self._owners[i] == number}
        found = []
        while len(found) in there:
            found.append(there[len(found)])
        return found

    def read_page(self, number, sequence, page, blocks=None):
        """Read page `sequence` of a thing into `page`; return what opened_page() says of it, or None."""
        blocks = self.blocks_of(number) if blocks is None else blocks
        place, at = divmod(sequence, DATA_PAGES)
        if place >= len(blocks):
            return None
        self.area.read(blocks[place], page, PAGE * (at + 1))
        found = opened_page(page)
        return found if found and found[1:3] == (number, sequence) else None

    def n_pages(self, number, blocks=None):
        """Return how many pages of a thing are whole, from its first on."""
        blocks = self.blocks_of(number) if blocks is None else blocks
        low, high = 0, DATA_PAGES * len(blocks)
        while low < high:  # pages are written in order, so that the first one missing can be searched for
            middle = (low + high) // 2
            if self.read_page(number, middle, self._page, blocks):
                low = middle + 1
            else:
                high = middle
        return low

    def text(self, number, kind):
        """Return the content of a thing's HEAD, END or UNWANTED pages, b"" where it has none whole."""
        blocks = self.blocks_of(number)
        n = self.n_pages(number, blocks)
        sequence = 0 if kind == HEAD else n - 1
        step = 1 if kind == HEAD else -1
        found = b""
        while 0 <= sequence < n:
            page = self.read_page(number, sequence, self._page, blocks)
            if page is None or page[0] == DATA:
                break
            if page[0] == kind:
                found = found + page[3] if step > 0 else page[3] + found
            sequence += step
        return found

    def count(self, state):
        """Return how many blocks are in a state."""
        return sum(1 for other in self._states if other == state)

    def most_erased(self):
        """Return how often the block that was erased most was erased."""
        return max(self._erased)

    # --- writing

    def _is_ours(self, i):
        """Return whether a block is still ours to write to; asked once for each."""
        if not self._known[i]:
            if self._states[i] != LOST and self.area.owns(i):
                self._known[i] = 1
            else:
                self._states[i] = LOST
        return self._states[i] != LOST

    def ready(self, n):
        """Return how many clean blocks are ready to be written, `n` of them looked at."""
        return len([i for i in self._coming(n) if self._is_ours(i)])

    def _coming(self, n):
        """Return the next `n` clean blocks."""
        found = []
        i = self._next
        for _ in range(self.area.n):
            i = (i + 1) % self.area.n
            if self._states[i] == CLEAN and len(found) < n:
                found.append(i)
        return found

    def take_block(self, number, place):
        """Return a clean block for a thing; Full where there is none."""
        i = self._next
        for _ in range(self.area.n):
            i = (i + 1) % self.area.n
            if self._states[i] == CLEAN and self._is_ours(i):
                self._states[i], self._owners[i], self._places[i] = USED, number, place
                self._next = i
                return i
        raise Full

    def tidy(self):
        """Erase one block that has to be; return whether there was one. The program stands still meanwhile."""
        for i in range(self.area.n):
            if self._states[i] == DIRTY and self._is_ours(i):
                self._clear_head(i)
                self.area.erase(i)
                self._erased[i] += 1
                self.area.program(i, self._padded(block_head(
                    self.area.name, i, self.highest, self._erased[i]
                )), 0)  # fmt: skip
                self._states[i] = CLEAN
                return True
        return False

    def _padded(self, head):
        return bytes(head) + self._blank[len(head) :]

    def _clear_head(self, i):
        self.area.program(i, self._padded(bytes(BLOCK_HEAD)), 0)

    def forget(self, number):
        """Remove a thing; its blocks are erased by tidy()."""
        for i in self.blocks_of(number):
            if not self._is_ours(i):
                continue
            if self._places[i] == 0:
                self._clear_head(i)
            self._states[i] = DIRTY
