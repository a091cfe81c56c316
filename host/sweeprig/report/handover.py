"""What the controller has to be told: volts, ratio and converter counts at closed and open."""

from __future__ import annotations

import math
from dataclasses import dataclass

from sweeprig.judge.outcome import Outcome

BITS = (8, 10, 12)
STEPS = (0, 25, 50, 75, 100)  # per cent of travel
FORMULA = "counts = round(ratio \N{MULTIPLICATION SIGN} (2ⁿ \N{MINUS SIGN} 1))"


def counts(ratio: float, *, bits: int) -> int:
    """Return the reading of an ideal converter whose reference is the sensor's supply.

    counts = round(ratio * (2**bits - 1)), held inside the converter's range; ratio is dimensionless and finite.
    """
    full = 2**bits - 1
    return int(min(max(math.floor(ratio * full + 0.5), 0), full))


@dataclass(frozen=True)
class HandoverRow:
    """One row of the table; `ratio` and what follows from it are None where the supply was not observed."""

    percent: int | None  # of travel; None where the sense is unknown
    name: str  # closed | open | low | high | ""
    calculated: bool
    value_v: float  # [V] as measured
    ratio: float | None
    nominal_v: float | None  # [V] ratio x nominal supply; None also where the sensor is not ratiometric
    counts: tuple[int | None, ...]  # of BITS


@dataclass(frozen=True)
class Level:
    """One level of the signal; `ratio` is None where the supply was not observed."""

    value_v: float  # [V]
    ratio: float | None


def _ends(outcome: Outcome, mark: str) -> tuple[Level, Level] | None:
    names = ("low", "high") if outcome.analysis.sense == "unknown" else ("closed", "open")
    quantities, found = outcome.judgement.quantities, []
    for name in names:
        q, ratio = quantities.get(f"{name}{mark}_v"), quantities.get(f"{name}{mark}_ratio")
        if q is None or q.value is None:
            return None
        found.append(Level(q.value, ratio.value if ratio else None))
    return found[0], found[1]


def _row(percent: int | None, name: str, level: Level, nominal_v: float | None) -> HandoverRow:
    ratio = level.ratio
    return HandoverRow(
        percent=percent,
        name=name,
        calculated=not name,
        value_v=level.value_v,
        ratio=ratio,
        nominal_v=None if ratio is None or nominal_v is None else ratio * nominal_v,
        counts=tuple(None if ratio is None else counts(ratio, bits=b) for b in BITS),
    )


def _between(first: Level, last: Level, part: float) -> Level:
    a, b = first.ratio, last.ratio
    ratio = None if a is None or b is None else a * (1 - part) + b * part
    return Level(first.value_v * (1 - part) + last.value_v * part, ratio)


def handover_rows(outcome: Outcome, *, track_b: bool = False) -> tuple[HandoverRow, ...]:
    """Return the table of one track; empty where an end was not measured.

    Rows between the ends lie on the straight line between them: nothing was measured there. Volts at nominal supply
    stand for ratiometric sensors only.
    """
    ends = _ends(outcome, "_b" if track_b else "")
    if ends is None:
        return ()
    nominal = outcome.trace.nominal_supply_v if outcome.profile.supply.ratiometric else None
    if outcome.analysis.sense == "unknown":
        return (_row(None, "low", ends[0], nominal), _row(None, "high", ends[1], nominal))
    names = {0: "closed", 100: "open"}
    return tuple(_row(step, names.get(step, ""), _between(*ends, step / 100), nominal) for step in STEPS)
