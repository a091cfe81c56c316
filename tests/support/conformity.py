"""Probabilities of conformity and risks of a decision rule, after JCGM 106:2012.

Everything is in the unit of the quantity. A missing limit is minus or plus infinity. NaN is not allowed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

SPREADS = 12.0  # standard deviations of the population that the integrals reach: 4e-33 lies beyond


@dataclass(frozen=True)
class Risks:
    """Shares of all items, 0 to 1 (JCGM 106, 9.5.2 and 9.5.3)."""

    false_accept: float  # global consumer's risk: accepted and does not conform
    false_reject: float  # global producer's risk: not accepted and conforms
    accepted: float
    conforming: float


def _phi(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def conformance_probability(
    value: float, *, u: float, low: float = -math.inf, high: float = math.inf, dof: float = math.inf
) -> float:
    """Return the probability that the true value lies within [low, high].

    p = F((high - y)/u) - F((low - y)/u), F normal, or Student's t for finite `dof` (JCGM 106:2012, 7.2 to 7.4;
    the t is JCGM 100, G.3). `u` is the standard uncertainty, above 0, of a value without prior knowledge.
    """
    if not u > 0:
        raise ValueError(f"standard uncertainty {u} is not above 0")
    if not low < high:
        raise ValueError(f"limits {low} and {high} are upside down")
    top, bottom = (high - value) / u, (low - value) / u
    if math.isinf(dof):
        return _phi(top) - _phi(bottom)
    from scipy.special import stdtr

    return float(stdtr(dof, top) - stdtr(dof, bottom))


def specific_risk(
    value: float, *, u: float, low: float = -math.inf, high: float = math.inf, accepted: bool
) -> float:
    """Return the risk of this one decision: 1 - p where accepted, p where rejected (JCGM 106:2012, 9.3.2)."""
    p = conformance_probability(value, u=u, low=low, high=high)
    return 1 - p if accepted else p


def risk_at_limit(guard_factor: float, *, coverage_factor: float = 2.0) -> float:
    """Return the risk of accepting a value that stands on the acceptance limit, one limit in play.

    1 - Phi(g k): 50 % without a guard band, 2.275 % with w = U and k = 2 (ILAC-G8:09/2019, 4.2).
    """
    return _phi(-guard_factor * coverage_factor)


def guard_factor_for(risk: float, *, coverage_factor: float = 2.0) -> float:
    """Return the guard factor that holds the risk at the acceptance limit at `risk` (0 < risk <= 0.5)."""
    if not 0 < risk <= 0.5:
        raise ValueError(f"risk {risk} is not above 0 and at most 0.5")
    from scipy.special import ndtri

    return float(-ndtri(risk) / coverage_factor)


def global_risks(
    *,
    mean: float,
    spread: float,
    u: float,
    low: float = -math.inf,
    high: float = math.inf,
    accept_low: float = -math.inf,
    accept_high: float = math.inf,
) -> Risks:
    """Return the global risks of accepting what measures within [accept_low, accept_high].

    The population is normal with `mean` and `spread`, the measurement normal about the true value with `u`:
    R_C = integral of g0(x) P(accept | x) over x outside [low, high]; R_P = integral of g0(x) P(reject | x) inside
    (JCGM 106:2012, 9.5.2 and 9.5.3; clause numbers from memory). `spread` and `u` are standard deviations, above 0.
    """
    if not (spread > 0 and u > 0):
        raise ValueError(f"spread {spread} and u {u} have to be above 0")
    ends = mean - SPREADS * spread, mean + SPREADS * spread
    cuts = sorted({*ends, *(min(max(c, ends[0]), ends[1]) for c in (low, high, accept_low, accept_high))})
    bad = accepted = good = 0.0
    for start, stop in pairwise(cuts):
        both = _accepted_between(start, stop, mean=mean, spread=spread, u=u, limits=(accept_low, accept_high))
        inside = low <= (start + stop) / 2 <= high
        accepted += both
        good += both if inside else 0.0
        bad += 0.0 if inside else both
    conforming = _phi((high - mean) / spread) - _phi((low - mean) / spread)
    return Risks(bad, conforming - good, accepted, conforming)


def _accepted_between(
    start: float, stop: float, *, mean: float, spread: float, u: float, limits: tuple[float, float]
) -> float:
    """Share of items with a true value within [start, stop] that are accepted."""
    from scipy.integrate import quad

    def density(x: float) -> float:
        z = (x - mean) / spread
        accept = _phi((limits[1] - x) / u) - _phi((limits[0] - x) / u)
        return math.exp(-z * z / 2) / (spread * math.sqrt(2 * math.pi)) * accept

    near = [p for c in (*limits, mean) for p in (c - 4 * u, c, c + 4 * u) if start < p < stop]
    return float(quad(density, start, stop, points=near or None, limit=400, epsabs=1e-12, epsrel=1e-9)[0])
