"""Values as they stand in schematics and tables."""

from __future__ import annotations

from sweeprig.frontend.tables import Part

SCALES = ((1e6, "M"), (1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "u"), (1e-9, "n"), (1e-12, "p"))
SYMBOLS = {"ohm": "Ω"}


def value_str(value: float, unit: str) -> str:
    """Return 154 kΩ for 154e3 ohm; empty where the unit is not one that scales."""
    if unit not in ("ohm", "F", "H", "A", "V", "Hz"):
        return ""
    symbol = SYMBOLS.get(unit, unit)
    for scale, sign in SCALES:
        if abs(value) >= scale * 0.9999:
            return f"{value / scale:.4g} {'µ' if sign == 'u' else sign}{symbol}"
    return f"{value:g} {symbol}"


def part_value(part: Part) -> str:
    """Return a part's value with tolerance, as a parts list says it."""
    head, _, tail = part.unit.partition(" ")
    shown = value_str(part.each, head) or (f"{part.each:g} {head}" if head != "-" else "")
    text = f"{shown} {tail}".strip()
    return f"{text} ±{100 * part.tol:g} %" if part.tol and text else text
