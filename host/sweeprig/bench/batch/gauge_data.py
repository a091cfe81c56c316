"""Readings for a gauge R&R study from a CSV or from records, and the study as text and JSON."""

from __future__ import annotations

import csv
import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np

from sweeprig import lines as ln
from sweeprig.bench.batch.gauge import (
    ACCEPTABLE,
    GOOD,
    LEAST_CATEGORIES,
    FloatArray,
    Parts,
    Study,
    judged,
    judged_percent,
)
from sweeprig.capture.regular import read_text
from sweeprig.errors import AnalysisError, CsvError, InputError
from sweeprig.records.rows import Record

MOST_BYTES = 16 << 20  # of a table: a quarter of a million readings
MOST_V = 1e6  # [V] nothing that a sweep reads
WIDTHS_V = (1e-6, 1e6)  # [V] of a tolerance
COLUMNS = ("part", "operator", "value_v")


def width(tolerance_v: float) -> float:
    """Return the width of a tolerance [V]. Raises InputError for text that is not one."""
    least, most = WIDTHS_V
    if not least <= tolerance_v <= most:
        raise InputError(
            "The tolerance is not valid.",
            seen=f"{tolerance_v:g}",
            limit=f"{least:z.6f} to {most:z.0f} V",
            next_step="give the distance of its two limits in volts",
        )
    return tolerance_v


@dataclass(frozen=True)
class Reading:
    """One sweep of one part by one operator."""

    part: str
    operator: str
    value_v: float  # [V]


def readings_of_csv(path: Path) -> list[Reading]:
    """Read the columns part, operator and value_v; others are ignored. Raises CsvError, which names the line."""
    try:
        reader = csv.DictReader(read_text(path, most=MOST_BYTES).splitlines())
        names, rows = reader.fieldnames or [], [(row, reader.line_num) for row in reader]
    except (OSError, UnicodeDecodeError, csv.Error) as exc:
        raise CsvError(
            f"{path} cannot be read.", seen=str(exc), next_step="check the name and the file"
        ) from exc
    if not any(names):
        raise CsvError(
            f"{path} is empty.",
            limit=",".join(COLUMNS),
            next_step="write a heading and a line for each sweep",
        )
    for column in COLUMNS:
        if names.count(column) != 1:
            raise CsvError(
                f"{path} has {'more than one' if column in names else 'no'} column named '{column}'.",
                seen=",".join(names)[:120],
                limit=",".join(COLUMNS),
                next_step="name each of these columns once in the first line",
            )
    return [_reading(row, f"{path}, line {line}") for row, line in rows]


def _reading(row: dict[str, str | None], where: str) -> Reading:
    text = (row["value_v"] or "").strip()
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not abs(value) <= MOST_V or not (row["part"] or "").strip():
        raise CsvError(
            f"{where}: the reading is not valid.",
            seen=",".join(str(row[c]) for c in COLUMNS)[:120],
            limit=f"a part and a number of volts, at most {MOST_V:g} in size",
            next_step="correct the line",
        )
    return Reading((row["part"] or "").strip(), (row["operator"] or "").strip(), value)


def readings_of_records(records: Sequence[Record], end: str) -> list[Reading]:
    """Return the volts of one end (closed or open) from records; those without it are left out. Raises InputError."""
    if end not in ("closed", "open"):
        raise InputError("The end is not valid.", seen=end, limit="closed or open", next_step="correct --end")
    return [
        Reading(r.serial or r.label, r.operator, float(value))
        for r in records
        if (value := getattr(r, f"{'open' if end == 'open' else 'closed'}_v")) is not None
    ]


def some(readings: Sequence[Reading], *, source: str) -> Sequence[Reading]:
    """Return the readings. Raises InputError where `source`, a file or a batch, gave none."""
    if readings:
        return readings
    step = (
        "check the name; sweeprig records list --json names each batch"
        if source.startswith("batch ")
        else f"write a line for each sweep under {','.join(COLUMNS)}"
    )
    raise InputError(
        "The gauge R&R study has no readings.", seen=source, limit="at least 2 sensors, 2 sweeps each",
        next_step=step,
    )  # fmt: skip


