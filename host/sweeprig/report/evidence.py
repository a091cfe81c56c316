"""The rows of the pages after the main page: findings, events, snapshots, quantities, people, rig."""

from __future__ import annotations

import numpy as np
from markupsafe import Markup

from sweepboard import wire
from sweeprig.analysis.late_angle import words
from sweeprig.analysis.model import Analysis, Code, Event, Finding
from sweeprig.calibration.model import Calibration
from sweeprig.calibration.uncertainty import channel_of
from sweeprig.calibration.volts import code_volts
from sweeprig.capture.marks import marks_of, place_at
from sweeprig.capture.model import FloatArray
from sweeprig.judge.outcome import Outcome
from sweeprig.judge.whole import TITLES, title_of
from sweeprig.report import facts
from sweeprig.report.customer import place_in_words
from sweeprig.report.figures import count_of, fixed, quantity_text, span_text, volts
from sweeprig.report.names import name_of
from sweeprig.report.snapshot_plot import snapshot_svg
from sweeprig.report.trace_plot import numbered_events

MAX_SNAPSHOTS = 6
MAX_EVENTS = 40
MAX_BOARD_LINES = 10
CAUSE_OPEN = "not yet known (connection or track)"
Rows = list[tuple[str, str]]


def _channel_of(finding: Finding) -> str:
    """Return the channel's name; "" where the cause already names it."""
    name = wire.CHANNEL_NAMES[finding.channel] if finding.channel is not None else ""
    return "" if name == str(finding.cause) else name


def _is_open(f: Finding) -> bool:
    """Whether there are too few dropouts to decide the cause."""
    return f.code is Code.STRAY_DROPOUT and f.severity == "doubt"


def finding_rows(outcome: Outcome) -> list[dict[str, str]]:
    """Return the findings in words, numbered in the order of the judgement."""
    return [
        {
            "number": str(number),
            "title": title_of(f).capitalize(),
            "cause": CAUSE_OPEN if _is_open(f) else str(f.cause),
            "where": "" if f.code in TITLES else span_text(f.where_percent),
            "place": place_in_words(f, outcome).strip(),
            "channel": _channel_of(f),
            "severity": "not certain" if f.severity == "doubt" else f.severity,
            "evidence": f.evidence,
            "next_step": f.next_step,
        }
        for number, f in enumerate(outcome.judgement.findings, 1)
    ]


def event_rows(outcome: Outcome) -> list[dict[str, str]]:
    """Return the first events in order of time, with the numbers that the trace shows.

    `stroke` holds where: the stroke of a sweep, the marked place of a wiggle test.
    """
    numbers = {id(e): n for n, e in numbered_events(outcome.analysis.events)}
    placed = not facts.is_wiggle(outcome)
    steady = "steady" if outcome.trace.supply is not None else "not observed"
    return [
        {
            "number": str(numbers.get(id(e), "")),
            "time": f"{e.start_s:.4f} s",
            "text": facts.event_text(e, shortest_s=outcome.trace.shortest_dropout_s, placed=placed),
            "supply": "moved too" if e.with_supply else steady,
            "stroke": _where_in_time(outcome, e),
        }
        for e in sorted(outcome.analysis.events, key=lambda e: e.start_s)[:MAX_EVENTS]
    ]


def _where_in_time(outcome: Outcome, e: Event) -> str:
    if facts.is_wiggle(outcome):
        marks = [] if outcome.capture is None else marks_of(outcome.capture)
        return place_at(marks, e.start_s - float(outcome.trace.t_s[0]))
    if e.at_rest:
        return "at rest"
    return "in no full stroke" if e.stroke is None else str(e.stroke + 1)


def snapshot_drawings(
    outcome: Outcome, *, limit: int, width: float, height: float, name: str
) -> list[tuple[str, Markup]]:
    """Return the first snapshots as titles and drawings: the channel that triggered, and what else was observed."""
    capture = outcome.capture
    if capture is None:
        return []
    shown = {0} | ({1} if outcome.trace.signal_b is not None else set())
    shown |= {2} if outcome.trace.supply is not None else set()
    drawings = []
    for number, shot in enumerate(capture.snapshots[:limit], 1):
        at_s = facts.time_of(outcome, shot.index) + (shot.first + shot.trigger) / capture.conversion_hz
        drawing = snapshot_svg(
            shot,
            conversion_hz=capture.conversion_hz,
            shown=tuple(c for c in sorted({*shown, shot.channel}) if c < shot.channels),
            volts=lambda channel, codes: conversion_volts(outcome.calibration, channel, codes),
            width=width,
            height=height,
            name=f"{name}{number}",
        )
        event = _event_at(outcome, at_s)
        drawings.append((f"{wire.CHANNEL_NAMES[min(shot.channel, 2)]} at {at_s:.4f} s{event}", drawing))
    return drawings


def _event_at(outcome: Outcome, at_s: float) -> str:
    """Return the number, as drawn on the trace, of the event that a conversion belongs to; "" for none."""
    window_s = outcome.trace.window_s
    for number, e in numbered_events(outcome.analysis.events):
        if e.start_s - 1e-9 <= at_s <= max(e.end_s, e.start_s) + window_s:
            return f", event {number}"
    return ""


