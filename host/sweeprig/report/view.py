"""What the sheet's template is filled with: text and drawings only, so that the template decides nothing."""

from __future__ import annotations

from typing import Any

from markupsafe import Markup

from sweeprig.judge.outcome import Outcome
from sweeprig.report import evidence, facts
from sweeprig.report.budgets import budgets, end_keys, short_budget
from sweeprig.report.figures import NONE, capture_code, clip, count_of, fixed, u_text, volts
from sweeprig.report.handover import FORMULA, Row, handover_rows
from sweeprig.report.limits import limit_rows
from sweeprig.report.names import name_of
from sweeprig.report.trace_plot import trace_svg
from sweeprig.report.track_plot import passes_text, track_svg

MAIN_FINDINGS = 2  # in full on the main page; every one stands on the pages after it
MAIN_NOT_SHOWN = 4  # together with the findings
MAIN_LIMITS = 8
MAIN_REASON = 260  # characters of the reason on the main page
MAIN_EVIDENCE = 330  # characters of a finding's evidence and next step there
MAIN_ALERTS = 3
CLIP = 40  # characters of one typed text on the main page; in full behind it
VERDICT_WORDS = {"pass": "Pass", "fail": "Fail", "undecided": "Undecided"}


def _reading(outcome: Outcome, key: str) -> dict[str, str]:
    q = outcome.judgement.quantities.get(key)
    if q is None or q.value is None:
        reason = q.reason if q and q.reason else "not measured"
        return {"name": name_of(key), "value": NONE, "spread": clip(reason, 60), "more": ""}
    more = ""
    ratio = outcome.judgement.quantities.get(key.replace("_v", "_ratio"))
    if (
        key != "supply_v"
        and ratio is not None
        and ratio.value is not None
        and outcome.profile.supply.ratiometric
    ):
        supply = outcome.trace.nominal_supply_v
        more = f"{volts(ratio.value * supply)} at {supply:g} V supply"
    return {"name": name_of(key), "value": volts(q.value, q.u95), "spread": u_text(q.u95), "more": more}


def _sense(outcome: Outcome) -> dict[str, str]:
    known = outcome.analysis.sense != "unknown"
    note = "as the throttle opens" if known else "which end is closed is not known"
    return {"name": "Sense", "value": str(outcome.analysis.sense).capitalize(), "spread": note, "more": ""}


def _events(outcome: Outcome) -> dict[str, str]:
    worst, n = facts.worst_event(outcome), len(outcome.analysis.events)
    strokes = f"in {count_of(len(outcome.analysis.strokes), 'stroke')}"
    deepest = f"deepest {fixed(worst.depth_percent, 0)} % of supply" if worst else ""
    return {
        "name": "Dropouts and jumps",
        "value": str(n) if n else "None",
        "spread": strokes,
        "more": deepest,
    }


def readings(outcome: Outcome) -> list[dict[str, str]]:
    """Return the large figures at the head of the main page."""
    ends = [_reading(outcome, key) for key in (*end_keys(outcome), "supply_v")]
    return [*ends, _sense(outcome), _events(outcome)]


def _handover_row(row: Row) -> dict[str, Any]:
    part = "" if row.percent is None else f"{row.percent} %"
    return {
        "place": part if row.calculated else f"{part} {row.name}".strip(),
        "calculated": row.calculated,
        "cells": [
            fixed(row.value_v, 3),
            NONE if row.ratio is None else fixed(row.ratio, 4),
            fixed(row.nominal_v, 3),
            *(NONE if n is None else str(n) for n in row.counts),
        ],
    }


def handover(outcome: Outcome) -> list[dict[str, Any]]:
    """Return the hand-over table, a group for each track that was measured."""
    groups = []
    for name, track_b in (("Track A", False), ("Track B", True)):
        rows = [_handover_row(r) for r in handover_rows(outcome, track_b=track_b)]
        if rows:
            groups.append({"name": name, "rows": rows})
    return groups


def headline(outcome: Outcome) -> str:
    """Return the reason without the evidence that stands under the findings anyway."""
    reason = outcome.judgement.reason
    for finding in outcome.judgement.findings[:1]:
        if len(finding.evidence) > 20:
            reason = reason.replace(f": {finding.evidence}", "")
    return reason


def _track(outcome: Outcome) -> dict[str, Any] | None:
    track = outcome.analysis.track_map
    if track is None:
        return None
    first = "low" if outcome.analysis.sense == "unknown" else "closed"
    found = outcome.judgement.findings
    drawing = track_svg(track, found, width=470, height=158, name="map", first=first)
    return {"drawing": drawing, "passes": passes_text(track)}


