"""Makes the overall verdict from its parts; the decisive reason comes first."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from sweeprig.analysis.model import Cause, Code, Finding
from sweeprig.judge.model import Check, Margin, OpenPoint, Verdict, sentences
from sweeprig.judge.names import name_of

NO_FAULT = (
    "Tested in {strokes}, under the conditions of this test. Heat or vibration faults are not excluded."
)
PASSED = "Both ends within limits, uncertainty included."
CLEAR = "Both ends keep clear of ground and supply, uncertainty included."
NOT_DECIDED = " Not decided either: "
KEPT = " Within limits: "
SEE_LIMITS = "See the margins and checks."
REFUSED = {
    Code.NOT_ANALOGUE: "This is not an analogue position signal",
    Code.RIG_OVER_RANGE: "The signal is above this rig's range",
    Code.CONTRADICTORY_DATA: "The capture contradicts itself and is no evidence",
}
FIRST = (Code.ENGINE_RUNNING, Code.NO_MOVEMENT, Code.INTERFERENCE)  # doubts that explain what else is open
TITLES = {
    Code.ENDS_NOT_REPEATED: "an end did not read the same each time",
    Code.NOT_ANALOGUE: "not an analogue signal",
    Code.STUCK_LOW: "signal stuck at ground",
    Code.STUCK_HIGH: "signal stuck at the supply",
    Code.MARGIN_CLOSED: "closed throttle too near ground or supply",
    Code.MARGIN_OPEN: "open throttle too near ground or supply",
    Code.DEAD_BAND_CLOSED: "dead band at closed throttle",
    Code.DEAD_BAND_OPEN: "dead band at open throttle",
    Code.RECORDS_LOST: "data lost",
    Code.CLOSED_OUT_OF_RANGE: "closed throttle out of range",
    Code.OPEN_OUT_OF_RANGE: "open throttle out of range",
}


class Whole(NamedTuple):
    """The verdict on all parts together."""

    verdict: Verdict
    reason: str
    open_points: tuple[OpenPoint, ...] = ()
    within: str = ""  # the end of the reason: what is within limits


def no_fault_text(n_strokes: int) -> str:
    """Return the sentence on what a pass does not include."""
    return NO_FAULT.format(strokes=f"{n_strokes} stroke" if n_strokes == 1 else f"{n_strokes} strokes")


def overall(
    findings: tuple[Finding, ...],
    margins: tuple[Margin, ...],
    checks: tuple[Check, ...],
    open_points: tuple[OpenPoint, ...] = (),
    *,
    ends_judged: bool = True,
) -> Whole:
    """Return the verdict and its reason; `findings` are in order, `open_points` keep anything from passing.

    `ends_judged`: whether the profile says where the ends should be; without, they only keep clear of the rails.

    A signal that cannot be read decides nothing. Then any fault fails, then anything open leaves it undecided.
    """
    for refused in (f for f in findings if f.code in REFUSED):
        text = f"{REFUSED[refused.code]}: {refused.evidence}. {refused.next_step}"
        return Whole(Verdict.UNDECIDED, text)
    faults = [f for f in findings if _is_fault(f)]
    if faults:
        return Whole(Verdict.FAIL, _fail_reason(faults))
    if _any_fails(margins, checks):
        return Whole(Verdict.FAIL, f"Limit exceeded: {SEE_LIMITS[:1].lower()}{SEE_LIMITS[1:]}")
    still = tuple(f for f in findings if f.code in FIRST)
    points = (*_open_findings(still), *open_points, *_open_limits(margins, checks), *_open_findings(findings))
    undecided = _by_name(points)
    if undecided:
        within = _kept(margins, checks)
        return Whole(Verdict.UNDECIDED, _open_reason(undecided) + within, undecided, within)
    return Whole(Verdict.PASS, PASSED if ends_judged else CLEAR)


def _by_name(points: Iterable[OpenPoint]) -> tuple[OpenPoint, ...]:
    """Return each name once: what the first of them says."""
    named: dict[str, OpenPoint] = {}
    for point in points:
        named.setdefault(point.name, point)
    return tuple(named.values())


def _any_fails(margins: tuple[Margin, ...], checks: tuple[Check, ...]) -> bool:
    return Verdict.FAIL in [m.verdict for m in margins] + [c.verdict for c in checks]


def _is_fault(f: Finding) -> bool:
    """Whether a finding fails a sensor: a fault of the rig does not."""
    return f.severity == "fault" and f.cause is not Cause.RIG


def _open_reason(undecided: tuple[OpenPoint, ...]) -> str:
    """The first open point in full, the others by name."""
    return undecided[0].in_full + also_open(undecided)


def also_open(points: Sequence[OpenPoint]) -> str:
    """Return the names of all open points behind the first; "" without any."""
    others = [p.name for p in points[1:]]
    return f"{NOT_DECIDED}{', '.join(others)}." if others else ""


def _kept(margins: tuple[Margin, ...], checks: tuple[Check, ...]) -> str:
    """What was decided all the same."""
    vague = {c.name for c in checks if _is_vague(c)}
    ends = dict.fromkeys(m.end_text for m in margins if m.end.replace(" B", "_b") not in vague)
    kept = [f"margin of the {e}" for e in ends if _passed([m for m in margins if m.end_text == e])]
    kept += [name_of(c.name) for c in checks if _passed([c])]
    return f"{KEPT}{', '.join(kept)}." if kept else ""


def _is_vague(c: Check) -> bool:
    """Whether a value's interval is wider than the range that it shall be in: nothing of it is kept."""
    return None not in (c.low, c.high, c.u95) and 2 * (c.u95 or 0.0) > (c.high or 0.0) - (c.low or 0.0)


