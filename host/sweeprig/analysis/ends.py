"""Ends of travel from the rests there: a level, its uncertainty, its repeatability."""

from __future__ import annotations

import math

import numpy as np

from sweeprig.analysis.model import End, FloatArray, Rest
from sweeprig.analysis.statistics import batch_u, spread_of
from sweeprig.capture.model import BoolArray

ROUNDING_LSB = 0.03  # of a level: rounding of the sums


def find_end(
    path: FloatArray,
    good: BoolArray,
    rests: tuple[Rest, ...],
    *,
    place: str,
    lsb_v: float,
    supply: FloatArray | None,
) -> End | None:
    """Level of all rests at `place`, each weighted by its untouched windows; None where there is none.

    u combines batch means inside rests with the spread from rest to rest: u^2 = sum(w u)^2 + s^2/k. The spread has
    the noise inside rests in it as well, so u is a little too large where nothing else spreads them.
    """
    here = [r for r in rests if r.place == place]
    if not here:
        return None
    parts = [_kept(path, good, r, lsb_v) for r in here]
    sizes = np.array([p.size for p in parts], dtype=float)
    levels = np.array([p.mean() for p in parts])
    weight = sizes / sizes.sum()
    value, spread = float(weight @ levels), float(levels.std(ddof=1)) if len(parts) > 1 else math.nan
    inside = math.sqrt(sum((w * batch_u(p)[0]) ** 2 for w, p in zip(weight, parts, strict=True)))
    between = spread / math.sqrt(len(parts)) if len(parts) > 1 else 0.0
    u = math.sqrt(inside**2 + between**2 + (ROUNDING_LSB * lsb_v) ** 2)
    return End(
        value_v=value,
        u_v=u,
        dof=_freedom(inside, between, u, parts),
        n_rests=len(parts),
        n_windows=int(sizes.sum()),
        spread_v=spread,
        drift_v=float(levels[-1] - levels[0]),
        ratio=value / _rail(supply, here),
    )


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


def _kept(path: FloatArray, good: BoolArray, rest: Rest, lsb_v: float) -> FloatArray:
    """Untouched windows of a rest, without a creeping start or end: within 3 spreads of the median."""
    values = path[rest.start : rest.stop][good[rest.start : rest.stop]]
    middle = float(np.median(values))
    near = 3 * max(spread_of(values), 0.3 * lsb_v)
    return np.asarray(values[np.abs(values - middle) <= near], dtype=float)


def _rail(supply: FloatArray | None, rests: list[Rest]) -> float:
    """Supply at the rests [V]; nan where it was not observed or is not above 0."""
    if supply is None:
        return math.nan
    rail = float(np.median(np.concatenate([supply[r.start : r.stop] for r in rests])))
    return rail if rail > 0 else math.nan
