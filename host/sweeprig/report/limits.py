"""Margins to the rails and the profile's other limits as rows of one table."""

from __future__ import annotations

from dataclasses import dataclass

from sweeprig.judge.model import Check, Margin, sentences
from sweeprig.judge.names import source_of
from sweeprig.judge.outcome import Outcome
from sweeprig.judge.profile_model import Profile
from sweeprig.report.figures import NONE, known, number_text, spread_text, volts
from sweeprig.report.names import name_of

ENDS = ("closed", "open")
ORDER = {"fail": 0, "undecided": 1, "pass": 2}


@dataclass(frozen=True)
class LimitRow:
    """One limit in words."""

    name: str
    value: str
    spread: str
    must: str
    verdict: str
    decide: str
    source: str


def margin_row(m: Margin, profile: Profile) -> LimitRow:
    """Return one margin in words; for a ratiometric profile `value` is ratio x nominal supply."""
    limits = profile.limits
    return LimitRow(
        name=f"{m.end_text[:1].upper()}{m.end_text[1:]}, {m.rail_text}",
        value=volts(m.level_v),
        spread=spread_text(m.level_v, m.u95),
        must=f"{'above' if m.rail == 'lower' else 'below'} {volts(m.limit_v)}",
        verdict=str(m.verdict),
        decide=sentences(m.would_decide, m.next_step),
        source=source_of((limits.lower_rail if m.rail == "lower" else limits.upper_rail).source),
    )


def _must(check: Check) -> str:
    digits = 0 if check.unit == "strokes" else 3
    low, high = (number_text(v, "", digits) if known(v) else "" for v in (check.low, check.high))
    unit = f" {check.unit}" if check.unit and check.unit != "strokes" else ""
    if low and high:
        return f"{low} to {high}{unit}"
    return f"at least {low}{unit}" if low else f"at most {high}{unit}" if high else NONE


def _name(key: str) -> str:
    """Return a limit's name in the table: of an end, its usual range, beside its margin to a rail."""
    return f"{name_of(key).replace(' throttle', ' end')}{', usual range' if key.startswith(ENDS) else ''}"


def check_row(check: Check) -> LimitRow:
    """Return one other limit in words."""
    digits = 0 if check.unit == "strokes" else 3
    spread = spread_text(check.value, check.u95) if check.unit == "V" else ""
    if known(check.u95) and check.unit != "V":
        spread = f"\N{PLUS-MINUS SIGN}{check.u95:.2g}"
    return LimitRow(
        name=_name(check.name),
        value=number_text(check.value, "" if check.unit == "strokes" else check.unit, digits),
        spread=spread,
        must=_must(check),
        verdict=str(check.verdict),
        decide=sentences(check.would_decide, check.next_step),
        source=source_of(check.source),
    )


def limit_rows(outcome: Outcome) -> list[LimitRow]:
    """Return every limit: failed and undecided ones first, otherwise in the order of the judgement."""
    rows = [margin_row(m, outcome.profile) for m in outcome.judgement.margins]
    rows += [check_row(c) for c in outcome.judgement.checks]
    return sorted(rows, key=lambda r: ORDER.get(r.verdict, 1))
