"""Undo the stuffing of many frames at once, with numpy.

COBS: Cheshire and Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Transactions on Networking 7(2), 1999.
A stuffed run holds no zero; its first byte says how far the next code byte is, and so on to the end. All
runs of a chunk follow their chains together, one step of every run at a time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

ByteArray = NDArray[np.uint8]
IndexArray = NDArray[np.intp]

_STEPS_BETWEEN_SORTINGS = (
    64  # steps taken before the runs that have ended are left aside; only speed hangs on it
)
_FEW_RUNS = (
    100  # below this the chains are followed one by one, which is then quicker; only speed hangs on it
)


@dataclass(frozen=True)
class Unstuffed:
    """The bytes of a chunk with the code bytes of its runs put back to zeros.

    The message of run i is `data[starts[i] + 1 : ends[i]]` where `good[i]` and not `long_code[i]`.
    """

    data: ByteArray  # (n,) copy of the chunk
    good: NDArray[np.bool_]  # (runs,) the chain of codes ends exactly at the end of the run
    long_code: NDArray[
        np.bool_
    ]  # (runs,) a code 0xFF stands in it: no zero follows, so the byte must come out


def unstuff_runs(chunk: ByteArray, starts: IndexArray, ends: IndexArray) -> Unstuffed:
    """Follow the code chains of all runs at once.

    `chunk` (n,) bytes; run i is `chunk[starts[i]:ends[i]]`, holds no zero, and `chunk[ends[i]]` is a zero.
    """
    if starts.size < _FEW_RUNS:
        return _one_by_one(chunk, starts, ends)
    data = chunk.copy()
    place = starts.copy()
    highest = np.zeros(starts.size, np.uint8)
    going: IndexArray = np.arange(starts.size)
    while going.size:
        here, high = place[going], highest[going]
        more = _walk(chunk, data, here, ends[going], high)
        place[going], highest[going] = here, high
        going = going[more]
    return Unstuffed(data, place == ends, highest == 0xFF)


def _walk(
    chunk: ByteArray, data: ByteArray, place: IndexArray, ends: IndexArray, highest: ByteArray
) -> NDArray[np.bool_]:
    """Take a number of steps in place; return which runs have not ended yet.

    The zero behind each run is the code that takes no step. A chain that points beyond its run stays there,
    so that it is found out, while the byte looked at never lies beyond that zero.
    """
    look = np.minimum(place, ends)
    code = chunk.take(look)
    for _ in range(_STEPS_BETWEEN_SORTINGS):
        np.maximum(highest, code, out=highest)
        np.add(place, code, out=place)
        np.minimum(place, ends, out=look)
        data[look] = 0
        chunk.take(look, out=code, mode="clip")
        if not code.any():
            break
    more: NDArray[np.bool_] = code != 0
    return more


def _one_by_one(chunk: ByteArray, starts: IndexArray, ends: IndexArray) -> Unstuffed:
    """Do the same for a few runs, where the overhead of numpy for each step would rule."""
    data = bytearray(chunk)
    good = np.zeros(starts.size, np.bool_)
    long_code = np.zeros(starts.size, np.bool_)
    for i, (start, end) in enumerate(zip(starts.tolist(), ends.tolist(), strict=True)):
        at, highest = start, 0
        while at < end:
            code = data[at]
            data[at] = 0
            at += code
            highest = max(highest, code)
        good[i] = at == end
        long_code[i] = highest == 0xFF
    return Unstuffed(np.frombuffer(data, np.uint8), good, long_code)
