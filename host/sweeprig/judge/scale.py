"""Converts measured volts to the scale of a profile's limits: fractions of the nominal supply, or plain volts."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from sweeprig.analysis.model import Analysis
from sweeprig.analysis.statistics import batch_means_u, spread_of
from sweeprig.calibration.slow import ground_half_width_v
from sweeprig.capture.model import FloatArray, SweepSetup, Trace
from sweeprig.judge import budget as bu
from sweeprig.judge.model import BudgetLine, Quantity
from sweeprig.judge.named_ends import levels
from sweeprig.judge.profile_model import Limits, Profile, Range
from sweeprig.judge.rig import Rig
from sweeprig.words import Hookup

NOT_OBSERVED = "the supply was not measured"
WIDER = "the wider of both supply limits: the source is not known"


@dataclass(frozen=True)
class Scale:
    """Ground and supply of one capture, and how volts are converted to the profile's scale."""

    nominal_v: float  # [V]
    ratiometric: bool
    ground_v: float  # [V] sensor ground against rig ground; 0 where not observed
    supply: Quantity  # measured supply; value None where not observed
    supply_range: Range  # allowed for the supply; depends on whether rig or vehicle powers the sensor
    unseen_range: Range  # assumed for the supply where it was not observed
    ground_u_v: float = 0.0  # [V] standard uncertainty of ground_v
    at_rests_v: Mapping[str, float] = field(default_factory=dict)  # [V] supply at the rests, by quantity
    calibrated: bool = True  # False: the rig was never calibrated

    @property
    def top_v(self) -> float:
        """Upper rail on the profile's scale [V]."""
        if self.ratiometric or self.supply.value is None:
            return self.nominal_v
        return self.supply.value - self.ground_v

    def at_nominal(self, q: Quantity) -> Quantity:
        """Return a measured level on the profile's scale: ratio x nominal supply, or volts above ground.

        x = Vn (V - G) / (S - G). Where S was not observed it is taken as nominal, and its allowed range enters
        the uncertainty as a rectangular term.
        """
        if q.value is None:
            return q
        above = q.value - self.ground_v
        if not self.ratiometric:
            lines = (*q.budget, *self._ground(-1.0))
            return bu.quantity(q.name, q.unit, above, lines, n_samples=q.n_samples)
        if self.supply.value is None:
            lines = (*q.budget, self._unseen(above), *self._ground(-1.0))
            return bu.quantity(q.name, q.unit, above, lines, n_samples=q.n_samples)
        ratio, lines = self._ratio(q)
        return bu.quantity(
            q.name, q.unit, ratio * self.nominal_v, bu.scaled(lines, self.nominal_v), n_samples=q.n_samples
        )

    def span_at_nominal(self, q: Quantity, *, low: Quantity, high: Quantity) -> Quantity:
        """Return a measured distance of two levels on the profile's scale: x = Vn (H - L) / (S - G).

        Where the supply differed between the rests at the two ends, each end has its own: the span is then the
        difference of the ends on the scale.
        """
        if q.value is None or not self.ratiometric:
            return q
        if self.supply.value is None:
            return bu.quantity(
                q.name, q.unit, q.value, (*q.budget, self._unseen(q.value)), n_samples=q.n_samples
            )
        rail = self.supply.value - self.ground_v
        factor = self.nominal_v / rail
        supply = bu.scaled(self.supply.budget, -factor * q.value / rail, bu.SUPPLY)
        lines = bu.merged((*bu.scaled(q.budget, factor), *supply, *self._ground(factor * q.value / rail)))
        ends = self.at_nominal(low).value, self.at_nominal(high).value
        value = q.value * factor if ends[0] is None or ends[1] is None else ends[1] - ends[0]
        return bu.quantity(q.name, q.unit, value, lines, n_samples=q.n_samples)

    def with_supply_uncertainty(self, q: Quantity) -> Quantity:
        """Return a level on the profile's scale, the uncertainty of the upper rail added to its own.

        On a ratiometric scale the rail is exact: the nominal supply. In volts it is the measured supply, or the assumed
        range of one that was not observed.
        """
        if self.ratiometric or q.value is None:
            return q
        rail = bu.scaled(self.supply.budget, -1.0, bu.SUPPLY)
        lines = bu.merged(
            (
                *q.budget,
                *(rail if self.supply.value is not None else (self._unseen(self.nominal_v),)),
                *(self._ground(1.0) if self.supply.value is not None else ()),
            )
        )
        return bu.quantity(q.name, q.unit, q.value, lines, n_samples=q.n_samples)

    def ratio(self, q: Quantity, name: str) -> Quantity:
        """Return a measured level as a ratio to the measured supply, both above sensor ground."""
        if q.value is None:
            return bu.missing(name, "", q.reason)
        if self.supply.value is None:
            return bu.missing(name, "", self.supply.reason)
        ratio, lines = self._ratio(q)
        return bu.quantity(name, "", ratio, lines, n_samples=q.n_samples)

    def _ratio(self, q: Quantity) -> tuple[float, tuple[BudgetLine, ...]]:
        level, supply = q.value or 0.0, self.at_rests_v.get(q.name, self.supply.value or math.nan)
        rail = supply - self.ground_v
        ratio = (level - self.ground_v) / rail
        return ratio, bu.merged(
            (
                *bu.scaled(q.budget, 1 / rail),
                *bu.scaled(self.supply.budget, -ratio / rail, bu.SUPPLY),
                *self._ground((ratio - 1.0) / rail),
            )
        )

    def _ground(self, sensitivity: float) -> tuple[BudgetLine, ...]:
        """Return the uncertainty that sensor ground adds; () where it was not measured or is taken as zero."""
        if not self.ground_u_v > 0:
            return ()
        return (BudgetLine(bu.GROUND, "B", "rectangular", self.ground_u_v, "V", sensitivity, math.inf),)

    def _unseen(self, above_v: float) -> BudgetLine:
        half = (self.unseen_range.high - self.unseen_range.low) / 2
        sensitivity = above_v / self.nominal_v
        return BudgetLine(
            "supply not observed", "B", "rectangular", half / math.sqrt(3), "V", sensitivity, math.inf
        )


