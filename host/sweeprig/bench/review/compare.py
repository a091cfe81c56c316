"""Two captures side by side: what changed, and whether the change is larger than what is known of both."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from sweeprig.judge.outcome import Outcome
from sweeprig.records import rows
from sweeprig.records.rows import Record

CHANGED, NOT_SHOWN = "changed", "no change shown"
COMPARED = (
    "closed_v", "open_v", "low_v", "high_v", "span_v", "closed_ratio", "open_ratio", "supply_v",
    "closed_b_v", "open_b_v",
)  # fmt: skip


@dataclass(frozen=True)
class Side:
    """One of the two, whatever it came from: a file just reviewed or a record."""

    name: str
    created: str
    sensor: str
    verdict: str
    reason: str
    profile: str
    rig_uid: str
    calibration: str  # kind and time of the calibration in force
    quantities: Mapping[str, Mapping[str, Any]]  # name -> value, u95, u, u_a, unit
    margins: tuple[Mapping[str, Any], ...]
    findings: tuple[Mapping[str, Any], ...]
    ended: str = ""
    override: str = ""  # reason against the interlock
    simulated: bool = False


@dataclass(frozen=True)
class Difference:
    """One quantity of both. Values in `unit`; None is not measured."""

    name: str
    unit: str
    first: float | None
    first_u95: float | None
    second: float | None
    second_u95: float | None
    change: float | None  # second minus first
    change_u95: float | None  # half-width, both uncertainties taken as independent
    e_n: float | None
    word: str  # changed | no change shown | "" where not measured on both


@dataclass(frozen=True)
class MarginChange:
    """One margin of both."""

    end: str
    rail: str
    first_v: float | None
    second_v: float | None
    first: str  # verdicts
    second: str


@dataclass(frozen=True)
class Compared:
    """What comparing comes to."""

    first: Side
    second: Side
    same_rig_and_calibration: bool
    differences: tuple[Difference, ...]
    margins: tuple[MarginChange, ...]
    gone: tuple[Mapping[str, Any], ...]  # findings of the first that the second does not have
    new: tuple[Mapping[str, Any], ...]
    stayed: tuple[Mapping[str, Any], ...]
    notes: tuple[str, ...]


def side_of_record(record: Record) -> Side:
    """Return a record's side."""
    return Side(
        name=f"record {record.id}",
        created=record.created,
        sensor=" / ".join(t for t in (record.label, record.serial) if t),
        verdict=record.verdict,
        reason=record.reason,
        profile=record.profile,
        rig_uid=record.rig_uid,
        calibration=f"{record.calibration} {record.calibration_made_at}".strip(),
        quantities=record.quantities,
        margins=record.margins,
        findings=record.findings,
        ended=record.ended,
        override=record.override,
        simulated=record.simulated,
    )


def side_of_outcome(outcome: Outcome, name: str) -> Side:
    """Return the side of what was just reviewed."""
    row = rows.verdict_row(outcome)
    setup, calibration, capture = outcome.setup, outcome.calibration, outcome.capture
    return Side(
        name=name,
        created=capture.created if capture else outcome.made_at,
        sensor=" / ".join(t for t in (setup.sensor_label, setup.serial) if t),
        verdict=row["verdict"],
        reason=row["reason"],
        profile=row["profile"],
        rig_uid=str(capture.rig.get("uid", "")) if capture else "",
        calibration=f"{calibration.kind} {calibration.made_at}".strip() if calibration else "",
        quantities=row["quantities"],
        margins=tuple(row["margins"]),
        findings=tuple(row["findings"]),
        ended=capture.ended if capture else "",
        override=setup.override,
        simulated=outcome.simulated,
    )


def compare(first: Side, second: Side) -> Compared:
    """Compare two sides; `second` is the later one of a before and after."""
    same = bool(first.rig_uid) and (first.rig_uid, first.calibration) == (second.rig_uid, second.calibration)
    names = [n for n in COMPARED if n in first.quantities or n in second.quantities]
    ends_known = all(s.quantities.get("closed_v", {}).get("value") is not None for s in (first, second))
    hidden = {"low_v", "high_v"} if ends_known else {"closed_v", "open_v", "closed_ratio", "open_ratio"}
    gone, new, stayed = _findings(first.findings, second.findings)
    return Compared(
        first,
        second,
        same,
        tuple(difference(n, first, second) for n in names if n not in hidden),
        _margins(first, second),
        gone,
        new,
        stayed,
        _notes(first, second, same=same),
    )


