"""The lines of the sheet that are neither drawing nor table: who, what, with which rig, and what was lost."""

from __future__ import annotations

from itertools import pairwise

from sweepboard import wire
from sweeprig.analysis.model import Event
from sweeprig.calibration.age import age_days
from sweeprig.judge.outcome import Outcome
from sweeprig.report.figures import capture_code, count_of, duration, fixed, known
from sweeprig.words import AFTERWARDS, CODES_FIRST, LAW_FIRST, MAY_MOVE, NO_HANDS, PLUGS, percent

KINDS = {
    "to-ground": "towards sensor ground",
    "to-supply": "towards supply",
    "partial": "partial",
    "jump": "jump",
}
BENCH_CAUTIONS = (LAW_FIRST, CODES_FIRST, AFTERWARDS)
VEHICLE_CAUTIONS = (MAY_MOVE, NO_HANDS, PLUGS)


def cautions(outcome: Outcome) -> tuple[str, ...]:
    """Return the cautions that belong on the sheet for where the work was done."""
    return BENCH_CAUTIONS + (VEHICLE_CAUTIONS if outcome.setup.setting == "vehicle" else ())


def calibration_age_days(outcome: Outcome) -> float | None:
    """Return the calibration's age at the time of the capture [d]; None where either date is not known."""
    if outcome.calibration is None or not outcome.calibration.made_at:
        return None
    taken = outcome.capture.created if outcome.capture else outcome.made_at
    return age_days(outcome.calibration.made_at, taken)


def calibration_text(outcome: Outcome) -> str:
    """Return the kind, date and age of the calibration."""
    calibration = outcome.calibration
    if calibration is None:
        return "none: the data is not from a rig"
    if calibration.kind == "nominal":
        return "never calibrated: the ± comes from the tolerance of the parts"
    age = calibration_age_days(outcome)
    shown = (
        "age not known" if age is None else f"{age:.0f} days old" if age >= 0 else "dated after the capture"
    )
    late = " (too old)" if age is not None and age > calibration.max_age_days else ""
    return f"{calibration.kind}, {shown}{late}, made {calibration.made_at[:10] or 'at an unknown date'}"


def meter_text(outcome: Outcome) -> str:
    """Return the meter behind the calibration."""
    meter = outcome.calibration.meter if outcome.calibration else None
    if meter is None:
        return "none"
    named = [meter.name, f"serial {meter.serial}" if meter.serial else ""]
    named.append(f"certificate {meter.certificate}" if meter.certificate else "")
    accuracy = f"\N{PLUS-MINUS SIGN}({meter.percent_of_reading:g} % + {meter.counts:g} counts)"
    return ", ".join([*(n for n in named if n), accuracy])


def verified_text(outcome: Outcome) -> str:
    """Return the last check of the calibration against a check standard, as it is stored."""
    calibration = outcome.calibration
    if calibration is None:
        return "none"
    if calibration.kind == "nominal":
        return "none: the rig is not calibrated"
    checks = calibration.verified
    if not checks:
        return "not verified since the calibration"
    return ", ".join(f"{key.replace('_', ' ')} {value}" for key, value in checks[-1].items())


def lost_text(outcome: Outcome) -> str:
    """Return in words what is missing in the capture."""
    trace, capture = outcome.trace, outcome.capture
    lost = max(capture.n_lost if capture else 0, trace.n_lost)
    total = trace.t_s.size + lost
    if not lost:
        return f"none of {total} data blocks ({duration(trace.window_s)} each)"
    return f"{lost} of {total} data blocks ({percent(100 * lost / max(total, 1))} %), not judged"


def shortest_text(outcome: Outcome) -> str:
    """Return the shortest dropout that this rig and hookup can show."""
    s = outcome.trace.shortest_dropout_s
    return (
        f"{duration(s)}, if it is {fixed(20e3 * outcome.trace.lsb_v, 0)} mV deep or more at the sensor"
        if known(s)
        else "not known for this source"
    )


def firmware_text(outcome: Outcome) -> str:
    """Return the firmware that took the capture; empty where there was none."""
    return f"firmware {outcome.capture.rig.get('firmware', '?')}" if outcome.capture else ""


def versions_text(outcome: Outcome) -> str:
    """Return firmware and program versions."""
    parts = [firmware_text(outcome), *(f"{k} {v}" for k, v in outcome.versions.items())]
    return ", ".join(p for p in parts if p) or "not known"


