"""What quantities and limits are called on paper."""

from __future__ import annotations

from sweeprig.judge import names


def name_of(key: str) -> str:
    """Return a name in words: `closed_b_v` becomes `Closed throttle of track B`."""
    plain = names.name_of(key)
    return f"{plain[:1].upper()}{plain[1:]}"
