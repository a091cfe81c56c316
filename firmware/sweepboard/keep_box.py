"""Takes the place of the outbox while a sweep is kept: messages go into flash instead of the port.

Until begin() the latest `lead` windows wait in memory and older ones are forgotten: what was before the movement is
kept with it. From then on all that comes is written, a few pages in each cycle, so that a slow flash holds up nothing.
"""

from sweepboard import pack, wire
from sweepboard.flash_page import ROOM
from sweepboard.flash_store import Full
from sweepboard.keep_sums import copy

RING = 10240  # bytes: 0.6 s of an ordinary sensor are 4.7 kB, a packet of a noisy one has 0.5 kB
PAGES_AT_ONCE = 2  # in one cycle: 6 ms with the slowest of pages, and the buffers hold 32 ms
MOST_SNAPSHOTS = 20  # of one kept sweep
MOST_SHORT = 64  # bytes of a short message
ROOM_BYTES = RING + pack.ENTRY_SIZE + wire.MAX_MESSAGE  # at most watchers.CODES * 4


class KeepBox:
    """What the stream writes to. `on_records(message, at, n, index)` and `on_slow(payload)` get to see it.

    `room` is a memoryview of ROOM_BYTES: a board in service has no such block left to allocate.
    """

    def __init__(self, room, window, on_records, on_slow):
        self.n_bytes = 0
        self.full = False  # the memory took no more
        self._window = window
        self._on_records = on_records
        self._on_slow = on_slow
        self._view = room[:RING]
        self._entry = room[RING:ROOM_BYTES]
        self.clear(0)

    def clear(self, lead):
        """Begin to wait for a sweep, the latest `lead` windows of which are to be kept."""
        self.full = False
        self._lead = lead
        self._writer = None
        self._at = self._n = 0  # of what waits in the ring
        self._waiting = []  # (bytes, index) of each entry, until begin()
        self.n_snapshots = 0

    def begin(self, writer):
        """Write from now on, what waits first."""
        self._writer = writer
        self._waiting = []

    def __len__(self):
        return self._n if self._writer is not None else 0

    def _takes(self, n):
        return self._writer is None or self._n + n + pack.ENTRY_SIZE <= RING

    def takes_records(self):
        """Return whether there is room for a packet of records and the gaps before it."""
        return self._takes(pack.PACKED_MOST + 4 * MOST_SHORT)

    def takes_long(self):
        """Return whether there is room for a snapshot, and another one is to be kept."""
        return self.n_snapshots < MOST_SNAPSHOTS and self._takes(wire.MAX_MESSAGE)

    def takes_replies(self):
        """Return whether there is room for short messages."""
        return self._takes(4 * MOST_SHORT)

    def add_records(self, message, n_records, index):
        """Keep a packet of `n_records` that stand in `message`."""
        self._keep(wire.RECORDS, index, message, n_records * wire.RECORD_SIZE)
        self._on_records(message, wire.HEADER_SIZE, n_records, index)

    def add_long(self, kind, message, n, index):
        """Keep `message[:n]`, a long message."""
        self.n_snapshots += 1
        self._keep(kind, index, message, n - wire.HEADER_SIZE)

    def add(self, kind, index, payload=b""):
        """Keep a short message; what answers a host is none of a sweep."""
        if kind == wire.SLOW:
            self._on_slow(payload)
        if kind not in (wire.REPLY, wire.HELLO, wire.STATUS):
            self._keep(kind, index, bytes(wire.HEADER_SIZE) + payload, len(payload))

    def _keep(self, kind, index, message, n):
        length = pack.pack_entry(self._entry, kind, index, message, wire.HEADER_SIZE, n, self._window)
        if self._writer is None:
            self._forget_old(length, index)
            self._waiting.append((length, index))
        first = (self._at + self._n) % RING
        part = min(length, RING - first)
        copy(self._view, first, self._entry, 0, part)
        copy(self._view, 0, self._entry, part, length - part)
        self._n += length

    def _forget_old(self, length, index):
        waiting = self._waiting
        while waiting and (self._n + length > RING or index - waiting[0][1] > self._lead):
            n = waiting.pop(0)[0]
            self._at = (self._at + n) % RING
            self._n -= n

    def write(self):
        """Write a few pages of what waits; return how many bytes it took."""
        return self.drain(PAGES_AT_ONCE)

    def drain(self, pages):
        """Write at most `pages` pages, in part the last one; return the bytes taken."""
        total = 0
        while pages and self._n and self._writer is not None and not self.full:
            n = min(self._n, ROOM, RING - self._at)
            try:
                pages -= self._writer.put(self._view, self._at, n)
            except Full:
                self.full = True
            self._at = (self._at + n) % RING
            self._n -= n
            total += n
        self.n_bytes += total
        return total

    def drop_stream(self):
        """Return 0: what was taken is kept."""
        return 0