def _passed(parts: Sequence[Margin | Check]) -> bool:
    return all(p.verdict is Verdict.PASS for p in parts)


def title(code: Code) -> str:
    """Return a finding's code as words."""
    return TITLES.get(code, code.value.replace("-", " "))


def title_of(f: Finding) -> str:
    """Return a finding's name in words; of an end too near a rail, which rail."""
    words = title(f.code)
    if "upper_rail" not in f.numbers:
        return words
    return words.replace("ground or supply", "the supply" if f.numbers["upper_rail"] else "ground")


def _where(f: Finding) -> str:
    """Return the place of a finding in words; an end's own title says where it is."""
    if f.where_percent is None or f.code in TITLES:
        return ""
    start, stop = f.where_percent
    place = f"{start:.0f}" if round(start) == round(stop) else f"{start:.0f} to {stop:.0f}"
    return f" at {place} % of travel"


def _track(f: Finding) -> str:
    return ", track B" if f.channel == 1 else ""


def _fail_reason(faults: list[Finding]) -> str:
    first = faults[0]
    others = [title_of(f) for f in faults[1:]]
    more = f" Also: {', '.join(dict.fromkeys(others))}." if others else ""
    cause = "" if title_of(first) == first.cause.value else f" (cause: {first.cause.value})"
    return sentences(f"{title_of(first)}{_track(first)}{_where(first)}{cause}: {first.evidence}") + more


def _open_limits(margins: tuple[Margin, ...], checks: tuple[Check, ...]) -> Iterable[OpenPoint]:
    """Each limit that stayed open, and why."""
    for m in margins:
        if m.verdict is Verdict.UNDECIDED:
            word = "is not known well enough for" if m.vague else "may lie on either side of"
            text = f"the {m.end_text} was not measured: {m.would_decide}"
            if m.level_v is not None:
                text = (
                    f"the {m.end_text} at {m.level_v:z.3f} V {word} its {m.rail_text} limit of"
                    f" {m.limit_v:z.3f} V: {m.would_decide}"
                )
            yield OpenPoint(f"margin of the {m.end_text}", text, m.next_step)
    for c in checks:
        if c.verdict is Verdict.UNDECIDED:
            name = name_of(c.name)
            seen = "not measured" if c.value is None else f"{c.value:.4g} {c.unit}, not decided"
            text = c.would_decide if c.name == "strokes" else f"{name} {seen}: {c.would_decide}"
            yield OpenPoint(name, text, c.next_step)


def _open_findings(findings: tuple[Finding, ...]) -> Iterable[OpenPoint]:
    for f in findings:
        if f.severity == "doubt" or (f.severity == "fault" and f.cause is Cause.RIG):
            yield OpenPoint(title(f.code), f"{title(f.code)}: {f.evidence}", f.next_step)
