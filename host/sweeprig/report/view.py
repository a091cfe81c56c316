"""What the sheet's template is filled with: text and drawings only, so that the template decides nothing."""

from __future__ import annotations

from typing import Any

from sweeprig.judge.model import Margin, Quantity
from sweeprig.judge.outcome import Outcome
from sweeprig.report import facts
from sweeprig.report.figures import capture_code, count_of, fixed, quantity_text, span_text, u_text, volts
from sweeprig.report.handover import FORMULA, Row, handover_rows
from sweeprig.report.snapshot_plot import snapshot_svg
from sweeprig.report.trace_plot import numbered_events, trace_svg
from sweeprig.report.track_plot import track_svg

MAIN_FINDINGS = 2  # in full on the main page; every one stands on the pages after it
MAIN_MARGINS = 6
MAX_SNAPSHOTS = 6
MAX_EVENTS = 40
CLIP = 64  # characters of typed text on the main page; in full behind it
VERDICT_WORDS = {"pass": "Pass", "fail": "Fail", "undecided": "Undecided"}
NAMES = {
    "closed_v": "Closed throttle",
    "open_v": "Open throttle",
    "low_v": "Low end",
    "high_v": "High end",
    "span_v": "Span",
    "supply_v": "Supply",
    "closed_ratio": "Closed, ratio to supply",
    "open_ratio": "Open, ratio to supply",
}


def clip(text: str, limit: int = CLIP) -> str:
    """Return typed text short enough for the main page."""
    return text if len(text) <= limit else text[: limit - 1].rstrip() + "…"


def name_of(key: str) -> str:
    """Return a quantity's name in words."""
    return NAMES.get(key, key.removesuffix("_v").replace("_", " ").capitalize())


def _reading(outcome: Outcome, key: str) -> dict[str, str]:
    q = outcome.judgement.quantities.get(key)
    if q is None or q.value is None:
        reason = q.reason if q and q.reason else "not measured"
        return {"name": name_of(key), "value": "–", "spread": clip(reason, 60)}
    nominal = ""
    ratio = outcome.judgement.quantities.get(key.replace("_v", "_ratio"))
    if ratio is not None and ratio.value is not None and ratio is not q:
        supply = outcome.trace.nominal_supply_v
        nominal = f"{volts(ratio.value * supply)} at {supply:g} V supply"
    return {"name": name_of(key), "value": volts(q.value), "spread": u_text(q.u95), "more": nominal}


def readings(outcome: Outcome) -> list[dict[str, str]]:
    """Return the large figures at the head of the main page."""
    unknown = outcome.analysis.sense == "unknown"
    keys = ("low_v", "high_v") if unknown else ("closed_v", "open_v")
    sense = {
        "name": "Sense",
        "value": str(outcome.analysis.sense).capitalize(),
        "spread": "as the throttle opens" if not unknown else "which end is closed is not known",
    }
    strokes = outcome.analysis.strokes
    worst = facts.worst_event(outcome)
    events = {
        "name": "Events",
        "value": str(len(outcome.analysis.events)),
        "spread": f"in {count_of(len(strokes), 'stroke')}"
        + (f", deepest {fixed(worst.depth_percent, 0)} %" if worst else ""),
    }
    return [
        _reading(outcome, keys[0]),
        _reading(outcome, keys[1]),
        _reading(outcome, "supply_v"),
        sense,
        events,
    ]


def margin_row(m: Margin) -> dict[str, str]:
    """Return one margin in words."""
    sign = "above" if m.rail == "lower" else "below"
    return {
        "end": m.end.capitalize(),
        "value": volts(m.value_v),
        "spread": u_text(m.u95),
        "limit": f"{sign} {volts(m.limit_v)}",
        "verdict": str(m.verdict),
        "decide": m.would_decide,
    }


def handover_row(row: Row) -> dict[str, Any]:
    """Return one row of the hand-over table in words."""
    part = "" if row.percent is None else f"{row.percent} %"
    return {
        "place": f"{part} {row.name}".strip() if not row.calculated else part,
        "calculated": row.calculated,
        "volts": fixed(row.value_v, 3),
        "ratio": "–" if row.ratio is None else fixed(row.ratio, 4),
        "nominal": fixed(row.nominal_v, 3),
        "counts": ["–" if n is None else str(n) for n in row.counts],
    }


def finding_rows(outcome: Outcome) -> list[dict[str, str]]:
    """Return the findings in words, numbered in the order of the judgement."""
    return [
        {
            "number": str(number),
            "title": str(f.code).replace("-", " ").capitalize(),
            "cause": str(f.cause),
            "where": span_text(f.where_percent),
            "channel": facts.CHANNELS[f.channel] if f.channel is not None else "",
            "severity": f.severity,
            "evidence": f.evidence,
            "next_step": f.next_step,
        }
        for number, f in enumerate(outcome.judgement.findings, 1)
    ]