def _second_track(outcome: Outcome) -> Markup | None:
    track = outcome.analysis.track_map_b
    first = "low" if outcome.analysis.sense == "unknown" else "closed"
    return None if track is None else track_svg(track, (), width=470, height=158, name="mapb", first=first)


def _head(outcome: Outcome) -> dict[str, Any]:
    s, verdict = outcome.setup, str(outcome.judgement.verdict)
    reason, alerts = headline(outcome), facts.alerts(outcome)
    return {
        "verdict": verdict,
        "word": VERDICT_WORDS[verdict],
        "reason": clip(reason, MAIN_REASON),
        "long_reason": len(reason) > 120,
        "under": outcome.judgement.under,
        "who": [clip(t, CLIP) for t in (s.job, s.sensor_label, s.part, s.serial) if t],
        "kind": "Wiggle sheet" if s.task == "wiggle" else "Position sensor sheet",
        "taken": (outcome.capture.created if outcome.capture else outcome.made_at)[:16].replace("T", " "),
        "code": capture_code(outcome.capture.sha256 if outcome.capture else ""),
        "sha256": outcome.capture.sha256 if outcome.capture else "",
        "alerts": [clip(t, 200) for t in alerts[:MAIN_ALERTS]],
        "more_alerts": max(0, len(alerts) - MAIN_ALERTS),
        "readings": readings(outcome),
    }


def main_page(outcome: Outcome) -> dict[str, Any]:
    """Return what stands on the first page: it has to fit on one A4 whatever was typed or found."""
    found, limits = evidence.finding_rows(outcome), limit_rows(outcome)
    short = [
        f | {k: clip(f[k], MAIN_EVIDENCE) for k in ("evidence", "next_step")} for f in found[:MAIN_FINDINGS]
    ]
    table = handover(outcome)
    shots = evidence.snapshot_drawings(outcome, limit=1, width=470, height=150, name="first")
    return _head(outcome) | {
        "trace_wide": trace_svg(outcome, width=960, height=282, name="wide"),
        "trace_narrow": trace_svg(outcome, width=400, height=340, name="narrow"),
        "track": _track(outcome),
        "limits": limits[:MAIN_LIMITS],
        "more_limits": max(0, len(limits) - MAIN_LIMITS),
        "main_findings": short,
        "main_not_shown": [clip(t, 140) for t in outcome.judgement.not_shown[: MAIN_NOT_SHOWN - len(short)]],
        "more_findings": max(0, len(found) - MAIN_FINDINGS),
        "handover": table,
        "no_counts": bool(table) and table[0]["rows"][0]["cells"][1] == NONE,
        "formula": FORMULA,
        "nominal": f"{outcome.trace.nominal_supply_v:g} V",
        "short_budget": short_budget(outcome),
        "first_shot": shots[0] if shots and len(table) < 2 else None,
        "facts": [(n, clip(t, 120)) for n, t in facts.facts(outcome)],
        "cautions": facts.cautions(outcome),
        "versions": ", ".join(f"{k} {v}" for k, v in outcome.versions.items()),
    }


def sheet_view(outcome: Outcome) -> dict[str, Any]:
    """Return the whole sheet's contents."""
    n_shots = len(outcome.capture.snapshots) if outcome.capture else 0
    plain = outcome.judgement.verdict == "pass" and not outcome.judgement.findings and not n_shots
    return main_page(outcome) | {
        "print_all": not plain,
        "full_reason": outcome.judgement.reason,
        "all_alerts": facts.alerts(outcome),
        "findings": evidence.finding_rows(outcome),
        "all_limits": limit_rows(outcome),
        "events": evidence.event_rows(outcome),
        "events_left_out": max(0, len(outcome.analysis.events) - evidence.MAX_EVENTS),
        "marks": facts.mark_texts(outcome),
        "snapshots": evidence.snapshot_drawings(
            outcome, limit=evidence.MAX_SNAPSHOTS, width=340, height=170, name="shot"
        ),
        "snapshots_left_out": max(0, n_shots - evidence.MAX_SNAPSHOTS),
        "track_b": _second_track(outcome),
        "budgets": budgets(outcome),
        "quantities": evidence.quantity_rows(outcome),
        "not_shown": outcome.judgement.not_shown,
        "coaching": outcome.capture.coaching if outcome.capture else (),
        "confirmed": outcome.setup.confirmed,
        "prepared": outcome.setup.prepared,
        "people": evidence.person_rows(outcome),
        "rig": evidence.rig_rows(outcome),
        "board_text": outcome.capture.board_text[: evidence.MAX_BOARD_LINES] if outcome.capture else (),
    }
