"""The result in brief: what the end of a sweep shows on a terminal, and a page shows too. Words, no layout."""

from __future__ import annotations

import math
from dataclasses import dataclass

from sweeprig.analysis.model import Code, Finding
from sweeprig.judge.brief import HAND_OVER as HAND_OVER
from sweeprig.judge.brief import next_step, not_judged
from sweeprig.judge.fault_place import where_the_fault_is
from sweeprig.judge.left_out import ends_are_judged
from sweeprig.judge.model import Judgement, Margin, Quantity, Verdict, sentences
from sweeprig.judge.outcome import Outcome
from sweeprig.judge.track_b import NAME
from sweeprig.judge.unseen import FAST_STROKES
from sweeprig.judge.whole import also_open, title_of

MARGINS = (Code.MARGIN_CLOSED, Code.MARGIN_OPEN)
NAME_SAYS_WHERE = (*MARGINS, Code.DEAD_BAND_CLOSED, Code.DEAD_BAND_OPEN)
ENDS = {"closed_v": "closed", "open_v": "open", "low_v": "low end", "high_v": "high end"}


@dataclass(frozen=True)
class EndLine:
    """One end of the travel."""

    name: str  # closed | open | low end | high end
    value_v: float | None  # [V] as measured; None: not measured
    u95_v: float | None  # [V] half-width of the 95 % interval; None: not known
    reason: str = ""  # why it is not measured
    margin_v: float | None = None  # [V] from the rail it is nearest to, as measured
    rail: str = ""  # ground | supply
    nominal_v: float | None = None  # [V] as at nominal supply, where that is what is judged
    at_supply_v: float = 5.0  # [V] that nominal supply


@dataclass(frozen=True)
class NamedFault:
    """One finding by name and place."""

    name: str
    place: str  # "" where it has none
    cause: str  # "" where it is no fault of anything: a kind of sensor that is not tested
    severity: str  # fault | doubt | note


@dataclass(frozen=True)
class Card:
    """What there is to know at once."""

    verdict: Verdict
    sentence: str
    ends: tuple[EndLine, ...]
    facts: str
    faults: tuple[NamedFault, ...]
    next_step: str
    not_judged: str = ""
    simulated: bool = False


def card_of(outcome: Outcome, hand_over: str = "", *, capture: str = "") -> Card:
    """Return the brief result of one outcome; `hand_over`: the next step after a pass where no sheet was written.

    `capture`: its file or its record's number, for a next step that names it.
    """
    judgement = outcome.judgement
    found = tuple(f for f in judgement.findings if f.severity != "note")
    not_analogue = any(
        f.code is Code.NOT_ANALOGUE for f in found
    )  # the sentence says so; it has no ends to show
    return Card(
        verdict=judgement.verdict,
        sentence=_sentence(outcome, found) + _ended(outcome),
        ends=() if not_analogue else tuple(_end(outcome, name) for name in _shown(outcome)),
        facts=_facts(outcome),
        faults=_each_once(tuple(f for f in found if f.code is not Code.NOT_ANALOGUE)),
        next_step=_next(outcome, hand_over, capture),
        not_judged=_named(not_judged(outcome, command=True), capture),
        simulated=outcome.simulated,
    )


def _next(outcome: Outcome, hand_over: str, capture: str) -> str:
    if hand_over and outcome.judgement.verdict is Verdict.PASS:
        return hand_over
    return _named(next_step(outcome), capture)


def _named(text: str, capture: str) -> str:
    """Return a text with the capture in the command that judges it again."""
    return text.replace(f"review {NAME} ", f"review {capture or NAME} ")


def _shown(outcome: Outcome) -> list[str]:
    hidden = {"low_v", "high_v"} if outcome.analysis.sense != "unknown" else {"closed_v", "open_v"}
    return [name for name in ENDS if name in outcome.judgement.quantities and name not in hidden]


def _end(outcome: Outcome, key: str) -> EndLine:
    q: Quantity = outcome.judgement.quantities[key]
    name = ENDS[key]
    if q.value is None:
        return EndLine(name, None, None, q.reason)
    margin = _nearest(outcome, key.removesuffix("_v"))
    if margin is None or margin.level_v is None:
        return EndLine(name, q.value, q.u95)
    scaled = margin.measured_v is not None and margin.measured_v != margin.level_v
    low = margin.rail == "lower"
    return EndLine(
        name, q.value, q.u95,
        margin_v=q.value if low else _supply_v(outcome) - q.value,
        rail="ground" if low else "supply",
        nominal_v=margin.level_v if scaled else None,
        at_supply_v=outcome.trace.nominal_supply_v,
    )  # fmt: skip