def difference(name: str, first: Side, second: Side) -> Difference:
    """Return one quantity's change with its significance.

    E_n = (b - a)/sqrt(U_a^2 + U_b^2); beyond 1 in size the change is larger than both uncertainties
    (ISO/IEC 17043 and ISO 13528; from memory), else none is shown. With the same rig and calibration a part of both is
    common and cancels, by how much is not known: E_n is then on the safe side.
    """
    qa, qb = first.quantities.get(name, {}), second.quantities.get(name, {})
    a, b, ua, ub = qa.get("value"), qb.get("value"), qa.get("u95"), qb.get("u95")
    unit = str(qa.get("unit") or qb.get("unit") or "")
    if a is None or b is None:
        return Difference(name, unit, a, ua, b, ub, None, None, None, "")
    u95 = math.hypot(ua, ub) if ua is not None and ub is not None else None
    e_n = (b - a) / u95 if u95 else None
    word = CHANGED if e_n is not None and abs(e_n) > 1 else NOT_SHOWN
    return Difference(name, unit, a, ua, b, ub, b - a, u95, e_n, word)


def _margins(first: Side, second: Side) -> tuple[MarginChange, ...]:
    sides = [{(m["end"], m["rail"]): m for m in s.margins} for s in (first, second)]
    keys = [*sides[0], *(k for k in sides[1] if k not in sides[0])]
    rows_ = []
    for key in keys:
        a, b = sides[0].get(key, {}), sides[1].get(key, {})
        words = (str(a.get("verdict", NOT_JUDGED)), str(b.get("verdict", NOT_JUDGED)))
        rows_.append(MarginChange(*key, a.get("value_v"), b.get("value_v"), *words))
    return tuple(rows_)


NOT_JUDGED = "not judged"  # a margin that one side has and the other has not
Found = Mapping[str, Any]


def _findings(
    first: Sequence[Found], second: Sequence[Found]
) -> tuple[tuple[Found, ...], tuple[Found, ...], tuple[Found, ...]]:
    """Return findings gone, new and stayed. Two at places that do not touch are not the same."""
    gone = tuple(f for f in first if not any(_same(f, g) for g in second))
    new = tuple(g for g in second if not any(_same(f, g) for f in first))
    return gone, new, tuple(g for g in second if g not in new)


def _same(f: Found, g: Found) -> bool:
    if (f["code"], f.get("channel")) != (g["code"], g.get("channel")):
        return False
    a, b = f.get("where_percent"), g.get("where_percent")
    return a is None or b is None or (a[0] <= b[1] and b[0] <= a[1])


def _notes(first: Side, second: Side, *, same: bool) -> tuple[str, ...]:
    notes = [
        f"{s.name}: {text}."
        for s in (first, second)
        for text in rows.exceptions_of(s.ended, s.override, simulated=s.simulated)
    ]
    if first.profile != second.profile:
        notes.append(
            f"The profiles differ: {first.profile}, then {second.profile}. The verdicts cannot be compared."
        )
    if first.sensor != second.sensor:
        notes.append(
            f"Different sensors: {first.sensor or 'not named'} and {second.sensor or 'not named'}. "
            "The changes are not one sensor's."
        )
    notes.append(
        "change / ±: the change divided by the ± of both together. Above 1 or below -1 the change is real."
    )
    if same:
        notes.append(
            "Same rig and calibration: a change somewhat smaller than its ± can be real too. To be sure, do both "
            "sweeps again."
        )
    elif first.rig_uid != second.rig_uid:
        notes.append(
            "Two rigs, or one of them not known: only a change larger than the ± of both together is real."
        )
    return tuple(notes)


def compare_json(c: Compared) -> dict[str, Any]:
    """Return the comparison as a JSON object."""
    keep = (
        "name",
        "created",
        "sensor",
        "verdict",
        "reason",
        "profile",
        "rig_uid",
        "calibration",
        "ended",
        "override",
        "simulated",
    )
    return {
        "first": {k: getattr(c.first, k) for k in keep},
        "second": {k: getattr(c.second, k) for k in keep},
        "same_rig_and_calibration": c.same_rig_and_calibration,
        "differences": [asdict(d) for d in c.differences],
        "margins": [asdict(m) for m in c.margins],
        "findings_gone": [dict(f) for f in c.gone],
        "findings_new": [dict(f) for f in c.new],
        "findings_stayed": [dict(f) for f in c.stayed],
        "notes": list(c.notes),
    }
