"""Write wire_vectors.json with the PyPI packages `cobs` and `crccheck`, not with our own code.

Run `python tests/vectors/make_vectors.py` when the wire changes on purpose, and say so in CHANGELOG.md.
"""

from __future__ import annotations

import json
import struct
from pathlib import Path
from typing import Any

from cobs import cobs
from crccheck.crc import Crc32

PROTOCOL = 1


def frame(kind: int, sequence: int, index: int, payload: bytes) -> bytes:
    """Return one frame built from the reference libraries alone."""
    message = struct.pack("<BBHI", kind, PROTOCOL, sequence, index) + payload
    message += struct.pack("<I", Crc32.calc(message))
    return b"\x00" + cobs.encode(message) + b"\x00"


def record(sums: list[int], lows: list[int], highs: list[int], position: int, flags: int) -> bytes:
    """Return one 28-byte record."""
    fields = [v for triple in zip(sums, lows, highs, strict=True) for v in triple]
    return struct.pack("<IHHIHHIHHHH", *fields, position, flags)


def messages() -> list[dict[str, Any]]:
    """Return the named messages with their fields and payloads."""
    two = record([83000, 0, 679770], [490, 0, 4090], [510, 0, 4095], 0xFFFF, 0x0008)
    two += record([100000, 41500, 622500], [0, 249, 3749], [4095, 251, 3751], 2048, 0x0001)
    ramp = b"".join(
        record([i * 166, 679770 - i * 166, 332000], [i, 4095 - i, 1999], [i + 1, 4095, 2001], i, i & 0xFF)
        for i in range(16)
    )
    return [
        {"name": "hello", "kind": 0x01, "sequence": 0, "index": 0, "payload": b'{"protocol":1}'},
        {"name": "reply", "kind": 0x02, "sequence": 1, "index": 0, "payload": b'{"id":7,"ok":true}'},
        {"name": "two_records", "kind": 0x10, "sequence": 258, "index": 65536, "payload": two},
        {"name": "sixteen_records", "kind": 0x10, "sequence": 65535, "index": 4294967280, "payload": ramp},
        {"name": "empty_payload", "kind": 0x81, "sequence": 3, "index": 9, "payload": b""},
        {
            "name": "slow",
            "kind": 0x11,
            "sequence": 4,
            "index": 500,
            "payload": struct.pack("<BBHiBBHi", 3, 0, 0, 3_000_123, 6, 0, 0, -5250),
        },
        {
            "name": "snapshot",
            "kind": 0x12,
            "sequence": 5,
            "index": 12345,
            "payload": struct.pack("<HHBBH", 400, 30, 3, 0, 300)
            + struct.pack("<300H", *[(7 * i) % 4096 for i in range(300)]),
        },
        {
            "name": "gap",
            "kind": 0x13,
            "sequence": 6,
            "index": 777,
            "payload": struct.pack("<IBBH", 2008, 1, 0, 0),
        },
        {
            "name": "status",
            "kind": 0x14,
            "sequence": 7,
            "index": 5000,
            "payload": struct.pack("<IIIIIIIBBH", 5000, 4990, 10, 3, 1, 2, 120000, 1, 1, 0),
        },
        {
            "name": "histogram",
            "kind": 0x15,
            "sequence": 8,
            "index": 0,
            "payload": struct.pack("<BBHI", 1, 0, 3584, 1000) + struct.pack("<64I", *range(0, 6400, 100)),
        },
        {"name": "mark", "kind": 0x16, "sequence": 9, "index": 42, "payload": struct.pack("<BBH", 0, 0, 1)},
        {
            "name": "no_zeros",
            "kind": 0x02,
            "sequence": 0x0101,
            "index": 0x01010101,
            "payload": bytes(range(1, 255)) * 3,
        },
        {"name": "all_zeros", "kind": 0x02, "sequence": 0, "index": 0, "payload": bytes(600)},
    ]


# COBS pairs of references: bytes before and after stuffing.
COBS_PLAIN = [
    "00",
    "0000",
    "001100",
    "11220033",
    "11000000",
    bytes(range(1, 255)).hex(),
    bytes(range(255)).hex(),
    bytes(range(1, 256)).hex(),
    (bytes(range(2, 256)) + b"\x00").hex(),
    "",
    "01",
]


def main() -> None:
    """Write the file beside this script."""
    out = {
        "cobs": [{"plain": p, "stuffed": cobs.encode(bytes.fromhex(p)).hex()} for p in COBS_PLAIN],
        "crc32": [
            {"data": d.hex(), "crc": Crc32.calc(d)}
            for d in (b"123456789", bytes(range(256)), b"", b"\x00" * 28)
        ],
        "frames": [
            {
                **{k: m[k] for k in ("name", "kind", "sequence", "index")},
                "payload": m["payload"].hex(),
                "frame": frame(m["kind"], m["sequence"], m["index"], m["payload"]).hex(),
            }
            for m in messages()
        ],
    }
    Path(__file__).with_name("wire_vectors.json").write_text(json.dumps(out, indent=1) + "\n")


if __name__ == "__main__":
    main()
