"""Changes that nobody meant: of bytes, of text, of plain data."""

from __future__ import annotations

import copy
import json
import math
from random import Random
from typing import Any

WORDS: list[Any] = [
    None, True, False, 0, -1, 1, 0.5, 1e300, -1e300, 5e-324, math.nan, math.inf, -math.inf, 10**30, 2**63, "", "x", "1",
    "\x1b[2J", "a\nb", "\0", "\ufffd", "x" * 5000, "9999-12-31T23:59:59+00:00", "0001-01-01T00:00:00",
    [], {}, [[]], [None], {"a": 1},
]  # fmt: skip


def of_bytes(data: bytes, random: Random) -> bytes:
    """Return the bytes with one to eight changes: bits, bytes, blocks cut out, doubled, zeroed or swapped."""
    out = bytearray(data)
    for _ in range(random.choice((1, 1, 2, 4, 8))):
        at = random.randrange(len(out) or 1)
        n = random.choice((1, 1, 4, 60, 1000))
        change = random.choice(("bit", "byte", "cut", "double", "zero", "end", "noise"))
        if change == "bit" and out:
            out[at] ^= 1 << random.randrange(8)
        elif change == "byte" and out:
            out[at] = random.randrange(256)
        elif change == "cut":
            del out[at : at + n]
        elif change == "double":
            out[at:at] = out[at : at + n]
        elif change == "end":
            del out[max(at, len(out) - n * 40) :]
        else:
            filling = bytes(n) if change == "zero" else random.randbytes(n)
            out[at : at + n] = filling[: len(out) - at]
    return bytes(out)


def _places(data: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    keys = data if isinstance(data, dict) else range(len(data)) if isinstance(data, list) else ()
    return [p for key in keys for p in [(*path, key), *_places(data[key], (*path, key))]]


def of_plain(data: Any, random: Random) -> Any:
    """Return plain data with one to three entries replaced, taken away, scaled, or one added."""
    out = copy.deepcopy(data)
    for _ in range(random.choice((1, 1, 2, 3))):
        places = _places(out)
        if not places:
            return random.choice(WORDS)
        *way, key = random.choice(places)
        part = out
        for step in way:
            part = part[step]
        change = random.choice(("replace", "replace", "scale", "remove", "add"))
        if change == "remove":
            del part[key]
        elif change == "add" and isinstance(part, dict):
            part[random.choice(("zzz", "line", "version", ""))] = random.choice(WORDS)
        elif change == "scale" and isinstance(part[key], float):
            part[key] *= random.choice((-1.0, 0.0, 1e-200, 1e200, 1e6, -1e6))
        else:
            part[key] = random.choice(WORDS)
    return out


def of_json(data: Any, random: Random) -> bytes:
    """Return changed plain data as JSON, now and then with changed bytes or of great depth."""
    if random.random() < 0.03:
        return b"[" * 100_000
    text = json.dumps(of_plain(data, random)).encode()
    return of_bytes(text, random) if random.random() < 0.3 else text