def event_rows(outcome: Outcome) -> list[dict[str, str]]:
    """Return the events in order of time, with the numbers that the trace shows."""
    numbers = {id(e): n for n, e in numbered_events(outcome.analysis.events)}
    return [
        {
            "number": str(numbers.get(id(e), "")),
            "time": f"{e.start_s:.4f} s",
            "text": facts.event_text(e),
            "supply": "moved too" if e.with_supply else "steady" if outcome.trace.supply else "not observed",
            "stroke": "–" if e.stroke is None else str(e.stroke + 1),
        }
        for e in sorted(outcome.analysis.events, key=lambda e: e.start_s)[:MAX_EVENTS]
    ]


def budget_of(key: str, q: Quantity) -> dict[str, Any] | None:
    """Return one uncertainty budget, largest contribution first; None where there is none."""
    if q.value is None or not q.budget:
        return None
    total = sum(line.contribution**2 for line in q.budget)
    lines = [
        {
            "name": line.name,
            "kind": line.kind,
            "distribution": line.distribution,
            "u": f"{line.u:.3g} {line.unit}",
            "gives": f"{line.contribution * 1e3:.3g} mV" if q.unit == "V" else f"{line.contribution:.3g}",
            "share": round(100 * line.contribution**2 / total) if total else 0,
        }
        for line in sorted(q.budget, key=lambda b: -b.contribution)
    ]
    k = f", coverage factor {q.coverage_factor:.3g}" if q.coverage_factor else ""
    dof = f", {q.dof:.3g} effective degrees of freedom" if q.dof < 1e4 else ""
    return {"title": f"{name_of(key)} {quantity_text(q)} (95 %{k}{dof})", "lines": lines}


def budgets(outcome: Outcome) -> list[dict[str, Any]]:
    """Return the budgets of the ends and the supply that are reported."""
    unknown = outcome.analysis.sense == "unknown"
    keys = ("low_v", "high_v", "supply_v") if unknown else ("closed_v", "open_v", "supply_v")
    found = ((key, outcome.judgement.quantities.get(key)) for key in keys)
    return [b for key, q in found if q is not None and (b := budget_of(key, q)) is not None]


def quantity_rows(outcome: Outcome) -> list[tuple[str, str]]:
    """Return every quantity of the judgement, then what the analysis adds."""
    a = outcome.analysis
    rows = [(name_of(key), quantity_text(q)) for key, q in outcome.judgement.quantities.items()]
    if a.smoothness_percent is not None:
        rows.append(
            ("Smoothness, largest change within 1 % of span", f"{a.smoothness_percent:.2f} % of supply")
        )
    rows.append(("Noise of a single window", f"{a.noise_v * 1e3:.2f} mV"))
    for name, end in (("Low end", a.low), ("High end", a.high)):
        if end is not None:
            spread = f"spread {end.spread_v * 1e3:.2f} mV, " if end.spread_v == end.spread_v else ""
            rows.append(
                (
                    f"{name}, from {count_of(end.n_rests, 'rest')}",
                    f"{spread}drift {fixed(end.drift_v * 1e3, 2)} mV",
                )
            )
    if a.two_tracks is not None:
        t = a.two_tracks
        rows.append(("Track B to track A", f"{t.relation}, slope {fixed(t.slope, 4)}, offset {volts(t.offset_v)}, "
                     f"largest departure {t.max_error_percent:.2f} % of supply"))  # fmt: skip
    if a.linearity is not None:
        lin = a.linearity
        rows.append(("Linearity, % of applied voltage", f"independent {lin.independent_percent:.2f}, terminal "
                     f"{lin.terminal_percent:.2f}, zero-based {lin.zero_based_percent:.2f}"))  # fmt: skip
        rows.append(("Hysteresis", f"{lin.hysteresis_percent:.2f} % of applied voltage"))
    return rows


def snapshots(outcome: Outcome) -> list[dict[str, Any]]:
    """Return the first snapshots as drawings."""
    capture = outcome.capture
    if capture is None:
        return []
    shown = [0, 2] if outcome.trace.supply is not None else [0]
    shown += [1] if outcome.trace.signal_b is not None else []
    drawings = []
    for number, shot in enumerate(capture.snapshots[:MAX_SNAPSHOTS], 1):
        first = int(capture.records.index[0]) if capture.records.index.size else 0
        at_s = (shot.index - first) * capture.window_s + shot.first / capture.conversion_hz
        channels = tuple(c for c in sorted({*shown, shot.channel}) if c < shot.channels)
        drawing = snapshot_svg(
            shot,
            conversion_hz=capture.conversion_hz,
            shown=channels,
            width=340,
            height=170,
            name=f"shot{number}",
        )
        title = f"{facts.CHANNELS[min(shot.channel, 2)]} at {at_s:.4f} s"
        drawings.append({"title": title, "drawing": drawing})
    return drawings


