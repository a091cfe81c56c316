"""A batch as numbers: spread, outliers, performance, tolerance interval. Pure: values in, frozen results out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
ALPHA = 0.05  # level of the test for outliers; common practice, no source
COVERED, CONFIDENCE = 0.95, 0.95  # of the tolerance interval; common practice, no source
LEAST_FOR_OUTLIERS = 7  # fewer: a test of this kind says little; own choice, no source
LEAST_FOR_INTERVALS = 5  # fewer: performance and tolerance interval are left out; own choice, no source
LEAST_FOR_PERFORMANCE = 25  # fewer: printed with its lower bound in the first place; own choice, no source


@dataclass(frozen=True)
class Spread:
    """Location and spread of n values, in their unit. `sd` is None with fewer than two."""

    n: int
    mean: float
    sd: float | None
    low: float
    high: float
    median: float
    robust_sd: float  # 1.4826 times the median absolute deviation


@dataclass(frozen=True)
class Outliers:
    """Generalised extreme studentised deviates. Lists run over the values taken away one after another."""

    indices: tuple[int, ...]  # of the outliers, most extreme first
    r: tuple[float, ...]
    critical: tuple[float, ...]


@dataclass(frozen=True)
class Performance:
    """Overall spread against limits. None where a limit or the spread is missing."""

    low: float | None
    high: float | None
    pp: float | None
    ppk: float | None
    ppk_low: float | None  # lower 95 % confidence bound, one-sided


@dataclass(frozen=True)
class Tolerance:
    """Interval that covers a share of all sensors of this kind, assuming a normal distribution."""

    covered: float
    confidence: float
    k: float
    low: float
    high: float


def spread(values: Sequence[float] | FloatArray) -> Spread:
    """Return location and spread of values (n,), n >= 1; no NaN inside."""
    x = np.asarray(values, dtype=np.float64)
    middle = float(np.median(x))
    return Spread(
        int(x.size),
        float(x.mean()),
        float(x.std(ddof=1)) if x.size > 1 else None,
        float(x.min()),
        float(x.max()),
        middle,
        float(1.4826 * np.median(np.abs(x - middle))),
    )


def outliers(
    values: Sequence[float] | FloatArray, *, most: int | None = None, alpha: float = ALPHA
) -> Outliers:
    """Return the outliers among values (n,) by the generalised ESD test, at most `most` (default: a tenth, at least 1).

    R_i = max |x - mean| / s of what is left after i - 1 removals; lambda_i = (n-i) t_p / sqrt((n-i-1+t_p^2)(n-i+1)),
    p = 1 - alpha/(2(n-i+1)); the number of outliers is the largest i with R_i > lambda_i (Rosner 1983; NIST/SEMATECH
    e-Handbook 1.3.5.17.3). With i = 1 it is Grubbs' test. Fewer than LEAST_FOR_OUTLIERS values: none are named.
    """
    from scipy.special import stdtrit

    x = np.asarray(values, dtype=np.float64)
    n = x.size
    if n < LEAST_FOR_OUTLIERS:
        return Outliers((), (), ())
    left = np.arange(n)
    order, r, critical = [], [], []
    for i in range(1, (max(1, n // 10) if most is None else most) + 1):
        part = x[left]
        s = float(part.std(ddof=1))
        if s == 0:
            break
        worst = int(np.argmax(np.abs(part - part.mean())))
        r.append(float(abs(part[worst] - part.mean()) / s))
        t = float(stdtrit(n - i - 1, 1 - alpha / (2 * (n - i + 1))))
        critical.append((n - i) * t / math.sqrt((n - i - 1 + t * t) * (n - i + 1)))
        order.append(int(left[worst]))
        left = np.delete(left, worst)
    found = max((i + 1 for i in range(len(r)) if r[i] > critical[i]), default=0)
    return Outliers(tuple(order[:found]), tuple(r), tuple(critical))


def performance(s: Spread, *, low: float | None, high: float | None) -> Performance:
    """Return Pp = (USL - LSL)/6s and Ppk = min(USL - mean, mean - LSL)/3s, s of the whole batch.

    ISO 22514-2 (from memory) calls these performance, and keeps Cp and Cpk for a process shown to be in control, with
    the spread inside subgroups. The NIST/SEMATECH e-Handbook 6.1.6 gives the same formulas under the names Cp and Cpk.
    Lower bound of Ppk: Ppk - 1.645 sqrt(1/(9n) + Ppk^2/(2(n-1))), the handbook's approximation.
    """
    if s.sd is None or s.sd <= 0 or (low is None and high is None):
        return Performance(low, high, None, None, None)
    sides = [
        (s.mean - low) if low is not None else math.inf,
        (high - s.mean) if high is not None else math.inf,
    ]
    ppk = min(sides) / (3 * s.sd)
    pp = (high - low) / (6 * s.sd) if low is not None and high is not None else None
    z = 1.6448536269514722  # standard normal, 0.95
    return Performance(low, high, pp, ppk, ppk - z * math.sqrt(1 / (9 * s.n) + ppk**2 / (2 * (s.n - 1))))


def tolerance_factor(n: int, *, covered: float = COVERED, confidence: float = CONFIDENCE) -> float:
    """Return k of the two-sided interval mean ± k s, exact for normal values, n >= 2.

    k solves the integral over the mean's place z ~ N(0, 1/n) of P(chi2_(n-1) >= (n-1) r(z)^2/k^2) = confidence, where
    z ± r holds the share `covered` of a normal distribution (ISO 16269-6; NIST/SEMATECH e-Handbook 7.2.6.3).
    """
    from scipy.optimize import brentq
    from scipy.special import gammaincc
    from scipy.stats import ncx2

    nodes, weights = np.polynomial.hermite_e.hermegauss(80)
    z = nodes / math.sqrt(n)
    r2 = ncx2.ppf(covered, 1, z * z)
    share = weights / weights.sum()
    dof = n - 1

    def reached(k: float) -> float:
        return float(share @ gammaincc(dof / 2, dof * r2 / (2 * k * k))) - confidence

    return float(brentq(reached, 0.5, 1e5, xtol=1e-10))


def tolerance(s: Spread, *, covered: float = COVERED, confidence: float = CONFIDENCE) -> Tolerance | None:
    """Return the two-sided tolerance interval; None with fewer than two values."""
    if s.sd is None:
        return None
    k = tolerance_factor(s.n, covered=covered, confidence=confidence)
    return Tolerance(covered, confidence, k, s.mean - k * s.sd, s.mean + k * s.sd)
