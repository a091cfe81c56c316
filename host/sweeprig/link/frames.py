"""One frame of the wire, opened. COBS decoding is that of the PyPI package `cobs`, in C where it has its extension."""

from __future__ import annotations

import struct
import zlib

import numpy as np
from cobs import cobs
from numpy.typing import NDArray

from sweepboard import wire

CRC_RESIDUE = 0x2144DF1C  # CRC-32 of any packet with its own CRC behind it, little-endian (ISO 3309)
MIN_MESSAGE = wire.HEADER_SIZE + wire.CRC_SIZE
MAX_RUN = wire.stuffed_size(wire.MAX_MESSAGE)
PAYLOAD = slice(wire.HEADER_SIZE, -wire.CRC_SIZE)  # of a packet
HEADER = struct.Struct(wire.HEADER_FORMAT)  # kind, protocol, sequence, index


def opened(run: bytes) -> bytes | None:
    """Return the packet in a run (the bytes between two zeros), CRC included, or None where it holds none."""
    if len(run) > MAX_RUN:
        return None
    try:
        packet: bytes = cobs.decode(run)
    except cobs.DecodeError:
        return None
    fits = MIN_MESSAGE <= len(packet) <= wire.MAX_MESSAGE
    return packet if fits and zlib.crc32(packet) == CRC_RESIDUE else None


def fault(run: bytes) -> str:
    """Return why a run holds no packet: stuffing, crc or length."""
    if len(run) > MAX_RUN:
        return "length"
    try:
        n_bytes = len(cobs.decode(run))
    except cobs.DecodeError:
        return "stuffing"
    return "crc" if MIN_MESSAGE <= n_bytes <= wire.MAX_MESSAGE else "length"


def holds_records(packet: bytes, protocol: int) -> bool:
    """Return whether a packet holds nothing but whole records, at least one."""
    n_bytes = len(packet) - MIN_MESSAGE
    return packet[0] == wire.RECORDS and packet[1] == protocol and n_bytes > 0 == n_bytes % wire.RECORD_SIZE


def record_index(packets: list[bytes], first: list[int]) -> NDArray[np.int64]:
    """Return the index of every record in packets of records whose first indices are `first`."""
    counts = [(len(packet) - MIN_MESSAGE) // wire.RECORD_SIZE for packet in packets]
    ends = [at + n for at, n in zip(first, counts, strict=True)]
    if first[1:] == ends[:-1]:  # nothing is missing, twice or in another order
        return np.arange(first[0], ends[-1])
    return np.concatenate([np.arange(*bounds) for bounds in zip(first, ends, strict=True)])
