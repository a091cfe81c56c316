"""The loops of windows.py in viper, for MicroPython with native code. Numbers are the same; nothing is allocated.

Viper reads no tuple of another module: the places of wire.CHANNEL_FIELDS stand here once more, and the tests compare.
"""

import micropython

# ruff: noqa: PLR1730  (viper has no min() of its own integers)


@micropython.viper
def reduce_into(codes: ptr16, start: int, channels: int, count: int, out: ptr8, at: int) -> int:  # noqa: F821
    """See windows.reduce_plain."""
    seen = 0
    stop = start + channels * count
    place = int(at)
    channel = 0
    while channel < channels:
        total = 0
        low = 4095
        high = 0
        i = start + channel
        while i < stop:
            code = int(codes[i])
            seen |= code
            code &= 4095
            total += code
            if code < low:
                low = code
            if code > high:
                high = code
            i += channels
        out[place] = total
        out[place + 1] = total >> 8
        out[place + 2] = total >> 16
        out[place + 3] = total >> 24
        out[place + 4] = low
        out[place + 5] = low >> 8
        out[place + 6] = high
        out[place + 7] = high >> 8
        place += 8
        channel += 1
    return seen


@micropython.viper
def count_into(codes: ptr16, start: int, channels: int, channel: int, count: int, counts: ptr32):  # noqa: F821
    """See windows.count_plain."""
    i = start + channel
    stop = i + channels * count
    while i < stop:
        code = int(codes[i]) & 4095
        counts[code] = int(counts[code]) + 1
        i += channels


@micropython.viper
def copy_codes(codes: ptr16, start: int, n: int, out: ptr16, at: int):  # noqa: F821
    """See windows.copy_plain."""
    i = 0
    while i < n:
        out[at + i] = int(codes[start + i]) & 4095
        i += 1


@micropython.viper
def farthest(codes: ptr16, start: int, channels: int, channel: int, count: int, reference: int) -> int:  # noqa: F821
    """See windows.farthest_plain."""
    best = -1
    where = int(channel)
    i = int(channel)
    stop = channel + channels * count
    while i < stop:
        away = (int(codes[start + i]) & 4095) - reference
        if away < 0:
            away = 0 - away
        if away > best:
            best = away
            where = i
        i += channels
    return where


@micropython.viper
def unusual(out: ptr8, at: int, channels: int, size: int, last: ptr32, spread: int, jump: int, n: int) -> int:  # noqa: F821
    """See windows.unusual_plain."""
    found = -1
    place = int(at)
    rest = 28 - 8 * channels  # wire.RECORD_SIZE
    window = 0
    while window < n and found < 0:
        channel = 0
        while channel < channels:
            total = int(out[place]) | int(out[place + 1]) << 8 | int(out[place + 2]) << 16
            wide = (int(out[place + 6]) | int(out[place + 7]) << 8) - (
                int(out[place + 4]) | int(out[place + 5]) << 8
            )
            away = total - int(last[channel])
            if away < 0:
                away = 0 - away
            last[channel] = total
            if found < 0 and ((spread > 0 and wide > spread) or (jump > 0 and away > jump * size)):
                found = window * channels + channel
            place += 8
            channel += 1
        place += rest
        window += 1
    return found