def person_rows(outcome: Outcome) -> list[tuple[str, str]]:
    """Return all that was typed, in full."""
    s = outcome.setup
    track = f"{s.track_ohm:g} ohm" if s.track_ohm is not None else "not measured"
    rows = [("Job", s.job), ("Label", s.sensor_label), ("Part", s.part), ("Serial", s.serial)]
    rows += [("Kind", s.sensor_kind or "unknown"), ("Track resistance", track), ("Operator", s.operator)]
    return [(name, text or "not given") for name, text in [*rows, ("Notes", s.notes)]]


def rig_rows(outcome: Outcome) -> list[tuple[str, str]]:
    """Return the rig, its trim and what they are good for."""
    trim, capture = outcome.trim, outcome.capture
    rows = [
        ("Rig", facts.rig_text(outcome)),
        ("Trim", facts.trim_text(outcome)),
        ("Meter", facts.meter_text(outcome)),
    ]
    if trim is not None and trim.temperature_c is not None:
        mode = f", supply mode {trim.smps_mode}" if trim.smps_mode else ""
        rows.append(("Trim made at", f"{trim.temperature_c:.1f} °C{mode}"))
    rows.append(("Guard band", f"{outcome.judgement.guard_factor:g} × U (95 %)"))
    if capture is not None:
        rows.append(("Captured", f"{capture.created}, {capture.ended}"))
        rows.append(("Bad frames on the wire", str(capture.bad_frames)))
    rows.append(("Versions", ", ".join(f"{k} {v}" for k, v in outcome.versions.items())))
    return rows


def main_page(outcome: Outcome) -> dict[str, Any]:
    """Return what stands on the first page."""
    s, verdict = outcome.setup, str(outcome.judgement.verdict)
    found = finding_rows(outcome)
    track = outcome.analysis.track_map
    first = "low" if outcome.analysis.sense == "unknown" else "closed"
    sha = outcome.capture.sha256 if outcome.capture else ""
    return {
        "verdict": verdict,
        "word": VERDICT_WORDS[verdict],
        "reason": outcome.judgement.reason,
        "under_pass": outcome.judgement.under,
        "who": [clip(t, 40) for t in (s.job, s.sensor_label, s.part, s.serial) if t],
        "taken": (outcome.capture.created if outcome.capture else outcome.made_at)[:16].replace("T", " "),
        "code": capture_code(sha),
        "alerts": facts.alerts(outcome),
        "readings": readings(outcome),
        "trace_wide": trace_svg(outcome, width=960, height=300, name="wide"),
        "trace_narrow": trace_svg(outcome, width=400, height=340, name="narrow"),
        "track": track_svg(track, outcome.judgement.findings, width=470, height=170, name="map", first=first)
        if track is not None
        else None,
        "margins": [margin_row(m) for m in outcome.judgement.margins[:MAIN_MARGINS]],
        "more_margins": max(0, len(outcome.judgement.margins) - MAIN_MARGINS),
        "main_findings": found[:MAIN_FINDINGS],
        "more_findings": max(0, len(found) - MAIN_FINDINGS),
        "handover": [handover_row(r) for r in handover_rows(outcome)],
        "formula": FORMULA,
        "nominal": f"{outcome.trace.nominal_supply_v:g} V",
        "facts": [(n, clip(t, 150)) for n, t in facts.facts(outcome)],
        "cautions": facts.cautions(outcome),
    }


def sheet_view(outcome: Outcome) -> dict[str, Any]:
    """Return the whole sheet's contents."""
    shots = outcome.capture.snapshots if outcome.capture else ()
    map_b = outcome.analysis.track_map_b
    return main_page(outcome) | {
        "findings": finding_rows(outcome),
        "all_margins": [margin_row(m) for m in outcome.judgement.margins],
        "events": event_rows(outcome),
        "events_left_out": max(0, len(outcome.analysis.events) - MAX_EVENTS),
        "snapshots": snapshots(outcome),
        "snapshots_left_out": max(0, len(shots) - MAX_SNAPSHOTS),
        "track_b": track_svg(map_b, (), width=470, height=170, name="mapb", first="closed")
        if map_b
        else None,
        "budgets": budgets(outcome),
        "quantities": quantity_rows(outcome),
        "not_shown": outcome.judgement.not_shown,
        "coaching": outcome.capture.coaching if outcome.capture else (),
        "confirmed": outcome.setup.confirmed,
        "people": person_rows(outcome),
        "rig": rig_rows(outcome),
        "board_text": outcome.capture.board_text[:10] if outcome.capture else (),
    }
