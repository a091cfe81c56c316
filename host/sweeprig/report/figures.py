"""Formats numbers for paper and screen. For display only: nothing here is used in a computation."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, TypeGuard

if TYPE_CHECKING:
    from sweeprig.judge.model import Quantity

MINUS = "\N{MINUS SIGN}"
NONE = "\N{EN DASH}"
NOT_KNOWN = "\N{PLUS-MINUS SIGN} not known"


def known(value: float | None) -> TypeGuard[float]:
    """Tell whether there is a number to show."""
    return value is not None and math.isfinite(value)


def fixed(value: float | None, digits: int) -> str:
    """Return the value with a fixed number of decimals; a dash where there is none."""
    if value is None or not math.isfinite(value):
        return NONE
    return f"{value:z.{digits}f}".replace("-", MINUS)  # z: no minus before a zero (PEP 682)


def on_screen(
    value: float | None, u95: float | None = None, unit: str = "", *, none: str = "-", signed: bool = False
) -> str:
    """Return `value ± u95 unit` to four decimals in plain characters; `none` where there is no value."""
    if not known(value):
        return none
    text = f"{value:+z.4f}" if signed else f"{value:z.4f}"
    return text + (f" ± {u95:.4f}" if known(u95) else "") + (f" {unit}" if unit else "")


def volts(value: float | None, u95: float | None = None) -> str:
    """Return volts to the millivolt; to a tenth of it where the uncertainty [V] is below one."""
    digits = 4 if u95 is not None and u95 < 0.995e-3 else 3
    return f"{fixed(value, digits)} V" if known(value) else NONE


def u_text(u95: float | None) -> str:
    """Return the half-width of the 95 % interval in millivolts, two significant digits down to 0.01 mV."""
    if u95 is None or not math.isfinite(u95):
        return ""
    mv = u95 * 1e3
    digits = 2 if mv < 0.995 else 1 if mv < 9.95 else 0
    return f"\N{PLUS-MINUS SIGN}{mv:.{digits}f} mV"


def spread_text(value: float | None, u95: float | None) -> str:
    """Return the text next to volts: their ±, or that it is not known; "" next to a dash."""
    return u_text(u95) or (NOT_KNOWN if known(value) else "")


def number_text(value: float | None, unit: str, digits: int) -> str:
    """Return a number with at most `digits` decimals and its unit; a dash where there is none."""
    if value is None or not math.isfinite(value):
        return NONE
    return f"{fixed(value, digits)} {unit}".strip()


def quantity_text(q: Quantity | None) -> str:
    """Return `value ± u95` in the quantity's own unit, or why there is none."""
    if q is None or q.value is None or not math.isfinite(q.value):
        return f"not measured: {q.reason}" if q is not None and q.reason else "not measured"
    if q.unit == "V":
        return f"{volts(q.value, q.u95)} {spread_text(q.value, q.u95)}".strip()
    if not q.unit:  # a ratio
        tail = f" \N{PLUS-MINUS SIGN}{max(q.u95, 1e-5):.5f}" if known(q.u95) else ""
        return f"{fixed(q.value, 5)}{tail}"
    tail = f" \N{PLUS-MINUS SIGN}{q.u95:.2g}" if known(q.u95) else ""
    return f"{q.value:.5g}{tail} {q.unit}".replace("-", MINUS)


def duration(seconds: float | None) -> str:
    """Return a time in the unit that suits it."""
    if seconds is None or not math.isfinite(seconds):
        return NONE
    if seconds < 0.9995e-3:
        return f"{seconds * 1e6:.3g} µs"
    if seconds < 0.9995:
        return f"{seconds * 1e3:.3g} ms"
    return f"{seconds:.4g} s"


def span_text(where: tuple[float, float] | None) -> str:
    """Return a place in per cent of travel."""
    if where is None:
        return ""
    low, high = (fixed(float(p), 0) for p in where)
    return f"{low} %" if low == high else f"{low} to {high} %"


def count_of(n: int, one: str, many: str = "") -> str:
    """Return `1 stroke`, `4 strokes`."""
    return f"{n} {one if n == 1 else many or one + 's'}"


def capture_code(sha256: str) -> str:
    """Return the first eight hexadecimal digits of a capture's hash in two groups, to be read aloud."""
    return f"{sha256[:4]}-{sha256[4:8]}".upper() if len(sha256) >= 8 else ""


def one_line(text: str, limit: int) -> str:
    """Return text on one line without control characters, cut with an ellipsis where it is longer than `limit`."""
    plain = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    return clip(plain, limit)


WHOLE = (". ", "; ")  # what stays before one of these says nothing by halves
CLAUSES = (*WHOLE, " (", ", ")


def at_clause(text: str, limit: int, ends: tuple[str, ...] = CLAUSES) -> str:
    """Shorten text longer than `limit` at the end of a sentence or clause; cut inside one only where there is none.

    No bracket is left open. An instruction ends with a `WHOLE` one: "if it stays, replace it" keeps its second half.
    """
    if len(text) <= limit:
        return text
    for end in ends:
        whole = _before_last(text[:limit], end)
        if len(whole) >= limit // 3:
            return whole + ("." if end != ", " else "")
    return clip(text, limit)


def _before_last(text: str, end: str) -> str:
    """Return the text before the last `end` that is not in brackets; "" where there is none."""
    whole = text.rpartition(end)[0]
    while whole.count("(") > whole.count(")"):
        whole = whole.rpartition(end)[0]
    return whole


def clip(text: str, limit: int) -> str:
    """Return text cut with an ellipsis where it is longer than `limit` characters."""
    return text if len(text) <= limit else text[: limit - 1].rstrip() + "…"
