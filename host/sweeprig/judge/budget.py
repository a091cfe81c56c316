"""Uncertainty budgets of what is reported: the data, the calibration, the load, an unseen supply."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from sweeprig.frontend import FrontEnd
from sweeprig.judge.model import BudgetLine, Quantity
from sweeprig.trim.model import ChannelTrim, Trim

COVERAGE = 0.95


@dataclass(frozen=True)
class Expanded:
    """A combined uncertainty and its 95 % half-width."""

    u: float
    dof: float
    k: float
    u95: float


def expand(lines: Sequence[BudgetLine]) -> Expanded:
    """Combine independent contributions and expand them at 95 %.

    u^2 = sum (c u_i)^2; effective degrees of freedom by Welch and Satterthwaite, k = t_0.975(dof)
    (JCGM 100:2008, 5.1.2, G.4.1 and G.3.2). Lines without contribution do not count.
    """
    u = math.sqrt(sum(b.contribution**2 for b in lines))
    shares = sum(b.contribution**4 / b.dof for b in lines if math.isfinite(b.dof))
    dof = u**4 / shares if shares > 0 else math.inf
    k = student_k(dof)
    return Expanded(u, dof, k, k * u)


def student_k(dof: float) -> float:
    """Return t_0.975 of `dof` degrees of freedom, at least one; infinite is the normal quantile."""
    from scipy.special import ndtri, stdtrit

    p = 0.5 + COVERAGE / 2
    return float(ndtri(p)) if math.isinf(dof) or dof > 1e6 else float(stdtrit(max(dof, 1.0), p))


def quantity(
    name: str, unit: str, value: float, lines: Sequence[BudgetLine], *, n_samples: int = 0
) -> Quantity:
    """Return a value with its budget and expanded uncertainty."""
    e = expand(lines)
    return Quantity(
        name,
        unit,
        value,
        e.u95,
        u=e.u,
        dof=e.dof,
        coverage_factor=e.k,
        n_samples=n_samples,
        budget=tuple(lines),
    )


def missing(name: str, unit: str, reason: str) -> Quantity:
    """Return a quantity that was not measured, and why."""
    return Quantity(name, unit, None, None, reason=reason)


def scaled(lines: Sequence[BudgetLine], factor: float, prefix: str = "") -> tuple[BudgetLine, ...]:
    """Return the lines with their sensitivities multiplied by `factor`."""
    return tuple(replace(b, name=prefix + b.name, sensitivity=b.sensitivity * factor) for b in lines)


def channel_trim(trim: Trim | None, channel: int) -> ChannelTrim | None:
    """Return one channel's trim; None where there is none."""
    return next((c for c in trim.channels if c.channel == channel), None) if trim else None


def calibration_lines(
    value_v: float, *, channel: int, trim: Trim | None, front_end: FrontEnd | None
) -> tuple[BudgetLine, ...]:
    """Return what the rig's calibration contributes to a reading at the sensor [V]."""
    own = channel_trim(trim, channel)
    if own is None or front_end is None:
        return ()
    line = own.line
    code = (value_v - line.offset_v) / line.gain_v
    var = max(line.var_offset + 2 * code * line.cov + code**2 * line.var_gain, 0.0)
    bent = own.linearity.u_lsb if own.linearity else own.u_linearity_lsb
    return (
        BudgetLine("fit and reference of the trim", "B", "normal", math.sqrt(var), "V", 1.0, line.dof),
        BudgetLine("linearity of the converter", "B", "rectangular", bent, "LSB", abs(line.gain_v), math.inf),
    )
