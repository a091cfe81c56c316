"""A comparison as lines of text."""

from __future__ import annotations

from collections.abc import Sequence

from sweeprig.bench.review.compare import NOT_JUDGED, Compared, Difference, Found
from sweeprig.judge.names import name_of
from sweeprig.lines import Column, chosen, fitted, table
from sweeprig.report.figures import on_screen, span_text
from sweeprig.words import SIMULATED


def compare_lines(c: Compared, width: int = 120) -> list[str]:
    """Return the comparison as text, no line wider than `width`."""
    return [part for line in _lines(c, width) for part in fitted(line, width)]


def _lines(c: Compared, width: int) -> list[str]:
    lines = [SIMULATED] if c.first.simulated and c.second.simulated else []
    for word, s in (("first ", c.first), ("second", c.second)):
        lines.append(f"{word}  {s.name}, {s.created}, {s.sensor or 'sensor not named'}")
        lines.append(f"        {s.verdict.upper()}: {s.reason}")
    lines += ["", *_table(c.differences, width)]
    lines += _margin_lines(c) if c.margins else []
    for title, found in (("Gone", c.gone), ("New", c.new), ("Still there", c.stayed)):
        if found:
            lines += ["", title, *(f"  {_finding(f)}" for f in found)]
    return lines + ([""] if c.notes else []) + [f"  ! {n}" for n in c.notes]


SIDES = {"lower": "ground", "upper": "supply"}


def _margin_lines(c: Compared) -> list[str]:
    held = any(m.get("measured_v") is not None for s in (c.first, c.second) for m in s.margins)
    volts = "converted to the nominal supply" if held else "as measured"
    return [
        "",
        f"Margins to ground and supply (volts {volts})",
        "  The volts are the end's own reading, not its distance from ground or supply.",
        *(
            f"  {m.end:8}{SIDES[m.rail]:8}{_judged(m.first_v, m.first)}  ->  {_judged(m.second_v, m.second)}"
            for m in c.margins
        ),
    ]


def _judged(value_v: float | None, verdict: str) -> str:
    """Return one end's level with its verdict; an end that was at the other rail has none at this one."""
    return (
        "does not apply"
        if value_v is None and verdict == NOT_JUDGED
        else f"{_number(value_v, 'V')} {verdict}"
    )


def _number(value: float | None, unit: str, u95: float | None = None) -> str:
    return on_screen(value, u95, unit, none="not measured")


def _table(differences: Sequence[Difference], width: int) -> list[str]:
    changes = [on_screen(d.change, d.change_u95, d.unit, none="", signed=True) for d in differences]
    columns = [
        Column("", [name_of(d.name).replace("ratio to supply", "ratio") for d in differences]),
        Column("first", [_number(d.first, d.unit, d.first_u95) for d in differences], goes=1, right=True),
        Column("second", [_number(d.second, d.unit, d.second_u95) for d in differences], goes=1, right=True),
        Column("change", changes, goes=3, right=True),
        Column(
            "change / ±", ["" if d.e_n is None else f"{d.e_n:+z.2f}" for d in differences], goes=2, right=True
        ),
        Column("", [d.word for d in differences]),
    ]
    whole = [c for c in columns if c.goes == 0 or any(c.cells)]
    return table(columns, width, "  ") if chosen(columns, width - 2) == whole else _blocks(columns)


def _blocks(columns: Sequence[Column]) -> list[str]:
    """Return each quantity in lines of its own, where the volts have no room side by side."""
    lines = []
    for name, first, second, change, share, word in zip(*(c.cells for c in columns), strict=True):
        lines += [f"  {name}: {word}" if word else f"  {name}", f"    {first}  ->  {second}"]
        lines += (
            [f"    change {change}, change / ± {share}" if share else f"    change {change}"]
            if change
            else []
        )
    return lines


def _finding(f: Found) -> str:
    where = f.get("where_percent")
    place = "" if where is None else f" at {span_text(where)} of travel"
    return f"{f['code']} (cause: {f['cause']}){place}"
