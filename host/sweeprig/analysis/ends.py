"""Ends of travel from the rests there: a level, its uncertainty, its repeatability."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sweeprig.analysis.model import End, FloatArray, Rest
from sweeprig.analysis.statistics import batch_means_u, spread_of
from sweeprig.analysis.visits import Stop
from sweeprig.capture.model import BoolArray

FEWEST_BEYOND = 3  # visits, of which one may stand further out than the stop lets a lever go
FEW = 4  # visits: more of them do not make the spread between them matter less
ROUNDING_LSB = 0.03  # of a level: rounding of the sums
CREEP = 3**-0.5  # of what a creep may hide: anything up to that
READING_LSB = 12**-0.5  # of a single reading: its step, which standing still does not average out


@dataclass(frozen=True)
class _Level:
    """One visit's rests together."""

    values: FloatArray  # [V] untouched windows
    ratio: float  # of them to the supply of the same windows; nan where not observed
    creep_v: float = 0.0  # [V] how far beyond them the lever may have stood


def find_end(
    path: FloatArray,
    good: BoolArray,
    rests: tuple[Rest, ...],
    *,
    place: str,
    lsb_v: float,
    supply: FloatArray | None,
    stop: Stop | None = None,
    single: bool = False,
) -> End | None:
    """Level of all visits' rests at `place`, each weighted by its untouched windows; None where there is none.

    u combines batch means inside visits with the spread from visit to visit: u^2 = sum(w u)^2 + s^2/k, k at most
    FEW, so that U never falls below s. The spread has the noise inside visits in it as well, so u is a little too
    large where nothing else spreads them. `single`: readings, no means of many.
    """
    here = [r for r in rests if r.place == place]
    if not here:
        return None
    parts = _levels(path, good, here, lsb_v, supply)
    sizes = np.array([p.values.size for p in parts], dtype=float)
    levels = np.array([p.values.mean() for p in parts])
    weight = sizes / sizes.sum()
    spread = float(levels.std(ddof=1)) if len(parts) > 1 else math.nan
    rounding_v = lsb_v * (READING_LSB if single else ROUNDING_LSB)
    u, dof = _uncertainty(parts, weight, spread, rounding_v)
    return End(
        value_v=float(weight @ levels),
        u_v=u,
        dof=dof,
        n_rests=len(parts),
        n_windows=int(sizes.sum()),
        spread_v=spread,
        drift_v=float(levels[-1] - levels[0]),
        ratio=float(weight @ [p.ratio for p in parts]),
        beyond_v=_beyond(levels, low=place == "low"),
        **({} if stop is None else _of_stop(stop)),
    )


def _of_stop(stop: Stop) -> dict[str, Any]:
    return {
        "n_agreeing": stop.agree,
        "n_turned_short": len(stop.short),
        "n_turned_beyond": stop.passed,
        "turned_beyond_v": stop.passed_v,
        "held_short_v": stop.held_short_v,
    }


def _beyond(levels: FloatArray, *, low: bool) -> float:
    if levels.size < FEWEST_BEYOND:
        return 0.0
    middle = float(np.median(levels))
    return middle - float(levels.min()) if low else float(levels.max()) - middle


def _uncertainty(
    parts: list[_Level], weight: FloatArray, spread: float, rounding_v: float
) -> tuple[float, float]:
    """Return u [V] and its degrees of freedom."""
    inside = math.sqrt(sum((w * batch_means_u(p.values)[0]) ** 2 for w, p in zip(weight, parts, strict=True)))
    between = spread / math.sqrt(min(len(parts), FEW)) if len(parts) > 1 else 0.0
    creep = CREEP * sum(w * p.creep_v for w, p in zip(weight, parts, strict=True))  # one way in all visits
    u = math.sqrt(inside**2 + between**2 + rounding_v**2 + creep**2)
    return u, _freedom(inside, between, u, [p.values for p in parts])


def _levels(
    path: FloatArray, good: BoolArray, rests: list[Rest], lsb_v: float, supply: FloatArray | None
) -> list[_Level]:
    """The rests of each visit together; a rest without a visit is one of its own."""
    groups: dict[int, list[Rest]] = {}
    for k, r in enumerate(rests):
        groups.setdefault(r.visit if r.visit >= 0 else -k - 1, []).append(r)
    return [_level(path, good, own, lsb_v, supply) for own in groups.values()]


def _level(
    path: FloatArray, good: BoolArray, rests: list[Rest], lsb_v: float, supply: FloatArray | None
) -> _Level:
    kept = np.concatenate([_kept(path, good, r, lsb_v) for r in rests])
    ratio = math.nan
    if supply is not None and float(supply[kept].min()) > 0:
        ratio = float(np.mean(path[kept] / supply[kept]))
    return _Level(path[kept], ratio, max(r.creep_v for r in rests))


def _freedom(inside: float, between: float, u: float, parts: list[FloatArray]) -> float:
    """Return the degrees of freedom of u by Welch and Satterthwaite (JCGM 100:2008, G.4.1).

    Two rests whose spread counts have one: by that formula the interval would hold the truth in 89 % of cases only.
    """
    batches = float(sum(max(1, math.isqrt(p.size) - 1) for p in parts))
    if len(parts) < 2 or u == 0.0:
        return batches
    if len(parts) == 2:
        return batches if between < u / 2 else 1.0
    used = inside**4 / batches + between**4 / (len(parts) - 1)
    return u**4 / used if used > 0 else math.inf


def _kept(path: FloatArray, good: BoolArray, rest: Rest, lsb_v: float) -> NDArray[np.intp]:
    """Untouched windows of a rest, without a creeping start or end: within 3 spreads of the median; their indices."""
    own = rest.start + np.flatnonzero(good[rest.start : rest.stop])
    values = path[own]
    near = 3 * max(spread_of(values), 0.5 * lsb_v)
    return np.asarray(own[np.abs(values - np.median(values)) <= near])
