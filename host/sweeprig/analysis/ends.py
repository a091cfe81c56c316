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
    value = float(weight @ levels)
    within = np.array([batch_u(p)[0] for p in parts])
    spread = float(levels.std(ddof=1)) if len(parts) > 1 else math.nan
    between = 0.0 if len(parts) < 2 else spread / math.sqrt(len(parts))
    inside = math.sqrt(float(weight**2 @ within**2))
    u = math.sqrt(inside**2 + between**2 + (ROUNDING_LSB * lsb_v) ** 2)
    free = _freedom(inside, between, u, parts)
    rail = math.nan if supply is None else _rail(supply, here)
    return End(
        value_v=value,
        u_v=u,
        dof=free,
        n_rests=len(parts),
        n_windows=int(sizes.sum()),
        spread_v=spread,
        drift_v=float(levels[-1] - levels[0]),
        ratio=value / rail if rail > 0 else math.nan,
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


def _rail(supply: FloatArray, rests: list[Rest]) -> float:
    return float(np.median(np.concatenate([supply[r.start : r.stop] for r in rests])))
