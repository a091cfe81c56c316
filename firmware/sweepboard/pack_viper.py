"""The two loops of pack.py in viper, for MicroPython with native code. The bytes are the same; nothing is allocated.

Viper reads no constant of another module: the places of a record stand here once more, and the tests compare. Records
begin at an even address.
"""

import micropython


@micropython.viper
def pack_places(out: ptr8, at: int, data: ptr16, start: int, n: int) -> int:  # noqa: F821
    """See pack.places_plain."""
    pos = int(at) + 1
    place = (start >> 1) + 12
    stop = place + 14 * n
    runs = 0
    position = flags = 0
    while place < stop:
        if runs > 0 and int(data[place]) == position and int(data[place + 1]) == flags:
            out[pos - 5] = int(out[pos - 5]) + 1
        else:
            runs += 1
            position = int(data[place])
            flags = int(data[place + 1])
            out[pos] = 1
            out[pos + 1] = position
            out[pos + 2] = position >> 8
            out[pos + 3] = flags
            out[pos + 4] = flags >> 8
            pos += 5
        place += 14
    out[at] = runs
    return pos


@micropython.viper
def pack_channel(out: ptr8, at: int, data: ptr16, place: int, before: int, window: int) -> int:  # noqa: F821
    """See pack.channel_plain; `place` and `before` count pairs of bytes, `before` below 0: there is none."""
    pos = int(at)
    total = int(data[place]) | int(data[place + 1]) << 16
    value = total
    if before >= 0:
        value = total - (int(data[before]) | int(data[before + 1]) << 16)
    value = (value << 1) ^ (0 - ((value >> 31) & 1))
    rest = (value >> 7) & 0x1FFFFFF  # of 32 bits, however wide the processor's own numbers are
    while rest:
        out[pos] = value & 127 | 128
        pos += 1
        value = rest
        rest = value >> 7
    out[pos] = value & 127
    low = int(data[place + 2])
    high = int(data[place + 3])
    mean = (total & 0x3FFFFFFF) // window
    below = mean - low
    above = high - mean
    if below < 0 or below > 14:
        below = 15
    if above < 0 or above > 14:
        above = 15
    out[pos + 1] = below << 4 | above
    pos += 2
    if below == 15:
        out[pos] = low
        out[pos + 1] = low >> 8
        pos += 2
    if above == 15:
        out[pos] = high
        out[pos + 1] = high >> 8
        pos += 2
    return pos


@micropython.native
def pack_into(out, at, data, start, n, window):
    """See pack.pack_plain."""
    out[at] = n
    at = pack_places(out, at + 1, data, start, n)
    place = start >> 1
    before = -14
    for _ in range(n):
        at = pack_channel(out, at, data, place, before, window)
        at = pack_channel(out, at, data, place + 4, before + 4 if before >= 0 else -1, window)
        at = pack_channel(out, at, data, place + 8, before + 8 if before >= 0 else -1, window)
        before = place
        place += 14
    return at
