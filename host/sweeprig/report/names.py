"""What quantities and limits are called on paper."""

from __future__ import annotations

NAMES = {
    "closed": "Closed",
    "open": "Open",
    "low": "Low end",
    "high": "High end",
    "closed_v": "Closed throttle",
    "open_v": "Open throttle",
    "span": "Span",
    "slope": "Slope",
    "sum": "Sum of the tracks",
    "correlation": "Departure of B from A",
    "linearity": "Independent linearity",
    "strokes": "Full strokes",
}


def name_of(key: str) -> str:
    """Return a name in words: `closed_b_v` becomes `Closed throttle, track B`."""
    plain = key.replace("_b", "", 1) if "_b_" in f"{key}_" else key
    track = ", track B" if plain != key and not plain.startswith(("slope", "sum", "correlation")) else ""
    if plain.endswith("_ratio"):
        return f"{name_of(plain.removesuffix('_ratio'))}{track}, ratio to supply"
    bare = plain.removesuffix("_v")
    found = NAMES.get(plain) or NAMES.get(bare) or bare.replace("_", " ").capitalize()
    return f"{found}{track}"
