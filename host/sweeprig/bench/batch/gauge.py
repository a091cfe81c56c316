"""Gauge R&R study: how much of the spread of readings comes from rig and operators, and how much from the sensors.

Crossed study, every operator sweeps every part the same number of times. Two ways, as in the measurement systems
analysis of the vehicle trade (AIAG MSA, 4th edition): average and range, and analysis of variance.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sweeprig.errors import AnalysisError

FloatArray = NDArray[np.float64]
POOL_ABOVE = (
    0.25  # p of the interaction above which it is pooled with the repeatability (AIAG MSA; from memory)
)
GOOD, ACCEPTABLE = 10.0, 30.0  # % of total variation: below, between, above (AIAG MSA; from memory)
LEAST_CATEGORIES = 5  # distinct categories a gauge should tell apart (AIAG MSA; from memory)


@dataclass(frozen=True)
class Parts:
    """Standard deviations of the contributions, in the unit of the data."""

    repeatability: float  # EV: the same operator, the same part
    reproducibility: float | None  # AV: between operators; None where there was one
    gauge: float  # GRR: both together
    parts: float  # PV: between parts
    total: float  # TV

    @property
    def percent(self) -> float:
        """GRR in per cent of the total variation."""
        return 100 * self.gauge / self.total if self.total > 0 else math.nan

    @property
    def categories(self) -> int | None:
        """Distinct categories: 1.41 PV/GRR, cut to a whole number; None without a spread of the gauge."""
        return int(1.41 * self.parts / self.gauge) if self.gauge > 0 else None

    def of_tolerance(self, width: float) -> float:
        """6 GRR in per cent of a tolerance `width`."""
        return 100 * 6 * self.gauge / width


@dataclass(frozen=True)
class Study:
    """A gauge R&R study both ways."""

    n_parts: int
    n_operators: int
    n_trials: int
    by_range: Parts
    by_anova: Parts
    interaction: (
        float | None
    )  # standard deviation of operator with part; None where it was pooled or not studied
    p_interaction: float | None


@lru_cache(maxsize=64)
def range_moments(n: int) -> tuple[float, float]:
    """Return d2 = E[R] and the variance of the range R of n standard normal values.

    F(r) = n int phi(x) (Phi(x + r) - Phi(x))^(n-1) dx; E[R] = int 1 - F, E[R^2] = int 2 r (1 - F).
    """
    from scipy.integrate import trapezoid
    from scipy.special import ndtr

    x = np.linspace(-8.0, 8.0, 801)
    r = np.linspace(0.0, 13.0, 1301)
    density = n * np.exp(-x * x / 2) / math.sqrt(2 * math.pi)
    below = trapezoid(density * (ndtr(x + r[:, None]) - ndtr(x)) ** (n - 1), x, axis=1)
    d2 = float(trapezoid(1 - below, r))
    return d2, float(trapezoid(2 * r * (1 - below), r)) - d2 * d2


def d2_star(n: int, groups: int) -> float:
    """Return sqrt(d2^2 + var(R)/groups): what a mean range over `groups` of n values is divided by (Duncan)."""
    d2, var = range_moments(n)
    return math.sqrt(d2 * d2 + var / groups)


def study(values: FloatArray) -> Study:
    """Return the gauge R&R study of values (parts, operators, trials), no NaN; at least 2 parts and 2 trials.

    Raises AnalysisError.
    """
    y = np.asarray(values, dtype=np.float64)
    if y.ndim != 3 or y.shape[0] < 2 or y.shape[2] < 2:
        raise AnalysisError(
            "The gauge R&R study has too few readings.",
            seen=" x ".join(str(n) for n in y.shape) + " (parts x operators x trials)",
            limit="at least 2 parts and 2 trials",
            next_step="common practice is 10 parts, 3 operators, 3 trials each",
        )
    if float(np.ptp(y)) == 0.0:
        raise AnalysisError(
            "The readings do not differ: they say nothing of the rig, its operators or the sensors.",
            seen=f"{y.size} times {float(y.flat[0]):g} V",
            limit="readings as fine as the rig gives them",
            next_step="write the volts with all their digits",
        )
    anova, interaction, p = _anova(y)
    n, k, r = y.shape
    return Study(n, k, r, _by_range(y), anova, interaction, p)


def _together(ev: float, av: float | None, pv: float) -> Parts:
    gauge = math.hypot(ev, av or 0.0)
    return Parts(ev, av, gauge, pv, math.hypot(gauge, pv))


def _by_range(y: FloatArray) -> Parts:
    """EV = Rbar/d2; AV = sqrt((Xdiff/d2*)^2 - EV^2/(nr)); PV = Rp/d2* (AIAG MSA). K1 holds d2, not d2*."""
    n, k, r = y.shape
    ev = float(np.ptp(y, axis=2).mean()) / range_moments(r)[0]
    pv = float(np.ptp(y.mean(axis=(1, 2)))) / d2_star(n, 1)
    av = None
    if k > 1:
        between = float(np.ptp(y.mean(axis=(0, 2)))) / d2_star(k, 1)
        av = math.sqrt(max(between**2 - ev**2 / (n * r), 0.0))
    return _together(ev, av, pv)


def _anova(y: FloatArray) -> tuple[Parts, float | None, float | None]:
    """Two-way crossed random model; an interaction with p > POOL_ABOVE joins the repeatability."""
    from scipy.special import fdtrc

    n, k, r = y.shape
    mean, p_mean, o_mean, cell = y.mean(), y.mean(axis=(1, 2)), y.mean(axis=(0, 2)), y.mean(axis=2)
    ss_p = k * r * float(((p_mean - mean) ** 2).sum())
    ss_o = n * r * float(((o_mean - mean) ** 2).sum())
    ss_po = r * float(((cell - p_mean[:, None] - o_mean + mean) ** 2).sum())
    ss_e = float(((y - cell[:, :, None]) ** 2).sum())
    ms_p, ms_e = ss_p / (n - 1), ss_e / (n * k * (r - 1))
    if k == 1:
        return _together(math.sqrt(ms_e), None, math.sqrt(max((ms_p - ms_e) / r, 0.0))), None, None
    ms_o, ms_po = ss_o / (k - 1), ss_po / ((n - 1) * (k - 1))
    p = float(fdtrc((n - 1) * (k - 1), n * k * (r - 1), ms_po / ms_e)) if ms_e > 0 else float(ms_po == 0)
    pooled = p > POOL_ABOVE
    if pooled:
        ms_e = ms_po = (ss_e + ss_po) / (n * k * (r - 1) + (n - 1) * (k - 1))
    v_po = 0.0 if pooled else max((ms_po - ms_e) / r, 0.0)
    v_o, v_p = max((ms_o - ms_po) / (n * r), 0.0), max((ms_p - ms_po) / (k * r), 0.0)
    parts = _together(math.sqrt(ms_e), math.sqrt(v_o + v_po), math.sqrt(v_p))
    return parts, None if pooled else math.sqrt(v_po), p


def judged(parts: Parts) -> str:
    """Return the verdict of common practice on the gauge's share."""
    return judged_percent(parts.percent)


def judged_percent(percent: float) -> str:
    """Return that verdict for a share of all variation or of a tolerance [%]."""
    if percent < GOOD:
        return "good"
    return "acceptable for some uses" if percent <= ACCEPTABLE else "not good enough"
