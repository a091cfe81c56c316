"""Time our decoder beside a plain one, in one run, on one core.

The plain decoder is made of the PyPI package `cobs` (its C extension) and `struct`: split at zeros, unstuff,
check the CRC-32, and unpack each record with one precompiled `struct.Struct`. Both get the same bytes:
RECORDS frames of the shipped size, from a smooth sweep with converter noise.

Run: python tests/benchmarks/decoder_bench.py
"""

from __future__ import annotations

import argparse
import struct
import time
import zlib
from collections.abc import Callable

import numpy as np
from cobs import cobs

from sweepboard import wire
from sweeprig.link.decoder import Decoder
from sweeprig.link.messages import Records

RECORD = struct.Struct(wire.RECORD_FORMAT)
PIECES = (4096, 65536, 1 << 20)  # what a live port gives comes first, then larger reads and a journal
HEADER = struct.Struct(wire.HEADER_FORMAT)


def stream(n_packets: int, per_packet: int, seed: int = 1) -> bytes:
    """Return frames of a noisy sweep, `per_packet` records in each."""
    rng = np.random.default_rng(seed)
    n = n_packets * per_packet
    level = 2000 + 1400 * np.sin(np.arange(n) / 800)
    out = bytearray()
    payload = bytearray()
    for i in range(n):
        fields: list[int] = []
        for mean in (level[i], level[i] / 2, 3700.0):
            low, high = sorted(int(v) for v in rng.normal(mean, 2, 2))
            fields += [int(wire.WINDOW * mean) + int(rng.integers(-50, 50)), low, high]
        payload += RECORD.pack(*fields, wire.NO_POSITION, wire.FLAG_SUPPLY_ON | wire.FLAG_BURDEN_ON)
        if (i + 1) % per_packet == 0:
            at = i + 1 - per_packet
            body = HEADER.pack(wire.RECORDS, wire.PROTOCOL, (at // per_packet) & 0xFFFF, at) + payload
            body += struct.pack("<I", zlib.crc32(body))
            out += b"\0" + cobs.encode(body) + b"\0"
            payload.clear()
    return bytes(out)


def plain(data: bytes, piece: int) -> int:
    """Decode record by record; return the number of records."""
    records: list[tuple[int, ...]] = []
    rest = b""
    for at in range(0, len(data), piece):
        *runs, rest = (rest + data[at : at + piece]).split(b"\0")
        for run in runs:
            if not run:
                continue
            message = cobs.decode(run)
            if zlib.crc32(message[:-4]) != int.from_bytes(message[-4:], "little"):
                continue
            kind, _, _, index = HEADER.unpack_from(message)
            if kind != wire.RECORDS:
                continue
            for start in range(wire.HEADER_SIZE, len(message) - 4, wire.RECORD_SIZE):
                records.append((index, *RECORD.unpack_from(message, start)))
                index += 1
    return len(records)


def ours(data: bytes, piece: int) -> int:
    """Decode with the package; return the number of records."""
    decoder = Decoder()
    n = 0
    for at in range(0, len(data), piece):
        n += sum(len(e) for e in decoder.feed(data[at : at + piece]) if isinstance(e, Records))
    return n


def best_mb_per_s(decode: Callable[[bytes, int], int], data: bytes, piece: int, rounds: int) -> float:
    """Return the fastest of some rounds [MB/s of bytes on the wire]."""
    best = float("inf")
    for _ in range(rounds):
        before = time.perf_counter()
        decode(data, piece)
        best = min(best, time.perf_counter() - before)
    return len(data) / best / 1e6


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description="Decoder throughput beside a plain cobs + struct decoder")
    parser.add_argument("--packets", type=int, default=8000)
    parser.add_argument("--rounds", type=int, default=7)
    args = parser.parse_args()
    data = stream(args.packets, wire.RECORDS_PER_PACKET)
    n = args.packets * wire.RECORDS_PER_PACKET
    print(
        f"{len(data) / 1e6:.2f} MB, {n} records, {wire.RECORDS_PER_PACKET} each; best of {args.rounds} rounds"
    )
    print(
        "plain: cobs (C extension) + zlib.crc32 + struct.Struct.unpack_from per record, into a list of tuples"
    )
    print("ours:  sweeprig.link.decoder.Decoder, into arrays")
    for piece in PIECES:
        assert plain(data, piece) == ours(data, piece) == n
        slow = best_mb_per_s(plain, data, piece, args.rounds)
        fast = best_mb_per_s(ours, data, piece, args.rounds)
        print(f"pieces of {piece:>7}: plain {slow:5.1f} MB/s, ours {fast:5.1f} MB/s, ratio {fast / slow:.1f}")


if __name__ == "__main__":
    main()
