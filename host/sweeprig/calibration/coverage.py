"""How many standard uncertainties hold 95 %: Student's t, and less where a rectangular contribution rules.

A sum of a normal quantity and of rectangular ones has a known distribution (JCGM 100:2008, G.1.4 to G.2.2), so its
quantile is found instead of taken as the normal one. One rectangular contribution alone: 1.65, two alike: 1.90.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import lru_cache

COVERAGE = 0.95
LEAST_SHARE = 0.1  # of the variance, from which a rectangular contribution is not taken as a normal one
LEAST_DOF = 30.0  # below, a sum of t and rectangular is held by t alone: with less k, only 93 % of draws were
STEPS = 40  # halvings of the interval in which the quantile is searched
ROUND = 4  # digits of the shares that the search is kept for

_ROOT2, _ROOT_2PI = math.sqrt(2.0), math.sqrt(2.0 * math.pi)


def student_k(dof: float, coverage: float = COVERAGE) -> float:
    """Return the two-sided t quantile for `dof` degrees of freedom, cut to a whole number, at least one."""
    from scipy.special import ndtri, stdtrit

    p = 0.5 + coverage / 2
    return float(ndtri(p)) if dof > 1e6 else float(stdtrit(max(math.floor(dof + 1e-9), 1), p))


def coverage_factor(rectangular_u: Sequence[float], u: float, dof: float) -> float:
    """Return k so that k u holds 95 % of a sum of standard uncertainty `u` > 0.

    `rectangular_u` are the standard uncertainties of its rectangular contributions; the two largest keep their shape,
    all else is taken as normal. k is t of `dof` times what the shape takes off the normal quantile.
    """
    if dof < LEAST_DOF:
        return student_k(dof)
    large = sorted((r * r / (u * u) for r in rectangular_u), reverse=True)[:2]
    shares = [round(min(s, 1.0), ROUND) for s in large if s >= LEAST_SHARE]
    return student_k(dof) * (shape_factor(*shares) if shares else 1.0)


@lru_cache(maxsize=4096)
def shape_factor(first: float, second: float = 0.0) -> float:
    """Return the 95 % quantile over the normal one, where `first` and `second` are the shares, 0 to 1, that two
    rectangular contributions have in the variance.
    """
    a, b = math.sqrt(3.0 * first), math.sqrt(3.0 * second)
    s = math.sqrt(max(1.0 - first - second, 1e-6))
    below = _below(a, b, s)
    target, low, high = 0.5 + COVERAGE / 2, 0.0, 3.0
    for _ in range(STEPS):
        middle = (low + high) / 2
        low, high = (middle, high) if below(middle) < target else (low, middle)
    return (low + high) / 2 / student_k(math.inf)


def _below(a: float, b: float, s: float) -> Callable[[float], float]:
    """Return the distribution function of normal (s) + rectangular + rectangular of half-widths a > 0, b >= 0."""
    if b == 0.0:
        return lambda x: s * (_once((x + a) / s) - _once((x - a) / s)) / (2 * a)

    def two(x: float) -> float:
        outer = _twice((x + a + b) / s) + _twice((x - a - b) / s)
        return s * s * (outer - _twice((x + a - b) / s) - _twice((x - a + b) / s)) / (4 * a * b)

    return two


def _normal(z: float) -> tuple[float, float]:
    return 0.5 * math.erfc(-z / _ROOT2), math.exp(-0.5 * z * z) / _ROOT_2PI


def _once(z: float) -> float:
    """Integral of the normal distribution function from minus infinity to z."""
    below, density = _normal(z)
    return z * below + density


def _twice(z: float) -> float:
    """Integral of `_once`."""
    below, density = _normal(z)
    return 0.5 * ((z * z + 1.0) * below + z * density)
