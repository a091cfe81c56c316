"""Messages of a stream in fewer bytes, without loss: what is kept on the board, and what the host unpacks.

    entry = u8 kind | u16 length of the body | u32 record index | body

The body of RECORDS is packed: u8 records, then runs of the same place, then the records; 0x80 in the first byte: as
on the wire. Every other kind keeps its payload.

    places  = u8 runs | runs x ( u8 records, u16 position, u16 flags )
    record  = 3 x ( varint of the sum's difference | u8 offsets | u16 lowest where escaped | u16 highest where escaped )

The difference is to the record before, of the first record to 0, modulo 2**32, and folded: 0, -1, 1, -2 ... are
0, 1, 2, 3 ... A varint has 7 bits in a byte, the lowest first, and 0x80 where more follow. The offsets are mean -
lowest (upper four bits) and highest - mean, where mean = (sum & 0x3FFFFFFF) // window; 15 says that the value itself
follows.
Each packet stands by itself: one that is damaged takes no other with it.
"""

import struct

from sweepboard import wire

ENTRY_FORMAT = "<BHI"
ENTRY_SIZE = 7
AS_IT_IS = 0x80
ESCAPE = 15
MOST_RUNS = wire.RECORDS_PER_PACKET
# runs, and for each record three sums of 5 bytes, offsets and both values
PACKED_MOST = 2 + 5 * MOST_RUNS + wire.RECORDS_PER_PACKET * wire.CHANNELS * 10


def pack_plain(out, at, data, start, n, window):
    """Write the packed form of `n` records, at `data[start:]`, into `out` from `at`; return the place after it."""
    out[at] = n
    at = places_plain(out, at + 1, data, start, n)
    before = bytes(wire.RECORD_SIZE)
    for i in range(n):
        place = start + wire.RECORD_SIZE * i
        record = bytes(data[place : place + wire.RECORD_SIZE])
        for channel in range(wire.CHANNELS):
            at = channel_plain(out, at, record, before, wire.CHANNEL_SIZE * channel, window)
        before = record
    return at


def places_plain(out, at, data, start, n):
    """Write the places of `n` records; return the place after them."""
    runs_at = at
    out[runs_at] = 0
    at += 1
    last = None
    for i in range(n):
        place = start + wire.RECORD_SIZE * i + wire.PLACE_AT
        here = bytes(data[place : place + 4])
        if here == last:
            out[at - 5] += 1
            continue
        last = here
        out[runs_at] += 1
        out[at] = 1
        out[at + 1 : at + 5] = here
        at += 5
    return at


