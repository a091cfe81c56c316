"""One outcome as a terminal shows it: the verdict and its reason first, then the numbers."""

from __future__ import annotations

import shutil
import textwrap
from itertools import chain

from sweeprig.analysis.model import Finding
from sweeprig.cli.console import Shown, console, strong
from sweeprig.judge.model import Check, Margin, Quantity, sentences
from sweeprig.judge.names import name_of
from sweeprig.judge.outcome import Outcome
from sweeprig.lines import Column, table
from sweeprig.link.clean import printable
from sweeprig.report.budgets import line_name
from sweeprig.report.facts import alerts, sense_text
from sweeprig.report.figures import duration
from sweeprig.words import SIMULATED

MOST_WIDTH = 96
MEASURED = ("closed_v", "open_v", "closed_b_v", "open_b_v", "low_v", "high_v", "supply_v")
LABEL = 26  # columns of a name
MANY_DOF = 1e4  # from here on k is that of infinitely many


def _fold(text: str, first: str, rest: str) -> Shown:
    width = max(40, min(MOST_WIDTH, shutil.get_terminal_size((MOST_WIDTH, 24)).columns))
    return Shown(
        textwrap.fill(
            printable(text), width, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
        )
    )


def quantity_line(label: str, q: Quantity) -> str:
    """Return one measured value with the half-width of its 95 % interval."""
    if q.value is None:
        why = "" if q.reason.endswith("was not measured") else f": {q.reason}"
        return f"  {label:{LABEL}} not measured{why}"
    spread = " ± not known" if q.u95 is None else f" ± {q.u95:.4f} {q.unit}"
    return f"  {label:{LABEL}} {q.value:z8.4f} {q.unit}{spread}"


def margin_line(m: Margin) -> str:
    """Return one margin against its limit."""
    sign = "above" if m.rail == "lower" else "below"
    value = "not measured" if m.level_v is None else f"{m.level_v:z.3f} V"
    more = f". {sentences(m.would_decide, m.next_step)}" if m.would_decide else ""
    return _fold(
        f"{m.end_text:{LABEL}} {value:>12}  must stay {sign} {m.limit_v:z.3f} V: {m.verdict}{more}",
        "  ",
        " " * 12,
    )


def check_line(c: Check) -> str:
    """Return one other limit of the profile."""
    whole = c.unit in ("strokes", "")
    unit = c.unit.removesuffix("s") if c.value == 1 else c.unit  # 1 stroke
    value = "not measured" if c.value is None else f"{c.value:z.{0 if whole else 3}f} {unit}".strip()
    low = "" if c.low is None else f"{c.low:g}"
    high = "" if c.high is None else f"{c.high:g}"
    range_ = f"{low} to {high}" if low and high else f"at least {low}" if low else f"at most {high}"
    more = f". {sentences(c.would_decide, c.next_step)}" if c.would_decide else ""
    return _fold(
        f"{name_of(c.name):{LABEL}} {value:>12}  must be {range_} {c.unit}: {c.verdict}{more}", "  ", " " * 18
    )


def finding_lines(number: int, f: Finding) -> list[str]:
    """Return what is wrong, where, the evidence and the next step."""
    where = ""
    if f.where_percent is not None:
        low, high = f.where_percent
        where = (
            f" at {low:.1f} to {high:.1f} % of travel" if high - low >= 0.1 else f" at {low:.1f} % of travel"
        )
    kind = {"fault": "", "doubt": " (not certain)"}.get(f.severity, f" ({f.severity})")
    return [
        strong(f"  {number}. {f.code}{where} - cause: {f.cause}{kind}"),
        _fold(f.evidence, "     seen: ", "           "),
        _fold(f.next_step, "     next: ", "           "),
    ]


def _at_nominal(outcome: Outcome) -> str:
    """Return what the judged volts are where they are not the measured ones."""
    if not any(m.measured_v is not None and m.measured_v != m.level_v for m in outcome.judgement.margins):
        return ""
    nominal = getattr(outcome.trace, "nominal_supply_v", 5.0)
    return f" (ends and span: converted to an exact {nominal:g} V supply)"


