"""How the rig's own load may shift a potentiometer whose track resistance is not known."""

from __future__ import annotations

import math
from dataclasses import dataclass

from sweeprig.calibration.codes import rectangular
from sweeprig.calibration.uncertainty import LOAD, loading_line, loading_shift_v
from sweeprig.capture.model import SweepSetup
from sweeprig.frontend import FrontEnd
from sweeprig.judge.model import BudgetLine
from sweeprig.judge.profile_model import Profile
from sweeprig.words import Hookup


@dataclass(frozen=True)
class RigLoad:
    """The track resistance to assume and what loads it; None where the load cannot matter or is corrected already."""

    track_ohm: float | None
    load_ohm: float
    nominal_v: float  # [V] supply where it was not observed
    shift_percent: float = 0.0  # % of supply: the largest shift over the travel

    def budget_lines(self, value_v: float, *, rail_v: float | None) -> tuple[BudgetLine, ...]:
        """Return the shift that the load may make on one level [V], as an uncertainty."""
        if self.track_ohm is None:
            return ()
        supply = self._supply_v(rail_v)
        return (loading_line(value_v, supply_v=supply, track_ohm=self.track_ohm, load_ohm=self.load_ohm),)

    def span_lines(self, low_v: float, high_v: float, *, rail_v: float | None) -> tuple[BudgetLine, ...]:
        """Return the same for the distance of two levels [V]: one track shifts both, so only the difference counts."""
        if self.track_ohm is None:
            return ()
        supply = self._supply_v(rail_v)
        low, high = (
            loading_shift_v(v, supply_v=supply, track_ohm=self.track_ohm, load_ohm=self.load_ohm)
            for v in (low_v, high_v)
        )
        return (BudgetLine(LOAD, "B", "rectangular", rectangular(abs(high - low)), "V", 1.0, math.inf),)

    def _supply_v(self, rail_v: float | None) -> float:
        return self.nominal_v if rail_v is None else rail_v


def rig_load(setup: SweepSetup, profile: Profile, front_end: FrontEnd | None) -> RigLoad:
    """Return the load of one capture.

    With a known resistance the shift is corrected where the rig powers the sensor; tapped, it stays an uncertainty.
    """
    nominal = profile.supply.nominal_v
    kind = setup.sensor_kind or profile.sensor.kind
    powered = setup.hookup is Hookup.POWERED
    given_ohm, reckoned = setup.track_ohm, profile.sensor.track_ohm
    if front_end is None or kind == "hall" or (given_ohm is not None and powered):
        return RigLoad(None, 0.0, nominal)
    track = given_ohm if given_ohm is not None else reckoned.high if reckoned is not None else None
    if track is None:
        return RigLoad(None, 0.0, nominal)
    burdened = powered and front_end.burden_ohm is not None
    shift = 100 * front_end.loading_error(track_ohm=track, burden_on=burdened)
    return RigLoad(track, front_end.load_ohm(burden_on=burdened), nominal, shift)
