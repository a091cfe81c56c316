"""The contents of the sheet's template: finished texts and drawings, so that the template decides nothing."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from markupsafe import Markup

from sweeprig.analysis.track_map import encounters
from sweeprig.judge.brief import not_judged, not_shown_names
from sweeprig.judge.left_out import left_out
from sweeprig.judge.outcome import Outcome
from sweeprig.report import evidence, facts
from sweeprig.report.budgets import budgets, end_keys, short_budget
from sweeprig.report.customer import customer_text, without_commands
from sweeprig.report.figures import NONE, WHOLE, capture_code, clip, fixed, volts
from sweeprig.report.first_page import (
    deepest_text,
    first_facts,
    headline,
    in_strokes,
    not_compared,
    plainly,
    spread_in_volts,
    taken_text,
)
from sweeprig.report.handover import FORMULA, HandoverRow, handover_rows
from sweeprig.report.limits import limit_rows
from sweeprig.report.names import name_of
from sweeprig.report.pair_plot import pair_svg
from sweeprig.report.room import Room, heads, held, most_typed, named, room_for, typed
from sweeprig.report.trace_plot import trace_svg
from sweeprig.report.track_plot import passes_text, track_svg
from sweeprig.words import SIMULATED

NOISE_NOTE = (
    "Noise in the track map is the scatter inside one window as the lever passes. A peak alone is no fault: it is"
    " judged only where a finding names the place. One that comes back there with dropouts is a worn spot."
)
MOST_NOT_SHOWN, MOST_NAME, MOST_NAMES = 260, 100, 6  # characters of a sentence, of a name; names
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
    return {
        "name": name_of(key),
        "value": volts(q.value, q.u95),
        "spread": spread_in_volts(q.value, q.u95),
        "more": more,
    }


def _sense(outcome: Outcome) -> dict[str, str]:
    known = outcome.analysis.sense != "unknown"
    note = "as the throttle opens" if known else "which end is closed is not known"
    return {"name": "Sense", "value": str(outcome.analysis.sense).capitalize(), "spread": note, "more": ""}


def _events(outcome: Outcome) -> dict[str, str]:
    events = outcome.analysis.events
    worst, n = facts.worst_event(outcome), len(events if facts.is_wiggle(outcome) else encounters(events))
    strokes = in_strokes(outcome)
    strokes = "while the harness was moved" if facts.is_wiggle(outcome) else strokes
    deepest = deepest_text(outcome, worst) if worst else ""
    if outcome.trace.signal_b is not None and {e.channel for e in outcome.analysis.events} == {1}:
        strokes += ", track B"
    return {
        "name": "Dropouts and jumps",
        "value": str(n) if n else "None",
        "spread": strokes,
        "more": deepest,
    }


def readings(outcome: Outcome) -> list[dict[str, str]]:
    """Return the large figures at the head of the main page."""
    ends = [_reading(outcome, key) for key in end_keys(outcome)]
    if outcome.trace.signal_b is not None:
        ends = [e | {"name": f"Track A: {e['name'][:1].lower()}{e['name'][1:]}"} for e in ends]
    return [*ends, _reading(outcome, "supply_v"), _sense(outcome), _events(outcome)]


def _handover_row(row: HandoverRow) -> dict[str, Any]:
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


def _map_height(outcome: Outcome) -> float:
    return 150.0 if outcome.analysis.track_map_b is None else 118.0


def _track(outcome: Outcome) -> dict[str, Any] | None:
    track = outcome.analysis.track_map
    if track is None:
        return None
    first = "low" if outcome.analysis.sense == "unknown" else "closed"
    found = outcome.judgement.findings
    drawing = track_svg(
        track, found, channel=0, width=470, height=_map_height(outcome), name="map", first=first
    )
    return {"drawing": drawing, "passes": passes_text(track)}


def _pair(outcome: Outcome) -> Markup | None:
    line = outcome.analysis.two_tracks
    if line is None or outcome.trace.signal_b is None:
        return None
    return pair_svg(outcome.trace, line, width=470, height=230, name="pair")


def _second_track(outcome: Outcome) -> Markup | None:
    track = outcome.analysis.track_map_b
    first = "low" if outcome.analysis.sense == "unknown" else "closed"
    if track is None:
        return None
    found = outcome.judgement.findings
    return track_svg(
        track, found, channel=1, width=470, height=_map_height(outcome), name="mapb", first=first
    )


def _head(outcome: Outcome, room: Room) -> dict[str, Any]:
    s, verdict = outcome.setup, str(outcome.judgement.verdict)
    reason, alerts, most = headline(outcome), facts.alerts(outcome), most_typed(s)
    return {
        "verdict": verdict,
        "simulated": SIMULATED if outcome.simulated else "",
        "word": VERDICT_WORDS[verdict],
        "customer": customer_text(outcome),
        "reason": held(reason, room.reason),
        "long_reason": len(reason) > 120,
        "under": held(outcome.judgement.reservation, room.reason),
        "not_judged": not_compared(outcome),
        "who": [f"{name} {typed(t, most)}" for name, t in named(s) if t],
        "workshop": typed(s.workshop, most),
        "whose": [
            f"{n} {typed(t, most)}" for n, t in (("Customer:", s.customer), ("Vehicle:", s.vehicle)) if t
        ],
        "kind": "Wiggle test report" if facts.is_wiggle(outcome) else "Position sensor test report",
        "taken": taken_text(outcome),
        "tester": typed(s.operator, most),
        "code": capture_code(outcome.capture.sha256 if outcome.capture else ""),
        "sha256": outcome.capture.sha256 if outcome.capture else "",
        "alerts": [held(without_commands(t), room.alert) for t in alerts[: room.alerts]],
        "more_alerts": max(0, len(alerts) - room.alerts),
        "readings": readings(outcome),
    }


def _tables(outcome: Outcome, room: Room, table: list[dict[str, Any]]) -> dict[str, Any]:
    found, limits = evidence.finding_rows(outcome), limit_rows(outcome)
    short = [
        f
        | {
            "place": f["place"] if room.extra else "",  # the customer's sentence has it too
            "evidence": held(plainly(f["evidence"]), room.evidence),
            "next_step": held(plainly(f["next_step"]), room.next_step, WHOLE),
        }
        for f in found[: room.findings]
    ]
    unseen, others = _not_shown(outcome, max(room.not_shown - 3 * len(short), 0))
    return {
        "limits": [replace(r, name=r.name.replace(" of track B,", " B,")) for r in limits[: room.limits]],
        "more_limits": max(0, len(limits) - room.limits),
        "main_findings": short,
        "more_findings": max(0, len(found) - room.findings),
        "main_not_shown": unseen,
        "more_not_shown": others,
        "handover": table,
        "no_counts": _no_counts(outcome),
        "formula": FORMULA,
        "nominal": f"{outcome.trace.nominal_supply_v:g} V",
    }


def _left_out(outcome: Outcome) -> str:
    return left_out(outcome.profile, tracks=1 if outcome.trace.signal_b is None else 2)


def _not_shown(outcome: Outcome, most: int) -> tuple[list[str], str]:
    """Return at most `most` of the points not shown as whole sentences, and the rest by name; no sentence is cut."""
    names = not_shown_names(outcome)
    texts = [t for t in outcome.judgement.not_shown if t != _left_out(outcome)]  # said beside the verdict
    if len(texts) <= most:
        return [held(without_commands(t), MOST_NOT_SHOWN) for t in texts], ""
    rest = "; ".join(clip(n, MOST_NAME) for n in names[:MOST_NAMES])
    more = f"; {len(names) - MOST_NAMES} more" if len(names) > MOST_NAMES else ""
    return [], rest + more


def _no_counts(outcome: Outcome) -> str:
    """Return why the hand-over table has no ratio; empty where it has."""
    ratio = outcome.judgement.quantities.get(end_keys(outcome)[0].replace("_v", "_ratio"))
    if ratio is not None and ratio.value is not None:
        return ""
    return (ratio.reason if ratio else "") or "the supply was not measured"


def main_page(outcome: Outcome) -> dict[str, Any]:
    """Return what stands on the first page."""
    table = handover(outcome)
    room = room_for(outcome, n_alerts=len(facts.alerts(outcome)), n_tracks=len(table))
    shots = evidence.snapshot_drawings(outcome, limit=1, width=470, height=150, name="first")
    return (
        _head(outcome, room)
        | _tables(outcome, room, table)
        | {
            "trace_wide": trace_svg(outcome, width=960, height=room.trace_height, name="wide"),
            "trace_narrow": trace_svg(outcome, width=400, height=340, name="narrow"),
            "track": _track(outcome),
            "track_b": _second_track(outcome),
            "extra": room.extra,
            "dense": room.dense,
            "short_budget": short_budget(outcome),
            "first_shot": shots[0] if shots else None,
            "facts": [(n, held(without_commands(t), room.fact)) for n, t in first_facts(outcome)],
            "as_ratio": outcome.profile.supply.ratiometric and outcome.trace.supply is not None,
            "close_events": _has_close_events(outcome),
            "as_loaded": outcome.trace.load_ohm is not None,
            "cautions": facts.cautions(outcome),
            "versions": held(facts.versions_text(outcome), room.versions),
        }
    )


def _has_close_events(outcome: Outcome) -> bool:
    """Whether dropouts lie so close together that the graph has more numbers than are counted."""
    events = outcome.analysis.events
    return not facts.is_wiggle(outcome) and len(encounters(events)) < len(events)


def sheet_view(outcome: Outcome) -> dict[str, Any]:
    """Return the whole sheet's contents."""
    n_shots = len(outcome.capture.snapshots) if outcome.capture else 0
    page = main_page(outcome)
    whole = all(len(text) <= most_typed(outcome.setup) for text in heads(outcome.setup))
    passed = outcome.judgement.verdict == "pass" and not outcome.judgement.findings and whole
    return page | {
        "print_all": not (passed and page["extra"] and not n_shots and not page["more_not_shown"]),
        "full_reason": outcome.judgement.reason,
        "left_unjudged": not_judged(outcome),
        "all_alerts": facts.alerts(outcome),
        "findings": evidence.finding_rows(outcome),
        "all_limits": limit_rows(outcome),
        "events": evidence.event_rows(outcome),
        "events_by": "Place" if facts.is_wiggle(outcome) else "Stroke",
        "events_left_out": max(0, len(outcome.analysis.events) - evidence.MAX_EVENTS),
        "marks": facts.mark_texts(outcome),
        "snapshots": evidence.snapshot_drawings(
            outcome, limit=evidence.MAX_SNAPSHOTS, width=340, height=170, name="shot"
        ),
        "snapshots_left_out": max(0, n_shots - evidence.MAX_SNAPSHOTS),
        "budgets": budgets(outcome),
        "pair": _pair(outcome),
        "noise_note": NOISE_NOTE,
        "quantities": evidence.quantity_rows(outcome),
        "not_shown": outcome.judgement.not_shown,
        "coaching": outcome.capture.coaching if outcome.capture else (),
        "confirmed": outcome.setup.confirmed,
        "prepared": outcome.setup.prepared,
        "people": evidence.person_rows(outcome),
        "rig": evidence.rig_rows(outcome),
        "board_text": outcome.capture.board_text[: evidence.MAX_BOARD_LINES] if outcome.capture else (),
    }