def outcome_lines(outcome: Outcome) -> list[str]:
    """Return the lines of one outcome."""
    judgement, ratio = outcome.judgement, _at_nominal(outcome)
    lines: list[str] = [strong(SIMULATED)] if outcome.simulated else []
    lines += [strong(_fold(f"{judgement.verdict.upper()}: {judgement.reason}", "", "      ")), ""]
    lines += _measured_lines(outcome)
    found = chain.from_iterable(finding_lines(n, f) for n, f in enumerate(judgement.findings, 1))
    for title, block in (
        (f"Margins to ground and supply{ratio}", [margin_line(m) for m in judgement.margins]),
        (f"Other limits of the profile{ratio}", [check_line(c) for c in judgement.checks]),
        ("Findings", list(found)),
        ("What this capture could not show", [_fold(text, "  - ", "    ") for text in judgement.not_shown]),
    ):
        lines += ["", title, *block] if block else []
    lines += [_fold(text, "  ! ", "    ") for text in alerts(outcome)]
    return [*lines, "", _fold(judgement.reservation, "", "")] if judgement.reservation else lines


def _measured_lines(outcome: Outcome) -> list[str]:
    """Return what was measured, judged or not."""
    quantities, analysis = outcome.judgement.quantities, outcome.analysis
    hidden = {"low_v", "high_v"} if analysis.sense != "unknown" else {"closed_v", "open_v"}
    lines = [
        quantity_line(name_of(name), quantities[name])
        for name in MEASURED
        if name in quantities.keys() - hidden
    ]
    single = (
        f"{analysis.plain.min_v:z8.4f} V / {analysis.plain.max_v:z.4f} V (single readings, spikes included)"
    )
    lines.append(f"  {'lowest / highest reading':{LABEL}} {single}")
    lines.append(
        f"  {'sense':{LABEL}}   {analysis.sense} ({sense_text(outcome).removeprefix('not known: ')})"
    )
    if outcome.setup.task == "sweep":
        n, full = len(analysis.strokes), sum(s.full for s in analysis.strokes)
        lines.append(
            f"  {'strokes':{LABEL}}   {n}" + (f", {full} of them from end to end" if full < n else "")
        )
    lost = outcome.capture.n_lost if outcome.capture else outcome.trace.n_lost
    return [
        *lines,
        f"  {'data blocks':{LABEL}}   {outcome.trace.t_s.size} (each {duration(outcome.trace.window_s)}), {lost} lost",
    ]


def _dof(q: Quantity) -> str:
    """Return the degrees of freedom where they are few enough to count."""
    return f", {q.dof:.3g} effective degrees of freedom" if q.dof < MANY_DOF else ""


def budget_lines(outcome: Outcome) -> list[str]:
    """Return the uncertainty budget of the reported quantities."""
    lines: list[str] = []
    for name, q in outcome.judgement.quantities.items():
        if q.value is None or not q.budget or q.u95 is None:
            continue
        k = q.coverage_factor or float("nan")
        lines += [
            "",
            f"Budget of {name}: {q.value:.4f} {q.unit} ± {q.u95:.4f} (k = {k:.2f}{_dof(q)})",
        ]
        parts = sorted(q.budget, key=lambda b: -b.contribution)
        lines += table(
            [
                Column("source", [line_name(p, outcome) for p in parts]),
                Column("kind", [p.kind for p in parts], goes=2),
                Column("shape", [p.distribution for p in parts], goes=3),
                Column("u", [f"{p.u:.3g} {p.unit}" for p in parts], goes=1, right=True),
                Column("contribution", [f"{p.contribution:.3g}" for p in parts], right=True),
            ],
            console.width,
            "  ",
        )
    return lines


def drawn_lines(outcome: Outcome) -> list[str]:
    """Return each budget's interval beside the one that drawing its contributions gives (fixed seed)."""
    import numpy as np

    from sweeprig.calibration.monte_carlo import TRIALS, propagate_budget

    rng = np.random.default_rng(101)
    lines = ["", f"95 % intervals by the budget and by {TRIALS} draws of its contributions (JCGM 101)"]
    for name, q in outcome.judgement.quantities.items():
        if q.value is None or not q.budget or q.u95 is None:
            continue
        drawn = propagate_budget(q.value, q.budget, rng=rng)
        by_budget = f"{q.value - q.u95:.4f} to {q.value + q.u95:.4f}"
        lines.append(f"  {name:{LABEL}}{by_budget:>20}   drawn {drawn.low:.4f} to {drawn.high:.4f} {q.unit}")
    return lines
