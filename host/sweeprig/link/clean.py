"""Text and JSON from outside, made safe to store, print and calculate with. Imports nothing heavy."""

from __future__ import annotations

import hashlib
import json
import math
import re
from typing import Any

MOST_CHARACTERS = 2000  # of one typed text or one text of a board: a page of a sheet
MOST_PROFILE = (
    1 << 16
)  # bytes of a profile: 15 times what one needs; the TOML reader takes time with the square
MOST_INTEGER = 2**63 - 1  # what a file or a database column can hold
_BLANKS = re.compile(r"[\t\n\v\f\r\x85\xa0\u1680\u2000-\u200a\u2028\u2029\u202f\u205f\u3000]+")
_WHOLE_URL = re.compile(r"^(\s*[\w+]*://[^\s:@/?]*:).*@", re.DOTALL)
_URL = re.compile(r"(://[^\s:@/?]*:)\S*@")
_NO_HOST = re.compile(r"(://[^\s:@/?]*:)(?!\d{1,5}(?![^/?\s.,;:)])|\*\*\*@)[^\s/?]+")
_OPTION = re.compile(r"(password=)[^&;\s'\"]*", re.IGNORECASE)
_UNSEEN = re.compile(r"[^\n\x20-\x7e]")
_UNFIT = re.compile("[\x00\ud800-\udfff]")  # NUL, and halves of a UTF-16 pair, which no encoding can write


def text_digest(text: str) -> str:
    """Return the SHA-256 of a text in UTF-8, hexadecimal."""
    return hashlib.sha256(text.encode("utf-8", "replace")).hexdigest()


def clean_text(text: str, most: int = MOST_CHARACTERS) -> str:
    """Return the text with NUL and lone surrogates replaced by U+FFFD, cut at `most` characters."""
    return _UNFIT.sub("\ufffd", text[:most])


def printable(text: str) -> str:
    """Return text that is safe on one line of a terminal: tabs, line ends and other blanks become one space; control
    characters, marks of direction, private and unassigned characters become U+FFFD.
    """
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() else "\ufffd" for c in _BLANKS.sub(" ", text))


def hide_passwords(text: str) -> str:
    """Return text with *** in place of each URL's password, be it before the host or in the query."""
    if "://" not in text:
        return text
    before = _WHOLE_URL if _WHOLE_URL.match(text) else _URL
    return _OPTION.sub(r"\1***", _NO_HOST.sub(r"\1***", before.sub(r"\1***@", text)))


def printable_json(text: str) -> str:
    """Return the same JSON with unprintable characters escaped; its own line ends stay."""
    return _UNSEEN.sub(lambda m: m[0] if m[0].isprintable() else json.dumps(m[0])[1:-1], text)


def clean_plain(value: Any) -> Any:
    """Return JSON values with clean text; a number that is not finite or beyond 64 bits becomes None."""
    if isinstance(value, str):
        return clean_text(value)
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, int):
        return value if abs(value) <= MOST_INTEGER else None
    if isinstance(value, dict):
        return {clean_text(str(key)): clean_plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [clean_plain(item) for item in value]
    return value


def is_number(value: Any, *, above: float = -math.inf, most: float = math.inf) -> bool:
    """Return whether `value` is a finite number (no bool), more than `above` and at most `most`."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    if isinstance(value, int) and abs(value) > MOST_INTEGER:
        return False
    return math.isfinite(value) and above < value <= most


def is_whole(value: Any, least: int, most: int) -> bool:
    """Return whether `value` is a whole number (no bool) within the limits."""
    return isinstance(value, int) and not isinstance(value, bool) and least <= value <= most