def _nearest(outcome: Outcome, end: str) -> Margin | None:
    return next((m for m in outcome.judgement.margins if m.end == end), None)


def _supply_v(outcome: Outcome) -> float:
    supply = outcome.judgement.quantities.get("supply_v")
    if supply is None or supply.value is None:
        return outcome.trace.nominal_supply_v
    return supply.value


def _fault(f: Finding) -> NamedFault:
    place = ""
    if f.where_percent is not None:
        low, high = f.where_percent
        same = round(low) == round(high)
        place = f"at {low:.0f} % of travel" if same else f"at {low:.0f} to {high:.0f} % of travel"
    if f.code in NAME_SAYS_WHERE or f.code.endswith("-out-of-range"):
        place = ""
    if f.channel == 1:
        place = f"{place}, track B" if place else "on track B"
    cause = "" if f.code is Code.NOT_ANALOGUE else f.cause.value
    return NamedFault(title_of(f), place, cause, f.severity)


def _each_once(found: tuple[Finding, ...]) -> tuple[NamedFault, ...]:
    """Return the findings by name and place; a doubt of both ends is one."""
    named = [_fault(f) for f in found]
    return tuple(f for k, f in enumerate(named) if f.severity != "doubt" or f not in named[:k])


def _sentence(outcome: Outcome, found: tuple[Finding, ...]) -> str:
    judgement = outcome.judgement
    if judgement.verdict is Verdict.PASS:
        kept = "are within limits" if ends_are_judged(outcome.profile) else "keep clear of ground and supply"
        return f"Both ends {kept}, uncertainty included. No fault seen.{_fast(judgement)}"
    faults = [_fault(f) for f in found if f.severity == "fault"]
    if judgement.verdict is Verdict.FAIL and faults:
        text = " ".join(part for part in (faults[0].name, faults[0].place) if part) + _room(found)
        more = (
            f", and {len(faults) - 1} more fault{'s' if len(faults) > 2 else ''}" if len(faults) > 1 else ""
        )
        failed = where_the_fault_is([f for f in found if f.severity == "fault"])
        return f"{text[:1].upper()}{text[1:]}{more}. {failed}".rstrip()
    return _open(judgement, asked=not found)


def _room(found: tuple[Finding, ...]) -> str:
    """Return how near an end is to its rail, and how far it should be; "" where the first fault is another."""
    first = next(f for f in found if f.severity == "fault")
    if first.code not in MARGINS or "room_v" not in first.numbers:
        return ""
    return f": {max(first.numbers['room_v'], 0.0):z.3f} V, at least {first.numbers['limit_v']:z.3f} V needed"


def _fast(judgement: Judgement) -> str:
    """Return that strokes were too fast, "" where they were not: a pass must not hide it."""
    fast = any(text.startswith(f"{FAST_STROKES}:") for text in judgement.not_shown)
    return " The strokes were too fast to show small worn spots." if fast else ""


def _ended(outcome: Outcome) -> str:
    """Return that a capture ended before its time, with why; "" where it did not."""
    ended = "complete" if outcome.capture is None else outcome.capture.ended
    return "" if ended == "complete" else f" The capture ended early ({ended})."


def _open(judgement: Judgement, *, asked: bool) -> str:
    """Return what is open, without the step that is under Next, and what else is open by name.

    `asked`: nothing but a limit is open; its text is shown whole, of a finding the first sentence.
    """
    points = judgement.open_points
    text = points[0].text if points else judgement.reason
    return sentences(text if points and asked else text.partition(". ")[0]) + also_open(points)


def _facts(outcome: Outcome) -> str:
    strokes = outcome.analysis.strokes
    n, full = len(strokes), sum(s.full for s in strokes)
    many = f"{n} full stroke" if n == full else f"{n} stroke"
    many += "" if n == 1 else "s"
    many += "" if n == full else f", {full} of them full"
    sense = outcome.analysis.sense
    signal = "sense unknown" if sense == "unknown" else f"signal {sense}"
    words = against_angle(outcome)
    angle = f"; {words}" if words else ""
    return f"{signal}, {many}, profile {outcome.judgement.profile_name}{angle}"


def against_angle(outcome: Outcome) -> str:
    """Return linearity and hysteresis; "" where no angle was seen, or one that comes late."""
    line, angle = outcome.analysis.linearity, outcome.trace.angle_deg
    if line is None or line.late_s or angle is None:
        return ""
    apart = f" and {line.hysteresis_percent:.2f}" if math.isfinite(line.hysteresis_percent) else ""
    names = "linearity and hysteresis" if apart else "linearity"
    return f"{names} {line.independent_percent:.2f}{apart} % of supply over {line.travel_deg:.1f} degrees"
