"""What the controller has to be told: volts, ratio and converter counts at closed and open."""

from __future__ import annotations

import math
from dataclasses import dataclass

from sweeprig.judge.outcome import Outcome

BITS = (8, 10, 12)
STEPS = (0, 25, 50, 75, 100)  # per cent of signal span
FORMULA = "counts = round(ratio \N{MULTIPLICATION SIGN} (2ⁿ \N{MINUS SIGN} 1))"


def counts(ratio: float, *, bits: int) -> int:
    """Return the reading of an ideal converter whose reference is the sensor's supply.

    counts = round(ratio * (2**bits - 1)), held inside the converter's range; ratio is dimensionless and finite.
    """
    full = 2**bits - 1
    return int(min(max(math.floor(ratio * full + 0.5), 0), full))


@dataclass(frozen=True)
class Row:
    """One row of the table; `ratio` and what follows from it are None where the supply was not observed."""

    percent: int | None  # of signal span; None where the sense is unknown
    name: str  # closed | open | low | high | ""
    calculated: bool
    value_v: float  # [V] as measured
    ratio: float | None
    nominal_v: float | None  # [V] ratio x nominal supply
    counts: tuple[int | None, ...]  # of BITS


def _ends(outcome: Outcome) -> tuple[tuple[float, float | None], tuple[float, float | None]] | None:
    first = ("closed_v", "open_v") if outcome.analysis.sense != "unknown" else ("low_v", "high_v")
    found = []
    for name in first:
        q = outcome.judgement.quantities.get(name)
        if q is None or q.value is None:
            return None
        ratio = outcome.judgement.quantities.get(name.replace("_v", "_ratio"))
        found.append((q.value, ratio.value if ratio else None))
    return found[0], found[1]


def _row(percent: int | None, name: str, value_v: float, ratio: float | None, nominal_v: float) -> Row:
    return Row(
        percent=percent,
        name=name,
        calculated=not name,
        value_v=value_v,
        ratio=ratio,
        nominal_v=None if ratio is None else ratio * nominal_v,
        counts=tuple(None if ratio is None else counts(ratio, bits=b) for b in BITS),
    )


def handover_rows(outcome: Outcome) -> tuple[Row, ...]:
    """Return the table; empty where an end was not measured. Rows between the ends lie on the straight line."""
    ends = _ends(outcome)
    if ends is None:
        return ()
    (v0, r0), (v1, r1) = ends
    nominal = outcome.trace.nominal_supply_v
    if outcome.analysis.sense == "unknown":
        return (_row(None, "low", v0, r0, nominal), _row(None, "high", v1, r1, nominal))
    names = {0: "closed", 100: "open"}
    rows = []
    for step in STEPS:
        part = step / 100
        ratio = None if r0 is None or r1 is None else r0 + (r1 - r0) * part
        rows.append(_row(step, names.get(step, ""), v0 + (v1 - v0) * part, ratio, nominal))
    return tuple(rows)