def table(readings: Sequence[Reading]) -> FloatArray:
    """Return the values as (parts, operators, trials). Raises AnalysisError where the study is not complete."""
    parts = list(dict.fromkeys(r.part for r in readings))
    operators = list(dict.fromkeys(r.operator for r in readings))
    cells: dict[tuple[str, str], list[float]] = {cell: [] for cell in product(parts, operators)}
    for r in readings:
        cells[r.part, r.operator].append(r.value_v)
    least = min(cells, key=lambda c: len(cells[c]))
    most = max(map(len, cells.values()))
    if len(cells[least]) != most:
        raise AnalysisError(
            "The gauge R&R study is incomplete: every operator must sweep every part equally often.",
            seen=f"part {least[0]}, operator {least[1] or '(not named)'}: {len(cells[least])} sweeps",
            limit=f"{most} each",
            next_step="do the missing sweeps, or leave out the part or the operator",
        )
    return np.array(list(cells.values()), dtype=np.float64).reshape(len(parts), len(operators), most)


LABELS = {
    "repeatability": "repeatability (EV)", "reproducibility": "between operators (AV)",
    "gauge": "rig and operators (GRR)", "parts": "between sensors (PV)", "total": "all together (TV)",
}  # fmt: skip
WHOLE_HEADS = 76  # columns from which both headings are written out


def _table(s: Study, tolerance_v: float | None, width: int) -> list[str]:
    """Return both ways side by side."""
    heads = ("average and range", "analysis of variance") if width >= WHOLE_HEADS else ("range", "variance")
    shares = ["6 GRR, % of the tolerance"] if tolerance_v else []
    labels = [*LABELS.values(), "GRR, % of all", "distinct categories (ndc)", *shares]
    columns = [ln.Column("", labels)]
    for head, parts in zip(heads, (s.by_range, s.by_anova), strict=True):
        cells = [*(_mv(parts, name) for name in LABELS), _plain(parts.percent, 1), _count(parts)]
        cells += [f"{parts.of_tolerance(tolerance_v):.1f}"] if tolerance_v else []
        columns.append(ln.Column(head, cells, right=True))
    *others, last = columns
    wide = ln.Column(last.title.rjust(last.width), [c.rjust(last.width) for c in last.cells])
    return ln.table([*others, wide], width, "  ")


def gauge_lines(s: Study, tolerance_v: float | None, width: int = 120) -> list[str]:
    """Return the study as text, its table no wider than `width`."""
    lines = [f"Gauge R&R study: {s.n_parts} sensors, {s.n_operators} operators, {s.n_trials} sweeps each", ""]
    lines += [*_table(s, tolerance_v, width), "", *_judged_lines(s.by_anova, tolerance_v)]
    if s.p_interaction is not None:
        what = (
            "joined with the repeatability"
            if s.interaction is None
            else f"{1e3 * s.interaction:z.2f} mV, in AV"
        )
        lines.append(f"  Operator with sensor: p = {s.p_interaction:.3g}, {what}.")
    if s.n_operators == 1:
        lines.append("  One operator: the variation between operators is not studied.")
    return lines


def _judged_lines(parts: Parts, tolerance_v: float | None) -> list[str]:
    """Return what the rig is good for: to tell these sensors apart, and to judge one against a tolerance."""
    lines = [f"  For seeing a difference between these sensors the rig is {judged(parts)}."]
    if tolerance_v:
        against = judged_percent(parts.of_tolerance(tolerance_v))
        lines.append(f"  For judging one against {tolerance_v:g} V of tolerance it is {against}.")
    rule = f"Common practice: below {GOOD:.0f} % good, up to {ACCEPTABLE:.0f} % acceptable;"
    return [
        *lines,
        f"  {rule}",
        f"  at least {LEAST_CATEGORIES} categories to see a difference between sensors.",
    ]


def _mv(parts: Parts, name: str) -> str:
    value = getattr(parts, name)
    return "not studied" if value is None else f"{1e3 * value:z.3f} mV"


def _count(parts: Parts) -> str:
    return "-" if parts.categories is None else str(parts.categories)


def _plain(value: float, digits: int) -> str:
    return f"{value:.{digits}f}" if math.isfinite(value) else "-"


def gauge_json(s: Study, tolerance_v: float | None) -> dict[str, Any]:
    """Return the study as a JSON object; standard deviations in volts."""

    def one(p: Parts) -> dict[str, Any]:
        share = p.of_tolerance(tolerance_v) if tolerance_v else None
        percent = p.percent if math.isfinite(p.percent) else None
        return {**asdict(p), "percent": percent, "categories": p.categories, "percent_of_tolerance": share}

    return {
        "parts": s.n_parts,
        "operators": s.n_operators,
        "trials": s.n_trials,
        "by_range": one(s.by_range),
        "by_anova": one(s.by_anova),
        "interaction": s.interaction,
        "p_interaction": s.p_interaction,
        "judged": judged(s.by_anova),
        "judged_against_tolerance": judged_percent(s.by_anova.of_tolerance(tolerance_v))
        if tolerance_v
        else None,
    }
