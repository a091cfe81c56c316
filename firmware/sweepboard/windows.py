"""Reduction of interleaved conversions to sum, min and max of each channel.

`reduce_into(codes, start, channels, count, out, at)` reads `channels * count` conversions from the u16 buffer
`codes` (an array or memoryview of type "H"), beginning at item `start` with channel 0, and writes for each channel
wire.CHANNEL_FIELDS into `out` from byte `at`. Only the lower 12 bits count.
It returns all the conversions OR-ed together: a bit above the twelfth says that the converter marked one as bad.

Three ways to the same numbers: in viper on a MicroPython that has it, with builtins on CPython, and one plain loop
that the other two are checked against.
"""

import struct

from sweepboard.wire import CHANNEL_FORMAT, CHANNEL_SIZE, CODE_MASK, RECORD_SIZE


def reduce_plain(codes, start, channels, count, out, at):
    """Reduce with one plain loop: the reference, and what a port without native code runs."""
    seen = 0
    end = start + channels * count
    for channel in range(channels):
        total = 0
        low = CODE_MASK
        high = 0
        i = start + channel
        while i < end:
            code = codes[i]
            seen |= code
            code &= CODE_MASK
            total += code
            low = min(low, code)
            high = max(high, code)
            i += channels
        struct.pack_into(CHANNEL_FORMAT, out, at + CHANNEL_SIZE * channel, total, low, high)
    return seen


def reduce_builtin(codes, start, channels, count, out, at):
    """Reduce with the builtins of CPython, about 10 times as fast as the loop there."""
    window = codes[start : start + channels * count].tolist()
    seen = 0
    if max(window) > CODE_MASK:
        for code in window:
            seen |= code
        window = [code & CODE_MASK for code in window]
    for channel in range(channels):
        part = window[channel::channels]
        struct.pack_into(CHANNEL_FORMAT, out, at + CHANNEL_SIZE * channel, sum(part), min(part), max(part))
    return seen


def mean_code(out, at, channel, count):
    """Return the mean code of one channel of a reduced window."""
    return struct.unpack_from(CHANNEL_FORMAT, out, at + CHANNEL_SIZE * channel)[0] // count


def count_plain(codes, start, channels, channel, count, counts):
    """Add the `count` conversions of one channel to `counts` (4096 items)."""
    i = start + channel
    for _ in range(count):
        counts[codes[i] & CODE_MASK] += 1
        i += channels


def copy_plain(codes, start, n, out, at):
    """Copy `n` conversions into `out`, bytes or an array, u16 each from the one of number `at`; error bits removed."""
    for i in range(n):
        struct.pack_into("<H", out, 2 * (at + i), codes[start + i] & CODE_MASK)


def farthest_plain(codes, start, channels, channel, count, reference):
    """Return the place in the window of the first conversion of `channel` that is farthest from `reference`."""
    best = -1
    where = channel
    i = channel
    for _ in range(count):
        away = abs((codes[start + i] & CODE_MASK) - reference)
        if away > best:
            best = away
            where = i
        i += channels
    return where


def unusual_plain(out, at, channels, count, last, spread, jump, n):
    """Return window * channels + channel of the first unusual channel in `n` records, or -1; put its sums into `last`.

    Unusual: max - min above `spread`, or a mean that is more than `jump` codes from that of the window before,
    whose sums stand in `last` (array "I"). 0 switches a test off. Windows after the first with one are not looked at.
    """
    found = -1
    for window in range(n):
        for channel in range(channels):
            total, low, high = struct.unpack_from(CHANNEL_FORMAT, out, at + CHANNEL_SIZE * channel)
            away = abs(total - last[channel])
            last[channel] = total
            if found < 0 and ((spread and high - low > spread) or (jump and away > jump * count)):
                found = window * channels + channel
        if found >= 0:
            break
        at += RECORD_SIZE
    return found


try:
    from sweepboard.windows_viper import copy_codes, count_into, farthest, reduce_into, unusual
except (ImportError, AttributeError, SyntaxError, ValueError):  # CPython, or a port without native code
    copy_codes = copy_plain
    count_into = count_plain
    farthest = farthest_plain
    unusual = unusual_plain
    reduce_into = reduce_builtin if hasattr(memoryview, "tolist") else reduce_plain
