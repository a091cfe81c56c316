"""The loops over what is being kept: sums of signal A, an overloaded supply, bytes from one buffer to another.

A garbage collection takes as long as the converter's buffers last, so nothing in here allocates on a board. The same in
viper: keep_sums_viper.py.
"""

from array import array

from sweepboard import wire

SUPPLY_AT = wire.CHANNEL_SIZE * wire.SUPPLY
FLAGS_AT = wire.PLACE_AT + 2


STEP = 20  # windows whose median is one level: a short dropout does not show in it


def sums():
    """Return room for the sums of one level and what put_plain needs beside them."""
    return array("I", bytes(4 * STEP))


def put_plain(out, have, message, at, n):
    """Put the sums of signal A of the `n` records from `message[at]` on into `out`, behind `have` of them."""
    for i in range(n):
        place = at + wire.RECORD_SIZE * i
        out[have + i] = message[place] | message[place + 1] << 8 | message[place + 2] << 16
    return have + n


def middle_plain(values):
    """Return the sum of the two middle ones of STEP values."""
    found = sorted(values)
    return found[STEP // 2 - 1] + found[STEP // 2]


def overload_plain(state, message, at, n, short, settle, look):
    """Return 1 where `n` records show an overload, else 0; `state` holds windows that were bad in a row and fed so far.

    Bad: a fault, or with the supply on a sum of its channel below `short`. Overload: `settle` of them in a row, or one
    among the `look` windows behind the first `settle` that are fed.
    """
    for i in range(n):
        place = at + wire.RECORD_SIZE * i
        flags = message[place + FLAGS_AT]
        total = 0
        for k in (2, 1, 0):
            total = total << 8 | message[place + SUPPLY_AT + k]
        on = flags & wire.FLAG_SUPPLY_ON
        bad = (on and total < short) or flags & wire.FLAG_SUPPLY_FAULT
        state[1] += bool(on)
        state[0] = state[0] + 1 if bad else 0
        if state[0] >= settle or (bad and settle < state[1] <= settle + look):
            return 1
    return 0


def copy_plain(out, to, data, at, n):
    """Copy `n` bytes."""
    out[to : to + n] = data[at : at + n]


try:
    from sweepboard.keep_sums_viper import copy, middle, overload, put
except (ImportError, AttributeError, SyntaxError, ValueError):  # CPython, or a port without native code
    copy, middle, overload, put = copy_plain, middle_plain, overload_plain, put_plain
