"""Uncertainty budgets as tables: one in short for the main page, each in full behind it."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from sweeprig.judge.budget import FIT, GAIN
from sweeprig.judge.model import BudgetLine, Quantity
from sweeprig.judge.outcome import Outcome
from sweeprig.report.figures import NONE, fixed, quantity_text, u_text
from sweeprig.report.names import name_of

SHORT_LINES = 4  # and the others together, or one more


def end_keys(outcome: Outcome) -> tuple[str, str]:
    """Return the names of the two ends that are reported: closed and open, or low and high."""
    return ("low_v", "high_v") if outcome.analysis.sense == "unknown" else ("closed_v", "open_v")


def line_name(line: BudgetLine, outcome: Outcome) -> str:
    """Return what a contribution is called; without a calibration its lines are of the parts."""
    calibration = outcome.calibration
    if calibration is None or calibration.kind != "nominal":
        return line.name
    name = line.name.replace(FIT, "tolerance of the parts (not calibrated)")
    return name.replace(GAIN, "gain of the parts (not calibrated)")


def _line(line: BudgetLine, q: Quantity, total: float) -> dict[str, Any]:
    share = 100 * line.contribution**2 / total if total else 0.0
    in_volts = q.unit == "V"
    return {
        "name": line.name,
        "kind": line.kind,
        "distribution": line.distribution,
        "u": f"{line.u * 1e3:.3g} mV" if line.unit == "V" else f"{line.u:.3g} {line.unit}",
        "gives": f"{fixed(line.contribution * 1e3, 3)} mV"
        if in_volts
        else f"{line.contribution:.3g} {q.unit}",
        "share": round(share),
    }


def budget_of(key: str, q: Quantity, outcome: Outcome) -> dict[str, Any] | None:
    """Return one budget in full, largest contribution first; None where there is none."""
    if q.value is None or not q.budget:
        return None
    total = sum(line.contribution**2 for line in q.budget)
    lines = [
        _line(replace(line, name=line_name(line, outcome)), q, total)
        for line in sorted(q.budget, key=lambda b: -b.contribution)
    ]
    k = f", k = {q.coverage_factor:.3g}" if q.coverage_factor else ""
    dof = f", {q.dof:.3g} effective degrees of freedom" if q.dof < 1e4 else ""
    n = f", {q.n_samples} windows" if q.n_samples else ""
    return {"title": f"{name_of(key)} {quantity_text(q)}", "small": f"95 %{k}{dof}{n}", "lines": lines}


def budgets(outcome: Outcome) -> list[dict[str, Any]]:
    """Return the full budgets of the ends and of the supply."""
    quantities = outcome.judgement.quantities
    ends = end_keys(outcome)
    keys = [*ends, *(k.replace("_v", "_b_v") for k in ends), "supply_v"]
    found = (budget_of(key, quantities[key], outcome) for key in keys if key in quantities)
    return [b for b in found if b is not None]


def short_budget(outcome: Outcome) -> dict[str, Any] | None:
    """Return the largest contributions to both ends side by side [mV]; None where neither has a budget."""
    keys = end_keys(outcome)
    found = [outcome.judgement.quantities.get(k) for k in keys]
    parts = [{line_name(b, outcome): 1e3 * b.contribution for b in q.budget} if q else {} for q in found]
    if not any(parts):
        return None
    return {
        "heads": [name_of(k.removesuffix("_v")) for k in keys],
        "rows": _side_by_side(parts),
        "total": [(u_text(q.u95) if q else "") or NONE for q in found],
    }


def _side_by_side(parts: list[dict[str, float]]) -> list[tuple[str, ...]]:
    """Return the largest contributions [mV] of each part as rows, the small ones in one row together."""
    names = sorted(
        dict.fromkeys(n for p in parts for n in p), key=lambda n: -max(p.get(n, 0.0) for p in parts)
    )
    n_shown = SHORT_LINES if len(names) > SHORT_LINES + 1 else len(names)
    rows = [(n, *(fixed(p.get(n), 2) for p in parts)) for n in names[:n_shown]]
    return rows + _together(names[n_shown:], parts)


def _together(small: list[str], parts: list[dict[str, float]]) -> list[tuple[str, ...]]:
    sums = (math.hypot(*(p.get(n, 0.0) for n in small)) for p in parts)
    return [(f"{len(small)} smaller ones", *(fixed(v, 2) for v in sums))] if small else []