def conversion_volts(calibration: Calibration | None, channel: int, codes: FloatArray) -> FloatArray:
    """Return volts at the sensor of single conversions (n,), as loaded; the codes where no calibration is known."""
    own = channel_of(calibration, channel)
    return codes if own is None else np.array([code_volts(float(code), own) for code in codes])


def _analysis_rows(a: Analysis) -> Rows:
    rows = [("Noise of a single window", f"{fixed(a.noise_v * 1e3, 2)} mV")]
    if a.smoothness_percent is not None:
        text = f"{fixed(a.smoothness_percent, 2)} % of supply"
        rows.append(("Smoothness: range of departures from a smooth curve", text))
    for name, end in (("Low end", a.low), ("High end", a.high)):
        if end is not None:
            spread = f"spread {fixed(end.spread_v * 1e3, 2)} mV, drift {fixed(end.drift_v * 1e3, 2)} mV"
            rows.append((f"{name}, from {count_of(end.n_rests, 'rest')}", spread))
    if a.two_tracks is not None:
        t = a.two_tracks
        text = f"{t.relation}, slope {fixed(t.slope, 4)}, offset {volts(t.offset_v)}"
        rows.append(("Track B to track A", f"{text}, departs by {fixed(t.max_error_percent, 2)} % of supply"))
    if a.linearity is not None:
        lin = a.linearity
        if lin.late_s:
            return [*rows, ("Linearity and hysteresis", f"not judged: {words(lin.late_s)}")]
        text = f"independent {fixed(lin.independent_percent, 2)}, terminal {fixed(lin.terminal_percent, 2)}"
        text += f", zero-based {fixed(lin.zero_based_percent, 2)}"
        rows.append(("Linearity, % of applied voltage", text))
        rows.append(("Hysteresis", f"{fixed(lin.hysteresis_percent, 2)} % of applied voltage"))
        rows.append(("Steepness", f"{fixed(lin.volts_per_degree * 1e3, 2)} mV per degree"))
    return rows


def quantity_rows(outcome: Outcome) -> Rows:
    """Return the judgement's quantities (closed and open, or low and high with unknown sense), then the analysis's."""
    quantities = outcome.judgement.quantities
    if outcome.analysis.sense == "unknown":
        hidden = {k for k in quantities if k.startswith(("closed", "open"))}
    else:
        hidden = {k for k in quantities if k.startswith(("low", "high"))}
    rows = [(name_of(key), quantity_text(q)) for key, q in quantities.items() if key not in hidden]
    return rows + _analysis_rows(outcome.analysis)


def person_rows(outcome: Outcome) -> Rows:
    """Return everything that the operator typed, uncut."""
    s = outcome.setup
    track = f"{s.track_ohm:g} ohm" if s.track_ohm is not None else "not measured"
    rows = [("Job", s.job), ("Label", s.sensor_label), ("Part", s.part), ("Serial", s.serial)]
    rows += [("Kind of sensor", s.sensor_kind or "unknown"), ("Track resistance", track)]
    if s.vehicle_drive:
        rows.append(("Vehicle's drive", s.vehicle_drive))
    if s.vehicle_system:
        rows.append(("Vehicle's system", f"{s.vehicle_system} V"))
    rows += [("Workshop", s.workshop), ("Customer", s.customer), ("Vehicle or machine", s.vehicle)]
    rows += [("Operator", s.operator), ("Notes", s.notes)]
    return [(name, text or "not given") for name, text in rows]


def rig_rows(outcome: Outcome) -> Rows:
    """Return rows on the rig, its calibration and their limits."""
    calibration, capture = outcome.calibration, outcome.capture
    rows = [
        ("Rig", facts.rig_text(outcome)),
        ("Rig's own lead", outcome.setup.lead_checked or "not tested yet"),
        ("Calibration", facts.calibration_text(outcome)),
        ("Meter behind the calibration", facts.meter_text(outcome)),
    ]
    if calibration is not None and calibration.temperature_c is not None:
        mode = f", regulator mode {calibration.smps_mode}" if calibration.smps_mode else ""
        rows.append(("Calibration made at", f"{fixed(calibration.temperature_c, 1)} °C{mode}"))
    if calibration is not None:
        rows.append(("Verification", facts.verified_text(outcome)))
    rows.append(("Shortest dropout that this rig can detect", facts.shortest_text(outcome)))
    rows.append(("Profile (the limits)", facts.profile_text(outcome)))
    rows.append(
        ("Guard band", f"a value must be inside its limit by {outcome.judgement.guard_factor:g} × its ±")
    )
    if capture is not None:
        rows.append(("Captured", f"{capture.created}, {capture.ended}"))
        rows.append(("Data frames from the rig that were garbled", str(capture.bad_frames)))
        rows += [("Corrected or left out", f"{n} {what}") for what, n in capture.set_aside.items()]
    rows.append(("How the sense is known", facts.sense_text(outcome)))
    rows.append(("Judged", outcome.made_at))
    rows.append(("Versions", facts.versions_text(outcome)))
    return rows
