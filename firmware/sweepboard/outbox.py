"""What waits for the port: a bounded queue of frames, written only as far as the port takes them.

Frames leave in the order in which they came, and one that is partly written is finished before anything else.
Buffers for records and for long messages are allocated once. A frame is filled up with zeros to a multiple of
the port's `block` bytes: zeros between frames mean nothing (see wire.py), and a port that only tells that it
takes a whole block can then be written without ever waiting for it.
"""

import struct

from sweepboard import wire

try:
    from sweepboard.stuff_viper import stuff_into
except (ImportError, AttributeError, SyntaxError, ValueError):  # CPython, or a port without native code
    stuff_into = wire.stuff_into

RECORD_SLOTS = 32  # packets of records: about half a second
LONG_SLOTS = 2  # snapshots and histograms, up to wire.MAX_MESSAGE each
SHORT_MOST = 24  # replies, gaps, marks, status
MOST_AT_ONCE = 1472  # bytes in one cycle: two carry a long message, a packet of records and the reply behind
ROOM_FOR_REPLY = 4  # commands are read only while there is room for so many short messages


def _frame_size(message, block):
    size = wire.stuffed_size(message) + 2
    return -(-size // block) * block


class Outbox:
    """Frames on their way to `port`."""

    def __init__(self, port, record_slots=RECORD_SLOTS):
        self._port = port
        self._block = getattr(port, "block", 1)
        self._zeros = bytes(self._block)
        packet = wire.HEADER_SIZE + wire.RECORDS_PER_PACKET * wire.RECORD_SIZE + wire.CRC_SIZE
        self._record_slots = [bytearray(_frame_size(packet, self._block)) for _ in range(record_slots)]
        self._long_slots = [bytearray(_frame_size(wire.MAX_MESSAGE, self._block)) for _ in range(LONG_SLOTS)]
        self._queue = []  # [frame, length, pool that the frame goes back to or None, records in it]
        self._written = 0  # of the first frame
        self._n_short = 0
        self._sequence = 0
        self.n_bytes = 0  # ever written

    def __len__(self):
        """Return how many frames wait, a partly written one included."""
        return len(self._queue)

    def takes_records(self):
        """Return whether there is room for a packet of records and the gaps before it."""
        return bool(self._record_slots) and self._n_short <= SHORT_MOST - 2 * ROOM_FOR_REPLY

    def takes_long(self):
        """Return whether there is room for a long message."""
        return bool(self._long_slots)

    def holds_long(self):
        """Return whether a long message waits, which replies behind it have to wait for."""
        return len(self._long_slots) < LONG_SLOTS

    def takes_replies(self):
        """Return whether a command's answers would find room."""
        return self._n_short <= SHORT_MOST - ROOM_FOR_REPLY

    def head(self, message, kind, index):
        """Write a header into `message` and count it."""
        struct.pack_into(
            wire.HEADER_FORMAT, message, 0, kind, wire.PROTOCOL, self._sequence, index & 0xFFFFFFFF
        )
        self._sequence = (self._sequence + 1) & 0xFFFF

    def add_records(self, message, n_records, index):
        """Queue a packet of `n_records` that stand in `message`; takes_records() comes first."""
        n = wire.HEADER_SIZE + n_records * wire.RECORD_SIZE
        self._add(wire.RECORDS, message, n, index, self._record_slots, n_records)

    def add_long(self, kind, message, n, index):
        """Queue `message[:n]`, a long message; takes_long() comes first."""
        self._add(kind, message, n, index, self._long_slots)

    def _add(self, kind, message, n, index, pool, n_records=0):
        self.head(message, kind, index)
        slot = pool.pop()
        length = wire.finish_frame(slot, message, n, stuff_into)
        self._queue.append([slot, self._pad(slot, length), pool, n_records])

    def _pad(self, slot, length):
        n = -length % self._block
        if n:
            slot[length : length + n] = self._zeros[:n]
        return length + n

    def add(self, kind, index, payload=b""):
        """Queue a short message. The queue has room as long as takes_replies() was asked before."""
        n = wire.HEADER_SIZE + len(payload)
        message = bytearray(n + wire.CRC_SIZE)
        message[wire.HEADER_SIZE : n] = payload
        self.head(message, kind, index)
        frame = bytearray(_frame_size(n + wire.CRC_SIZE, self._block))
        length = wire.finish_frame(frame, message, n, stuff_into)
        self._queue.append([frame, self._pad(frame, length), None, 0])
        self._n_short += 1

    def write(self):
        """Write what the port takes now, a bounded part of what waits; return how many bytes it took.

        A host that reads on after a pause takes all at once, and the windows that come meanwhile must not wait.
        """
        total = 0
        while self._queue and total < MOST_AT_ONCE:
            frame, length, _pool, _n = self._queue[0]
            most = min(length - self._written, MOST_AT_ONCE - total)
            n = self._write_part(memoryview(frame), self._written, self._written + most)
            total += n
            self._written += n
            if self._written >= length:
                self._done()
            elif n < most:
                break
        self.n_bytes += total
        return total

    def _write_part(self, view, start, end):
        """Write view[start:end] as far as the port takes it; return how many bytes. It asks before each block."""
        writable, write = self._port.writable, self._port.write
        at = start
        while at < end:
            part = min(end - at, writable())
            if part <= 0:
                break
            n = write(view[at : at + part]) or 0
            at += n
            if n < part:
                break
        return at - start

    def _done(self):
        frame, _length, pool, _n = self._queue.pop(0)
        self._written = 0
        self._give_back(frame, pool)

    def _give_back(self, frame, pool):
        if pool is None:
            self._n_short -= 1
        else:
            pool.append(frame)

    def drop_stream(self):
        """Forget frames of records and long messages that are not begun yet; return how many records."""
        kept = []
        dropped = 0
        for i, entry in enumerate(self._queue):
            if entry[2] is None or (i == 0 and self._written):
                kept.append(entry)
            else:
                self._give_back(entry[0], entry[2])
                dropped += entry[3]
        self._queue = kept
        return dropped
