"""The sheet in ten plain statements at most, to read aloud or to paste into a message; a terminal folds long ones."""

from __future__ import annotations

from sweeprig.judge.brief import next_step, not_judged, not_shown_names
from sweeprig.judge.outcome import Outcome
from sweeprig.report import facts
from sweeprig.report.figures import at_clause, one_line, quantity_text
from sweeprig.words import SIMULATED

MAX_LINES = 10
LONG = 10_000  # characters that are looked at
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


def _joined(*parts: str) -> str:
    return " ".join(part for part in parts if part)


def _not_shown(outcome: Outcome) -> str:
    names = not_shown_names(outcome)
    return f"Not shown by this capture: {'; '.join(names)}." if names else ""


def text_sheet(outcome: Outcome) -> str:
    """Return at most ten lines: verdict, reason, ends, supply, sense, worst event, next step, cautions, code.

    Plain text without control characters; an alert (override, early end, remark) takes a line of its own.
    """
    judgement, setup = outcome.judgement, outcome.setup
    named = ", ".join(t for t in (setup.job, setup.sensor_label, setup.serial) if t)
    lines = [
        f"{judgement.verdict.upper()}: {named or 'sensor not named'}",
        _joined(f"Reason: {judgement.main_reason}", judgement.reservation),
        _joined(f"{_ends(outcome)}.", not_judged(outcome)),
        f"Supply: {quantity_text(judgement.quantities.get('supply_v'))}",
        f"Sense: {outcome.analysis.sense} ({facts.sense_text(outcome)})",
        _joined(_worst(outcome), _not_shown(outcome)),
        f"Next: {next_step(outcome)}",
        f"Caution: {' '.join(facts.cautions(outcome))}",
        f"Capture: {facts.code_text(outcome)}",
    ]
    alerts = (*((SIMULATED,) if outcome.simulated else ()), *facts.alerts(outcome))
    if alerts:
        lines.insert(1, f"Note: {' '.join(alerts)}")
    return "\n".join(at_clause(one_line(line, LONG), WIDTH) for line in lines[:MAX_LINES]) + "\n"
