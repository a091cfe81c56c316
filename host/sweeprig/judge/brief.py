"""Texts that every short result shares: what was not judged, and the one next step."""

from __future__ import annotations

from sweeprig.analysis.detection_power import how_to_sweep
from sweeprig.analysis.model import Code
from sweeprig.judge.fault_place import in_two_steps
from sweeprig.judge.left_out import ENDS, UNCHECKED, ends_are_judged, profiles_with_ends
from sweeprig.judge.model import Judgement, Verdict
from sweeprig.judge.outcome import Outcome
from sweeprig.judge.track_b import NAME, is_unjudged, profiles_for
from sweeprig.judge.whole import KEPT, NOT_DECIDED, SEE_LIMITS

HAND_OVER = "Hand over; the numbers for the controller are on the sheet."
COMPARE = (  # where no limits of the ends were given
    "Compare both voltages with the vehicle's data. Only if they agree, hand over; "
    "the numbers for the controller are on the sheet."
)


def not_judged(outcome: Outcome, *, command: bool = False) -> str:
    """Return what there were no limits for, and the profiles that have them; "" where nothing was left out.

    `command`: name them with the command that judges the capture again.
    """
    if outcome.setup.task != "sweep":
        return ""
    if is_unjudged(outcome.profile, outcome.trace):
        both = f"(1) track B; (2) {UNCHECKED}"
        what = "track B" if ends_are_judged(outcome.profile) else both
        return f"NOT checked: {what}. {_checked_by(profiles_for(outcome.analysis.two_tracks), command)}"
    if ends_are_judged(outcome.profile) or not _has_ends(outcome):
        return ""
    names = profiles_with_ends(1 if outcome.trace.signal_b is None else 2)
    return f"Not checked: {UNCHECKED}. {_checked_by(names, command)}"


def _has_ends(outcome: Outcome) -> bool:
    """Whether an end was measured, which another profile could judge."""
    quantities = outcome.judgement.quantities
    return any(name in quantities and quantities[name].value is not None for name in ("low_v", "high_v"))


def _checked_by(profiles: tuple[str, ...], command: bool) -> str:
    if not command:
        return f"Profiles that check it: {' or '.join(profiles)}."
    first, *others = profiles
    more = f" (or {', '.join(others)})" if others else ""
    return f"To check it, without a new sweep: sweeprig review {NAME} --profile {first}{more}."


def not_shown_names(outcome: Outcome) -> tuple[str, ...]:
    """Return what the capture could not show, by name; without what `not_judged` says in full."""
    names = dict.fromkeys(text.partition(":")[0] for text in outcome.judgement.not_shown)
    said = f"{ENDS[:1].upper()}{ENDS[1:]}"
    return tuple(f"{n[:1].lower()}{n[1:]}" if n[1:2].islower() else n for n in names if n != said)


def next_step(outcome: Outcome) -> str:
    """Return what to do now: hand over after a pass, else what the first finding or the open point asks for."""
    judgement = outcome.judgement
    if judgement.verdict is Verdict.PASS:
        return HAND_OVER if outcome.setup.task != "sweep" or ends_are_judged(outcome.profile) else COMPARE
    found = next((f for f in judgement.findings if f.severity != "note"), None)
    if (again := _more_strokes(judgement)) and (found is None or found.code is Code.STRAY_DROPOUT):
        return again
    if found is not None:
        return in_two_steps(found, [f for f in judgement.findings if f.severity == "fault"])
    return _of_what_is_open(outcome)


def _more_strokes(judgement: Judgement) -> str:
    """Return the step after too few strokes, with one number of them; "" where there were enough."""
    few = next((c for c in judgement.checks if c.name == "strokes" and c.verdict is Verdict.UNDECIDED), None)
    if few is None or few.value is None or few.low is None:
        return ""
    more = max((int(f.numbers.get("more_strokes", 0)) for f in judgement.findings), default=0)
    wanted = max(round(few.low), round(few.value) + more)
    how = f" {how_to_sweep(wanted)}" if wanted > few.low else ""
    return f"Sweep again from stop to stop: {wanted} slow strokes{how}."


def _of_what_is_open(outcome: Outcome) -> str:
    judgement = outcome.judgement
    if judgement.verdict is Verdict.FAIL:
        return SEE_LIMITS
    step = next((p.step for p in judgement.open_points if p.step), "")
    return step or (judgement.not_shown[0] if judgement.not_shown else judgement.reason)


def first_of(reason: str) -> str:
    """Return only the first point of a reason as stored in a record."""
    return reason.partition(NOT_DECIDED)[0].partition(KEPT)[0]
