"""One frame of the wire, opened; the unstuffing is that of the PyPI package `cobs`, in C where it has its extension."""

from __future__ import annotations

import struct
import zlib

import numpy as np
from cobs import cobs
from numpy.typing import NDArray

from sweepboard import wire

CRC_RESIDUE = 0x2144DF1C  # CRC-32 of any message with its own CRC behind it, little-endian (ISO 3309)
MIN_MESSAGE = wire.HEADER_SIZE + wire.CRC_SIZE
MAX_RUN = wire.stuffed_size(wire.MAX_MESSAGE)
PAYLOAD = slice(wire.HEADER_SIZE, -wire.CRC_SIZE)  # of a message
HEADER = struct.Struct(wire.HEADER_FORMAT)  # kind, protocol, sequence, index


def opened(run: bytes) -> bytes | None:
    """Return the message in what stood between two zeros, CRC included, or None where it is none."""
    if len(run) > MAX_RUN:
        return None
    try:
        message: bytes = cobs.decode(run)
    except cobs.DecodeError:
        return None
    fits = MIN_MESSAGE <= len(message) <= wire.MAX_MESSAGE
    return message if fits and zlib.crc32(message) == CRC_RESIDUE else None


def fault(run: bytes) -> str:
    """Return why a run holds no message: stuffing, crc or length."""
    if len(run) > MAX_RUN:
        return "length"
    try:
        n_bytes = len(cobs.decode(run))
    except cobs.DecodeError:
        return "stuffing"
    return "crc" if MIN_MESSAGE <= n_bytes <= wire.MAX_MESSAGE else "length"


def holds_records(message: bytes, protocol: int) -> bool:
    """Return whether these are whole records, one at least."""
    n_bytes = len(message) - MIN_MESSAGE
    return message[0] == wire.RECORDS and message[1] == protocol and n_bytes > 0 == n_bytes % wire.RECORD_SIZE


def record_index(messages: list[bytes], first: list[int]) -> NDArray[np.int64]:
    """Return the index of every record in messages of records that begin at `first`."""
    counts = [(len(message) - MIN_MESSAGE) // wire.RECORD_SIZE for message in messages]
    ends = [at + n for at, n in zip(first, counts, strict=True)]
    if first[1:] == ends[:-1]:  # nothing is missing, twice or in another order
        return np.arange(first[0], ends[-1])
    return np.concatenate([np.arange(*bounds) for bounds in zip(first, ends, strict=True)])
