"""Both ends that move together during a sweep: the mount slipped, or sensor ground shifted; no hand does that."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import groupby

import numpy as np

from sweeprig.analysis.model import FloatArray, Rest
from sweeprig.analysis.visits import Stop

SURE_PERCENT = 0.3  # % of supply: a hand that presses harder or softer moves an end by less
LEAST_PERCENT = (
    0.15  # % of supply: a hand seldom moves both ends so far and the same way; own choice, no source
)
ALIKE = 0.25  # of the shift: how far those of both ends may differ
ODD_PERCENT = 0.25  # % of supply: one visit of an end off all others; own choice, no source
FIRST_PERCENT = 0.4  # the same of the first, before which play and a relaxing hand have not settled
FEWEST_OTHERS = 2  # visits
TURNED = 0.5  # of the shift: the turning points of the lever show that much of it
SCATTER = 1 / 3  # of the shift: what the visits before it, and those after it, may scatter by


@dataclass(frozen=True)
class Slip:
    """A shift of both ends."""

    at: int  # window of the first rest after it
    shift_v: float
    turned: bool = True  # the levels at which the lever turned shift as well, and not only those of its rests


@dataclass(frozen=True)
class Odd:
    """One visit of an end stands off all others, which agree."""

    low: bool
    shift_v: float
    n_others: int
    when: str  # first | between | last: of its end's visits; last where no end was met since


@dataclass(frozen=True)
class _Level:
    start: int
    low: bool
    value_v: float


def find_slip(
    rests: tuple[Rest, ...],
    *,
    supply_v: float,
    step_v: float = 0.0,
    stops: tuple[Stop | None, Stop | None] = (None, None),
) -> Slip | None:
    """Return the largest shift that both ends show alike between the same two visits, None where there is none.

    `step_v`: of single readings, below which a level is not known. `stops`: where the lever turned; a slow one that
    creeps into its stops rests at other levels each time, and turns at the same ones.
    """
    levels = _levels(rests)
    least_v = min(max(LEAST_PERCENT / 100 * supply_v, step_v), SURE_PERCENT / 100 * supply_v)
    found = [_shift(levels, k, least_v) for k in range(1, len(levels))]
    known = [s for s in found if s is not None]
    if not known:
        return None
    slip = max(known, key=lambda s: abs(s.shift_v))
    return replace(slip, turned=_turned(slip, rests, stops))


def _turned(slip: Slip, rests: tuple[Rest, ...], stops: tuple[Stop | None, Stop | None]) -> bool:
    """Whether the turning points of both ends shift by a fair share of a slip; so where they are not known."""
    for place, stop in zip(("low", "high"), stops, strict=True):
        own = {r.visit: r.start for r in reversed(rests) if r.place == place}
        if stop is None or not all(0 <= k < len(stop.visits) for k in own):
            continue
        turns = [(start < slip.at, stop.visits[k].turn_v) for k, start in own.items()]
        before, after = ([v for b, v in turns if b == way] for way in (True, False))
        if before and after:
            shift = float(np.mean(after) - np.mean(before))
            if shift * np.sign(slip.shift_v) < TURNED * abs(slip.shift_v):
                return False
    return True


def is_sure(slip: Slip, *, supply_v: float) -> bool:
    """Whether no hand that presses harder and softer, or creeps into its stops, would move both ends so far."""
    return slip.turned and abs(slip.shift_v) >= SURE_PERCENT / 100 * supply_v


def find_odd(rests: tuple[Rest, ...], *, supply_v: float, step_v: float = 0.0) -> Odd | None:
    """Return the visit that stands furthest off all others of its end, where those agree; None where none does.

    So does a slip that comes back, or after which the other end was not met; a ground that moves for a time; and a
    lever that is not at its stop.
    """
    levels = _levels(rests)
    found = [_odd(levels, k, supply_v, step_v) for k in range(len(levels))]
    known = [o for o in found if o is not None]
    return max(known, key=lambda o: abs(o.shift_v)) if known else None


def _odd(levels: list[_Level], k: int, supply_v: float, step_v: float) -> Odd | None:
    own = [n for n, v in enumerate(levels) if v.low == levels[k].low]
    others = np.array([levels[n].value_v for n in own if n != k])
    if others.size < FEWEST_OTHERS:
        return None
    when = "first" if k == own[0] else "last" if k == len(levels) - 1 else "between"
    shift = float(levels[k].value_v - np.median(others))
    percent = FIRST_PERCENT if when == "first" else ODD_PERCENT
    least = max(percent / 100 * supply_v, step_v, float(np.ptp(others)) / SCATTER)
    return Odd(levels[k].low, shift, others.size, when) if abs(shift) >= least else None


def _levels(rests: tuple[Rest, ...]) -> list[_Level]:
    """Level of each visit of an end, in order of time."""
    placed = [r for r in rests if r.place != "middle"]
    groups = [list(g) for _, g in groupby(placed, key=lambda r: (r.place, r.visit))]
    return [_Level(g[0].start, g[0].place == "low", float(np.mean([r.value_v for r in g]))) for g in groups]


def _shift(levels: list[_Level], k: int, least_v: float) -> Slip | None:
    parts = [_before_and_after(levels, k, low=low) for low in (True, False)]
    if not all(p.size for pair in parts for p in pair):
        return None
    low, high = (float(after.mean() - before.mean()) for before, after in parts)
    shift = (low + high) / 2
    alike = abs(low - high) <= ALIKE * abs(shift)
    if abs(shift) < least_v or not alike or _scatter(parts) > SCATTER * abs(shift):
        return None
    return Slip(levels[k].start, shift)


def _before_and_after(levels: list[_Level], k: int, *, low: bool) -> list[FloatArray]:
    return [np.array([v.value_v for v in some if v.low == low]) for some in (levels[:k], levels[k:])]


def _scatter(parts: list[list[FloatArray]]) -> float:
    return max(float(np.ptp(p)) for pair in parts for p in pair)