def make_scale(
    *, analysis: Analysis, trace: Trace, setup: SweepSetup, profile: Profile, rig: Rig | None
) -> Scale:
    """Return the scale of one capture."""
    limits = profile.limits
    ground = 0.0
    if trace.ground_v is not None and trace.ground_v.size:
        ground = float(np.median(trace.ground_v))
    half = 0.0
    if rig is not None and "ground-sense" in rig.front_end.capabilities and abs(ground) > 1e-6:
        half = ground_half_width_v(rig.front_end)
    return Scale(
        nominal_v=profile.supply.nominal_v,
        ratiometric=profile.supply.ratiometric,
        ground_v=ground,
        ground_u_v=half / math.sqrt(3),
        supply=_supply(analysis, trace, rig),
        supply_range=_supply_range(limits, setup, trace),
        unseen_range=limits.supply,
        at_rests_v=_at_rests(analysis),
        calibrated=rig is None or rig.calibration.kind != "nominal",
    )


def _supply_range(limits: Limits, setup: SweepSetup, trace: Trace) -> Range:
    """Return the supply limits for a sensor powered by rig or vehicle; the wider ones where it is not known which."""
    powered, tapped = limits.supply_powered, limits.supply
    if trace.source == "rig":
        return powered if setup.hookup is Hookup.POWERED else tapped
    return Range(min(powered.low, tapped.low), max(powered.high, tapped.high), tapped.unit, WIDER)


def _at_rests(analysis: Analysis) -> dict[str, float]:
    """Return the supply while the lever rested at each end [V], by quantity, where it was measured."""
    ends = levels(analysis, 0) | levels(analysis, 1)
    out = {}
    for name, end in ends.items():
        if math.isfinite(end.ratio) and end.ratio > 0 and end.value_v > 0:
            out[name] = end.value_v / end.ratio
    return out


def _steady(supply_v: FloatArray) -> FloatArray:
    """Return the supply without its dropouts: values within 5 robust standard deviations of the median."""
    near = np.abs(supply_v - np.median(supply_v)) <= 5 * max(spread_of(supply_v), 1e-4)
    return np.asarray(supply_v[near], dtype=float)


def _supply(analysis: Analysis, trace: Trace, rig: Rig | None) -> Quantity:
    value = analysis.supply_v
    if trace.supply is None or not math.isfinite(value) or value <= 0:
        return bu.missing("supply_v", "V", NOT_OBSERVED)
    u, dof = batch_means_u(_steady(trace.supply.mean_v))
    if math.isfinite(u) and u > 0 and trace.undithered:  # one and the same number shows no resolution
        u = math.hypot(u, trace.lsb_v / math.sqrt(12.0))
    lines = (
        BudgetLine("level of the supply", "A", "t", u if math.isfinite(u) else 0.0, "V", 1.0, dof),
        *bu.calibration_lines(value, channel=2, rig=rig),
    )
    return bu.quantity("supply_v", "V", value, lines, n_samples=trace.supply.mean_v.size)
