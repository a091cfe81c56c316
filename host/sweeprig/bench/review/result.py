"""One outcome as one JSON object; the schema is beside this file and in docs/reference/result.md."""

from __future__ import annotations

import json
import math
from importlib import resources
from typing import Any

from sweeprig.analysis.model import Event, Finding
from sweeprig.judge.model import UNKNOWN_U, Check, Margin, Quantity, sentences
from sweeprig.judge.names import source_of
from sweeprig.judge.outcome import Outcome

SCHEMA_VERSION = 2


def schema() -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of what to_result gives."""
    text = (
        resources.files("sweeprig.bench.review")
        .joinpath("schema/result.schema.json")
        .read_text(encoding="utf-8")
    )
    data: dict[str, Any] = json.loads(text)
    return data


def number(value: float | None) -> float | None:
    """Return a JSON number; what is not finite is null."""
    if value is None or not math.isfinite(value):
        return None
    return float(value)


def quantity(q: Quantity | None, why: str) -> dict[str, Any]:
    """Return {value, u95}, either null with a reason; u95 is the half-width of the 95 % interval."""
    value = number(q.value) if q else None
    if q is None or value is None:
        return {"value": None, "u95": None, "reason": (q.reason if q and q.reason else why)}
    u95 = number(q.u95)
    return {"value": value, "u95": u95} | ({} if u95 is not None else {"reason": q.reason or UNKNOWN_U})


def margin(m: Margin) -> dict[str, Any]:
    """Return one margin."""
    return {
        "end": m.end,
        "rail": m.rail,
        "judged_v": number(m.level_v),
        "judged_u95": number(m.u95),
        "measured_v": number(m.measured_v),
        "limit_v": m.limit_v,
        "verdict": m.verdict.value,
        "would_decide": sentences(m.would_decide, m.next_step) or None,
    }


def check(c: Check) -> dict[str, Any]:
    """Return one limit that is no rail margin; null stands for not measured, or for no limit on that side."""
    return {
        "name": c.name,
        "value": number(c.value),
        "u95": number(c.u95),
        "unit": c.unit,
        "low": number(c.low),
        "high": number(c.high),
        "verdict": c.verdict.value,
        "source": source_of(c.source),
        "would_decide": sentences(c.would_decide, c.next_step) or None,
    }


def finding(f: Finding) -> dict[str, Any]:
    """Return one finding; where_percent is null or [from, to], 0 = closed."""
    return {
        "code": f.code.value,
        "cause": f.cause.value,
        "severity": f.severity,
        "channel": None if f.channel is None else "AB"[f.channel] if f.channel < 2 else "supply",
        "where_percent": None if f.where_percent is None else [round(float(p), 2) for p in f.where_percent],
        "evidence": f.evidence,
        "next_step": f.next_step,
    }


def event(e: Event) -> dict[str, Any]:
    """Return one event."""
    return {
        "start_s": number(e.start_s),
        "duration_s": number(e.duration_s),
        "channel": "AB"[e.channel] if e.channel < 2 else "supply",
        "kind": e.kind,
        "depth_percent": number(e.depth_percent),
        "at_percent": number(e.at_percent),
        "stroke": e.stroke,
        "at_rest": e.at_rest,
        "with_supply": e.with_supply,
    }


def against_angle(outcome: Outcome) -> dict[str, Any] | None:
    """Return linearity and hysteresis in % of applied voltage; None where no angle was seen, or one that comes late."""
    line, angle = outcome.analysis.linearity, outcome.trace.angle_deg
    if line is None or line.late_s or angle is None:
        return None
    return {
        "travel_deg": number(line.travel_deg),
        "linearity_percent": number(line.independent_percent),
        "linearity_terminal_percent": number(line.terminal_percent),
        "linearity_zero_based_percent": number(line.zero_based_percent),
        "hysteresis_percent": number(line.hysteresis_percent),
        "volts_per_degree": number(line.volts_per_degree),
    }


def _measured(outcome: Outcome) -> dict[str, Any]:
    quantities = outcome.judgement.quantities
    unknown = (
        "which end is closed is not known"
        if outcome.analysis.sense == "unknown"
        else "the lever was never held still at this end"
    )
    names = ("closed_v", "open_v", "low_v", "high_v", "span_v", "closed_ratio", "open_ratio", "supply_v")
    return {
        name: quantity(quantities.get(name), unknown if name[:4] in ("clos", "open") else "not observed")
        for name in names
    }


def to_result(outcome: Outcome) -> dict[str, Any]:
    """Return the outcome as a JSON-ready object: no NaN in it, unmeasured values are null with a reason."""
    analysis, judgement = outcome.analysis, outcome.judgement
    return {
        "schema_version": SCHEMA_VERSION,
        "simulated": outcome.simulated,
        "verdict": judgement.verdict.value,
        "reason": judgement.reason,
        "sense": analysis.sense.value,
        "sense_evidence": analysis.sense_evidence,
        "strokes": len(analysis.strokes),
        "linearity": against_angle(outcome),
        **_measured(outcome),
        "lowest_reading_v": number(analysis.plain.min_v),
        "highest_reading_v": number(analysis.plain.max_v),
        "margins": [margin(m) for m in judgement.margins],
        "checks": [check(c) for c in judgement.checks],
        "pass_does_not_cover": judgement.reservation or None,
        "findings": [finding(f) for f in judgement.findings],
        "events": [event(e) for e in analysis.events],
        "not_shown": list(judgement.not_shown),
        "remarks": list(outcome.remarks),
        "override": outcome.setup.override or None,
        "data_blocks": int(outcome.trace.t_s.size),
        "seconds": number(_seconds(outcome)),
        "shortest_dropout_s": number(outcome.trace.shortest_dropout_s),
        "profile": judgement.profile_name,
        "profile_sha256": outcome.profile.sha256 or None,
        "guard_factor": judgement.guard_factor,
        **_of_capture(outcome),
        "kept_on_board": outcome.setup.kept or None,
        "calibrated": None if outcome.calibration is None else outcome.calibration.kind != "nominal",
        "calibration": outcome.calibration.kind if outcome.calibration else None,
        "made_at": outcome.made_at,
        "versions": dict(outcome.versions),
    }


def _of_capture(outcome: Outcome) -> dict[str, Any]:
    capture = outcome.capture
    if capture is None:
        return {"data_blocks_lost": outcome.trace.n_lost, "ended": None, "capture_sha256": None}
    return {
        "data_blocks_lost": capture.n_lost,
        "ended": capture.ended,
        "capture_sha256": capture.sha256 or None,
    }


def _seconds(outcome: Outcome) -> float:
    t = outcome.trace.t_s
    return float(t[-1] - t[0]) + outcome.trace.window_s if t.size else 0.0
