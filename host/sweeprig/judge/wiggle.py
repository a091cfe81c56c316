"""The outcome of a finished wiggle capture: its events by place and cause, and nothing of a sweep."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from sweepboard.wire import SUPPLY
from sweeprig.analysis.model import Cause, Code, Finding
from sweeprig.analysis.wiggle import FAR_END, Happening, Origin, Touched, Wiggled, wiggled
from sweeprig.capture.marks import PLACES, UNMARKED, marks_of
from sweeprig.judge.model import OpenPoint, Quantity, Verdict
from sweeprig.judge.outcome import Outcome
from sweeprig.judge.whole import REFUSED

SUPPLY_LIMIT = "supply"  # the one limit of a profile that holds in a wiggle test as well
AS_IN_USE = "Wiggle again as the fault comes in use: warm, or with vibration."
NO_ENDS = "not judged: this was a wiggle test, not a sweep"
KEEP = frozenset({Code.RECORDS_LOST, Code.SUPPLY_OUT_OF_RANGE, Code.SUPPLY_SAG, Code.SUPPLY_CUT,
                  Code.RIG_OVER_RANGE, Code.GROUND_SHIFT, Code.NOT_ANALOGUE, Code.OPEN_SIGNAL,
                  Code.STUCK_LOW, Code.STUCK_HIGH, Code.ENGINE_RUNNING, Code.CONTRADICTORY_DATA})  # fmt: skip
_CAUSES = {
    Touched.SUPPLY: (Code.SUPPLY_DROPOUT, Cause.SUPPLY),
    Touched.TO_GROUND: (Code.LOOSE_CONNECTION, Cause.CONNECTION),
    Touched.TO_SUPPLY: (Code.LOOSE_CONNECTION, Cause.GROUND),
    Touched.PARTIAL: (Code.LOOSE_CONNECTION, Cause.CONNECTION),
    Touched.JUMP: (Code.LOOSE_CONNECTION, Cause.CONNECTION),
}


def wiggle_of(outcome: Outcome) -> Wiggled:
    """Return what a finished wiggle capture shows: its own events, by place and cause."""
    capture = outcome.capture
    trace = outcome.trace
    marks = [] if capture is None else marks_of(capture)
    start = float(trace.t_s[0])
    events = [replace(e, start_s=e.start_s - start) for e in outcome.analysis.events]
    return wiggled(
        events,
        marks,
        seconds=float(trace.t_s[-1] - start) + trace.window_s,
        far_end=outcome.setup.task == FAR_END,
        least_percent=outcome.profile.limits.dropout.value,
    )


def as_wiggle(outcome: Outcome) -> tuple[Outcome, Wiggled]:
    """Return the outcome of a wiggle capture: its findings are its events; nothing of a sweep is judged.

    Without an event the verdict is undecided, "not reproduced": never a pass.
    """
    w = wiggle_of(outcome)
    kept = tuple(f for f in outcome.judgement.findings if f.code in KEEP)
    found = findings(w)
    verdict, reason = _verdict(found, kept, w)
    judgement = replace(
        outcome.judgement,
        verdict=verdict,
        reason=reason,
        quantities={name: _unjudged(name, q) for name, q in outcome.judgement.quantities.items()},
        margins=(),
        checks=tuple(c for c in outcome.judgement.checks if c.name == SUPPLY_LIMIT),
        findings=(*found, *kept),
        not_shown=("Ends, margins and travel: this was a wiggle test, not a sweep.",),
        open_points=(OpenPoint("not reproduced", reason, AS_IN_USE),) if verdict is Verdict.UNDECIDED else (),
        within="",
    )
    events = tuple(replace(e, at_percent=None, stroke=None, at_rest=True) for e in outcome.analysis.events)
    analysis = replace(outcome.analysis, strokes=(), rests=(), events=events)
    return replace(outcome, analysis=analysis, judgement=judgement), w


def _verdict(found: Sequence[Finding], kept: Sequence[Finding], w: Wiggled) -> tuple[Verdict, str]:
    contradiction = next((f for f in kept if f.code is Code.CONTRADICTORY_DATA), None)
    if contradiction is not None:
        return Verdict.UNDECIDED, f"{REFUSED[contradiction.code]}: {contradiction.evidence}."
    if found or any(f.severity == "fault" for f in kept):
        return Verdict.FAIL, (*found, *kept)[0].evidence
    return Verdict.UNDECIDED, _not_reproduced(w)


def _unjudged(name: str, q: Quantity) -> Quantity:
    """Keep the supply; ends and travel of a lever that the operator holds say nothing."""
    return q if name == "supply_v" else replace(q, value=None, u95=None, budget=(), reason=NO_ENDS)


def _not_reproduced(w: Wiggled) -> str:
    return (
        f"Not reproduced: no event in {w.seconds:.0f} s of wiggling. Heat, vibration and other movements are"
        " not excluded."
    )


def findings(w: Wiggled) -> tuple[Finding, ...]:
    """Return one finding for each kind of thing that was touched, the most frequent first."""
    groups: dict[tuple[Touched, Origin], list[Happening]] = {}
    for h in w.happenings:
        groups.setdefault((h.touched, h.origin), []).append(h)
    ordered = sorted(groups.items(), key=lambda item: -len(item[1]))
    return tuple(_finding(touch, source, hits, w) for (touch, source), hits in ordered)


def _finding(touch: Touched, source: Origin, hits: Sequence[Happening], w: Wiggled) -> Finding:
    """Return one finding; its places in the order of events a second: more time spent is no more fault."""
    code, cause = _CAUSES[touch]
    at = Counter(h.place for h in hits)
    ordered = sorted(at, key=lambda p: (-w.per_second(at[p], p), p))
    counts = ", ".join(f"{at[p]} {'with no place marked' if p == UNMARKED else 'at ' + p}" for p in ordered)
    deepest = max(hits, key=lambda h: h.depth_percent).depth_text
    n = len(hits)
    text = f"{n} event{'s' if n != 1 else ''} while the harness was moved: {touch} ({counts}), the deepest {deepest}"
    text += f"; {source}" if source else ""
    channel = next((c for c in hits[0].channels if c != SUPPLY), None)
    return Finding(
        code, cause, channel, None, text, _next_step(touch, source, ordered), "fault", {"n": float(n)}
    )


def _next_step(touch: Touched, source: Origin, places: Sequence[str]) -> str:
    where = ", ".join(p for p in places if p in PLACES)
    if source is Origin.LEAD_A:
        return "Seat the rig's own tap at the sensor again and repeat; then test the lead (`sweeprig check --lead`)."
    if source is Origin.HARNESS:
        return f"Look at the wire between sensor and controller{' near ' + where if where else ''}."
    if touch is Touched.SUPPLY:
        return "Look at the supply pin and its wire; a clamped supply takes the signal with it."
    if touch is Touched.TO_SUPPLY:
        return "Look at the sensor's ground pin first, then for the signal against the supply."
    return f"Look at signal pin, crimp and wire{' at ' + where if where else ''}; then wiggle again."
