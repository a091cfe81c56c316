"""The sheet in at most ten plain lines, to read aloud or to paste into a message."""

from __future__ import annotations

from sweeprig.judge.outcome import Outcome
from sweeprig.report import facts
from sweeprig.report.figures import one_line, quantity_text
from sweeprig.words import SIMULATED

MAX_LINES = 10
WIDTH = 300  # characters a line may have: more is no longer read aloud


def _ends(outcome: Outcome) -> str:
    names = ("low", "high") if outcome.analysis.sense == "unknown" else ("closed", "open")
    q = outcome.judgement.quantities
    return "; ".join(f"{name.capitalize()} {quantity_text(q.get(f'{name}_v'))}" for name in names)


def _worst(outcome: Outcome) -> str:
    worst = facts.worst_event(outcome)
    if worst is None:
        return "Worst event: none seen."
    n = len(outcome.analysis.events)
    text = facts.event_text(worst, shortest_s=outcome.trace.shortest_dropout_s)
    return f"Worst event of {n}: {text}."


def _next_step(outcome: Outcome) -> str:
    judgement = outcome.judgement
    if judgement.findings:
        return f"Next: {judgement.findings[0].next_step}"
    open_points = [m.would_decide for m in judgement.margins if m.would_decide and m.verdict != "pass"]
    open_points += [c.would_decide for c in judgement.checks if c.would_decide and c.verdict != "pass"]
    if open_points:
        return f"Next: {open_points[0]}"
    return f"Next: none. {judgement.under}".strip() if judgement.verdict == "pass" else "Next: see the sheet."


def text_sheet(outcome: Outcome) -> str:
    """Return at most ten lines: verdict, reason, ends, supply, sense, worst event, next step, cautions, code.

    Plain text without control characters; an alert (override, early end, remark) takes a line of its own.
    """
    judgement, setup = outcome.judgement, outcome.setup
    named = ", ".join(t for t in (setup.job, setup.sensor_label, setup.serial) if t)
    lines = [
        f"{judgement.verdict.upper()}: {named or 'sensor not named'}",
        f"Reason: {judgement.reason}",
        _ends(outcome),
        f"Supply: {quantity_text(judgement.quantities.get('supply_v'))}",
        f"Sense: {outcome.analysis.sense} ({outcome.analysis.sense_evidence})",
        _worst(outcome),
        _next_step(outcome),
        f"Caution: {' '.join(facts.cautions(outcome))}",
        f"Capture: {facts.code_text(outcome)}",
    ]
    alerts = (*((SIMULATED,) if outcome.simulated else ()), *facts.alerts(outcome))
    if alerts:
        lines.insert(1, f"Note: {' '.join(alerts)}")
    return "\n".join(one_line(line, WIDTH) for line in lines[:MAX_LINES]) + "\n"
