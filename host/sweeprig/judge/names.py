"""What quantities and limits are called: one home for screen, sheet, card and messages."""

from __future__ import annotations

NAMES = {
    "closed": "closed throttle",
    "open": "open throttle",
    "low": "low end",
    "high": "high end",
    "slope": "slope of B against A",
    "sum": "sum of the tracks",
    "correlation": "departure of B from its line",
    "linearity": "independent linearity",
    "strokes": "full strokes",
}
SOURCES = {  # where a limit comes from, as profiles say it and as anybody else reads it
    "common practice, no source": "general workshop limit; if you have the maker's limit, use that instead",
    "own choice, no source": "chosen for this profile; if you have the maker's limit, use that instead",
}
OF_BOTH = ("slope", "sum", "correlation")  # which are no track's own


def name_of(key: str) -> str:
    """Return a name in words: `closed_b_v` becomes `closed throttle of track B`."""
    bare = key.removesuffix("_v").removesuffix("_ratio")
    plain = bare.removesuffix("_b")
    track = " of track B" if plain != bare and plain not in OF_BOTH else ""
    tail = ", ratio to supply" if key.endswith("_ratio") else ""
    return f"{NAMES.get(plain, plain.replace('_', ' '))}{track}{tail}"


def source_of(text: str) -> str:
    """Return where a limit comes from, in words that leave no doubt what kind of source is meant."""
    for theirs, plain in SOURCES.items():
        text = text.replace(theirs, plain)
    return text