def channel_plain(out, at, record, before, place, window):
    """Write one channel of a record; return the place after it."""
    total, low, high = struct.unpack_from(wire.CHANNEL_FORMAT, record, place)
    was = struct.unpack_from(wire.CHANNEL_FORMAT, before, place)[0]
    at = _varint(out, at, _folded(total - was))
    return _extremes(out, at, (total & 0x3FFFFFFF) // window, low, high)


def _folded(difference):
    difference = (difference + 0x80000000 & 0xFFFFFFFF) - 0x80000000
    return (difference << 1) & 0xFFFFFFFF if difference >= 0 else (-difference << 1) - 1


def _varint(out, at, value):
    while value > 127:
        out[at] = value & 127 | 128
        at += 1
        value >>= 7
    out[at] = value
    return at + 1


def _extremes(out, at, mean, low, high):
    below = mean - low if 0 <= mean - low < ESCAPE else ESCAPE
    above = high - mean if 0 <= high - mean < ESCAPE else ESCAPE
    out[at] = below << 4 | above
    at += 1
    for offset, value in ((below, low), (above, high)):
        if offset == ESCAPE:
            struct.pack_into("<H", out, at, value)
            at += 2
    return at


class Unpacked:
    """Reads what pack_into wrote. ValueError where the bytes are not that."""

    def __init__(self, data, window):
        self._data = data
        self._window = window
        self._at = 0

    def records(self):
        """Return the records as on the wire."""
        n = self._byte()
        if n & AS_IT_IS:
            return self._rest(n & ~AS_IT_IS)
        places = self._runs(n)
        out = bytearray(n * wire.RECORD_SIZE)
        before = [0] * wire.CHANNELS
        for i in range(n):
            for channel in range(wire.CHANNELS):
                at = wire.RECORD_SIZE * i + wire.CHANNEL_SIZE * channel
                self._channel(out, at, before, channel)
            at = wire.RECORD_SIZE * i + wire.PLACE_AT
            out[at : at + 4] = places[i]
        if self._at != len(self._data):
            raise ValueError("%d bytes behind the records" % (len(self._data) - self._at))
        return bytes(out)

    def _rest(self, n):
        found = bytes(self._data[self._at :])
        if len(found) != n * wire.RECORD_SIZE:
            raise ValueError("%d bytes, not %d records" % (len(found), n))
        return found

    def _byte(self):
        if self._at >= len(self._data):
            raise ValueError("the packed records end too early")
        value = self._data[self._at]
        self._at += 1
        return value

    def _word(self):
        return self._byte() | self._byte() << 8

    def _runs(self, n):
        places = []
        for _ in range(self._byte()):
            length = self._byte()
            places += [bytes(self._byte() for _ in range(4))] * length
        if len(places) != n:
            raise ValueError("places of %d records, not of %d" % (len(places), n))
        return places

    def _channel(self, out, at, before, channel):
        folded = self._number()
        difference = folded >> 1 if not folded & 1 else -((folded + 1) >> 1)
        total = before[channel] = before[channel] + difference & 0xFFFFFFFF
        mean = (total & 0x3FFFFFFF) // self._window
        offsets = self._byte()
        low = self._word() if offsets >> 4 == ESCAPE else mean - (offsets >> 4)
        high = self._word() if offsets & 15 == ESCAPE else mean + (offsets & 15)
        if low < 0 or high > 0xFFFF:
            raise ValueError("lowest %d or highest %d is no code" % (low, high))
        struct.pack_into(wire.CHANNEL_FORMAT, out, at, total, low, high)

    def _number(self):
        value = shift = 0
        while True:
            byte = self._byte()
            value |= (byte & 127) << shift
            shift += 7
            if byte < 128:
                break
            if shift > 28:
                raise ValueError("a number of more than five bytes")
        if value > 0xFFFFFFFF:
            raise ValueError("a number of more than 32 bits")
        return value


def pack_entry(out, kind, index, message, at, n, window):
    """Write one entry into `out`, its payload being message[at : at + n]; return its length."""
    end = ENTRY_SIZE
    if kind == wire.RECORDS:
        count = n // wire.RECORD_SIZE
        end = pack_into(out, ENTRY_SIZE, message, at, count, window)
        if end - ENTRY_SIZE > n:
            out[ENTRY_SIZE] = count | AS_IT_IS
            out[ENTRY_SIZE + 1 : ENTRY_SIZE + 1 + n] = message[at : at + n]
            end = ENTRY_SIZE + 1 + n
    else:
        out[ENTRY_SIZE : ENTRY_SIZE + n] = message[at : at + n]
        end = ENTRY_SIZE + n
    struct.pack_into(ENTRY_FORMAT, out, 0, kind, end - ENTRY_SIZE, index & 0xFFFFFFFF)
    return end


def entries(data, window):
    """Yield (kind, index, payload) of the whole entries in `data`; ValueError where one is not what it says."""
    at = 0
    while at + ENTRY_SIZE <= len(data):
        kind, length, index = struct.unpack_from(ENTRY_FORMAT, data, at)
        at += ENTRY_SIZE
        if at + length > len(data):
            return
        body = data[at : at + length]
        at += length
        yield kind, index, Unpacked(body, window).records() if kind == wire.RECORDS else bytes(body)


try:
    from sweepboard.pack_viper import pack_into
except (ImportError, AttributeError, SyntaxError, ValueError):  # CPython, or a port without native code
    pack_into = pack_plain
