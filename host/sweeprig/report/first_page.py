"""Texts of the first page, for the vehicle's owner; the following pages say the same for an expert."""

from __future__ import annotations

import math
import re
from datetime import datetime

import numpy as np

from sweeprig.analysis.model import Event
from sweeprig.analysis.track_map import encounters
from sweeprig.judge.brief import not_judged
from sweeprig.judge.names import source_of
from sweeprig.judge.outcome import Outcome
from sweeprig.judge.track_b import is_unjudged
from sweeprig.report import facts
from sweeprig.report.customer import without_commands
from sweeprig.report.figures import count_of, duration, fixed, known, volts

NOT_COMPARED = (
    "Not checked: whether closed and open throttle are at this vehicle's own volts, which were not given."
)
LOST_SHARE = 0.15  # of the level before it: a signal that falls below is lost completely
AROUND_S = 0.05  # [s] on either side of an event from which the level is read
CHANCE = re.compile(r" ?\((clustering )?p-value [^()]*\)")


def plainly(text: str) -> str:
    """Return a text of the judgement for the first page: without commands and probabilities, sources in plain words."""
    text = CHANCE.sub("", without_commands(text))
    return source_of(text)


def not_compared(outcome: Outcome) -> str:
    """Return what was not judged because the profile has no range for it; a later page lists profiles that have one."""
    said = not_judged(outcome)
    if not said or is_unjudged(outcome.profile, outcome.trace):
        return said.partition(". ")[0] + "." if said else ""
    return NOT_COMPARED


def headline(outcome: Outcome) -> str:
    """Return the reason without the evidence that stands under the findings anyway, and without what is kept."""
    reason = outcome.judgement.main_reason
    for finding in outcome.judgement.findings[:1]:
        if len(finding.evidence) > 20:
            reason = reason.replace(f": {finding.evidence}", "")
    return plainly(reason)


def spread_in_volts(value: float | None, u95: float | None) -> str:
    """Return the ± next to volts, in volts; "not known" where it is not, "" next to a dash."""
    if not known(value):
        return ""
    return f"\N{PLUS-MINUS SIGN}{volts(u95, u95)}" if known(u95) else "\N{PLUS-MINUS SIGN} not known"


def deepest_text(outcome: Outcome, event: Event) -> str:
    """Return how deep an event went, from which volts to which, if the trace has it."""
    level, low = _around(outcome, event)
    if level is None or low is None:
        return f"deepest {fixed(event.depth_percent, 0)} % of supply"
    what = "signal lost: fell from" if low < LOST_SHARE * level else "deepest:"
    return f"{what} {volts(level)} to {volts(low)}"


def _around(outcome: Outcome, event: Event) -> tuple[float | None, float | None]:
    """Return the level [V] beside an event that falls, and its lowest conversion [V]; None for any other."""
    if not event.upward and event.channel < 2 and math.isfinite(event.path_v + event.extreme_v):
        return event.path_v, event.extreme_v
    trace = outcome.trace
    channel = trace.signal_b if event.channel == 1 else trace.signal_a
    if event.upward or event.channel > 1 or channel is None:
        return None, None
    start, stop = event.start_s - trace.window_s / 2, max(event.end_s, event.start_s) + trace.window_s
    during = (trace.t_s >= start) & (trace.t_s <= stop)
    near = (np.abs(trace.t_s - event.start_s) <= AROUND_S) & ~during
    if not during.any() or not near.any():
        return None, None
    return float(np.median(channel.mean_v[near])), float(channel.min_v[during].min())


def in_strokes(outcome: Outcome) -> str:
    """Return in how many of the strokes an event was, and how many events came at rest."""
    n_strokes, events = len(outcome.analysis.strokes), encounters(outcome.analysis.events)
    if not n_strokes:
        return "no stroke seen"
    if not events:
        return f"in {count_of(n_strokes, 'stroke')}"
    moving = [e.stroke for e in events if e.stroke is not None and not e.at_rest]
    at_rest = sum(e.at_rest for e in events)
    between = len(events) - len(moving) - at_rest
    met = f"in {len(set(moving))} of {count_of(n_strokes, 'stroke')}"
    said = [met if len(moving) == len(events) else f"{len(moving)} {met}"] if moving else []
    said += [
        f"{n} {where}" for n, where in ((at_rest, "while held still"), (between, "in no full stroke")) if n
    ]
    return ", ".join(said)


def taken_text(outcome: Outcome) -> str:
    """Return when the capture was taken, with its zone; as it is written where it is no date."""
    text = outcome.capture.created if outcome.capture else outcome.made_at
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        return text[:16].replace("T", " ")
    zone = at.strftime("%z")
    named = "UTC" if zone == "+0000" else f"UTC{zone[:3]}:{zone[3:5]}" if zone else "zone not known"
    return f"{at:%Y-%m-%d %H:%M} {named}"


def shortest_short(outcome: Outcome) -> str:
    """Return the shortest dropout that this test can show."""
    s = outcome.trace.shortest_dropout_s
    return duration(s) if known(s) else "not known for this source"


def calibration_short(outcome: Outcome) -> str:
    """Return when the rig was calibrated; the kind of calibration is on a later page."""
    calibration = outcome.calibration
    if calibration is None or calibration.kind == "nominal":
        return "never calibrated" if calibration else "none: the data is not from a rig"
    _, _, rest = facts.calibration_text(outcome).partition(", ")
    age, _, made = rest.partition(", made ")
    return f"{'with a meter ' if calibration.meter else ''}{made}, {age}"


def first_facts(outcome: Outcome) -> list[tuple[str, str]]:
    """Return the names and texts at the foot of the main page."""
    setup, plain = outcome.setup, outcome.analysis.plain
    place = "in the vehicle" if setup.setting == "vehicle" else "on the bench"
    return [
        ("Lowest, highest reading", f"{volts(plain.min_v)} and {volts(plain.max_v)}, single readings"),
        ("Movement", facts.movement_text(outcome)),
        ("Detects dropouts from", shortest_short(outcome)),
        ("Data lost", facts.lost_text(outcome)),
        ("Test equipment", facts.rig_text(outcome)),
        ("Calibrated", calibration_short(outcome)),
        ("Daily check of the rig", facts.verified_text(outcome)),
        ("Rig's own lead", setup.lead_checked or "not tested yet"),
        ("Hookup", f"{setup.hookup}, {place}" if outcome.capture else "not known: no rig took this data"),
        ("Sense", facts.sense_text(outcome)),
        ("Profile", outcome.judgement.profile_name),
    ]