def rig_text(outcome: Outcome) -> str:
    """Return which rig took the capture."""
    if outcome.capture is None:
        return f"not a rig: {outcome.trace.source} data {outcome.trace.name}".strip()
    rig = outcome.capture.rig
    return f"{rig.get('build', '?')} build, {rig.get('chip', '?')}, {rig.get('uid', '?')}"


def code_text(outcome: Outcome) -> str:
    """Return the short capture code; says so where there is none."""
    code = capture_code(outcome.capture.sha256) if outcome.capture else ""
    return code or "none (not a capture file)"


def profile_text(outcome: Outcome) -> str:
    """Return the profile's name with a short code of its text, different for every version."""
    code = capture_code(outcome.profile.sha256)
    return f"{outcome.judgement.profile_name}, version {code}" if code else outcome.judgement.profile_name


def where_event(event: Event) -> str:
    """Return an event's place in words."""
    at = f"at {fixed(event.at_percent, 0)} % of travel" if event.at_percent is not None else "place not known"
    return f"{at}, at rest" if event.at_rest else at


def event_text(event: Event, *, shortest_s: float | None, placed: bool = True) -> str:
    """Return one event in words; nothing below what this rig and hookup can show (`shortest_s` [s]) is claimed.

    `placed`: with its place on the travel; a wiggle test has none.
    """
    depth = f"{fixed(event.depth_percent, 0)} % of supply deep"
    kind = KINDS.get(event.kind, event.kind)
    short = known(shortest_s) and event.duration_s < shortest_s
    long = f"under {duration(shortest_s)}" if short else f"about {duration(event.duration_s)}"
    return f"{wire.CHANNEL_NAMES[event.channel]} {kind}, {depth}, {long}" + (
        f", {where_event(event)}" if placed else ""
    )


def worst_event(outcome: Outcome) -> Event | None:
    """Return the deepest event; among those printed with the same depth, the longest."""
    return max(outcome.analysis.events, key=lambda e: (round(e.depth_percent), e.duration_s), default=None)


def is_wiggle(outcome: Outcome) -> bool:
    """Return whether plugs and harness were moved in place of the lever."""
    return outcome.setup.task.startswith("wiggle")


def movement_text(outcome: Outcome) -> str:
    """Return strokes and rests in words."""
    if is_wiggle(outcome):
        return "not judged: a wiggle test, not a sweep"
    if not outcome.analysis.strokes:
        return "no stroke seen"
    full = sum(stroke.full for stroke in outcome.analysis.strokes)
    strokes = count_of(len(outcome.analysis.strokes), "stroke")
    rests = count_of(len(outcome.analysis.rests), "time")
    return f"{strokes}, {full} of them full; held still {rests}"


def sense_text(outcome: Outcome) -> str:
    """Return how the sense is known, or why it is not."""
    if not outcome.analysis.strokes and not is_wiggle(outcome):
        return "not known: no stroke seen"
    return outcome.analysis.sense_evidence


def alerts(outcome: Outcome) -> list[str]:
    """Return what a reader must know before any number: kept on the board, override, early end, remarks."""
    found = [outcome.setup.kept] if outcome.setup.kept else []
    if outcome.setup.override:
        found.append(f"Interlock overridden for this sweep: {outcome.setup.override}")
    ended = outcome.capture.ended if outcome.capture else "complete"
    if ended != "complete":
        found.append(f"The capture ended early ({ended}); the verdict covers the data up to then.")
    return [*found, *outcome.remarks]


def time_of(outcome: Outcome, index: int) -> float:
    """Return the time [s] on the trace's axis of a window index of the capture."""
    capture = outcome.capture
    if capture is None or not capture.records.index.size:
        return float("nan")
    return index * capture.window_s


def mark_times(outcome: Outcome) -> list[float]:
    """Return when the rig's button was pressed [s], on the trace's axis."""
    capture = outcome.capture
    if capture is None or not capture.records.index.size:
        return []
    return [time_of(outcome, m.index) for m in capture.marks]


def mark_texts(outcome: Outcome) -> list[str]:
    """Return each press of the rig's button with the events between it and the next."""
    times, texts = mark_times(outcome), []
    for number, (start, stop) in enumerate(pairwise([*times, float("inf")]), 1):
        n = sum(start <= e.start_s < stop for e in outcome.analysis.events)
        texts.append(f"mark {number} at {start:.2f} s: {count_of(n, 'event')} until the next")
    return texts
