"""The loops of keep_sums.py in viper, for MicroPython with native code. Numbers are the same; nothing is allocated.

Viper reads no constant of another module: the places of a record stand here once more, and the tests compare.
"""

import micropython


@micropython.viper
def put(out: ptr32, have: int, message: ptr8, at: int, n: int) -> int:  # noqa: F821
    """See keep_sums.put_plain."""
    place = int(at)
    to = int(have)
    stop = to + n
    while to < stop:
        out[to] = int(message[place]) | int(message[place + 1]) << 8 | int(message[place + 2]) << 16
        to += 1
        place += 28
    return to


@micropython.viper
def middle(values: ptr32) -> int:  # noqa: F821
    """See keep_sums.middle_plain; the values are sorted where they stand."""
    i = 1
    while i < 20:
        value = int(values[i])
        k = i - 1
        while k >= 0 and int(values[k]) > value:
            values[k + 1] = int(values[k])
            k -= 1
        values[k + 1] = value
        i += 1
    return int(values[9]) + int(values[10])


@micropython.viper
def overload(state: ptr32, message: ptr8, at: int, n: int, short: int, settle: int, look: int) -> int:  # noqa: F821
    """See keep_sums.overload_plain."""
    place = int(at)
    stop = place + 28 * n
    row = int(state[0])
    fed = int(state[1])
    found = 0
    while place < stop and found == 0:
        flags = int(message[place + 26])
        bad = flags & 16
        if flags & 8:
            fed += 1
            total = int(message[place + 16]) | int(message[place + 17]) << 8 | int(message[place + 18]) << 16
            if total < short:
                bad = 1
        if bad:
            row += 1
            if row >= settle or (fed > settle and fed <= settle + look):
                found = 1
        else:
            row = 0
        place += 28
    state[0] = row
    state[1] = fed
    return found


@micropython.viper
def copy(out: ptr8, to: int, data: ptr8, at: int, n: int):  # noqa: F821
    """See keep_sums.copy_plain."""
    i = 0
    while i < n:
        out[to + i] = data[at + i]
        i += 1
