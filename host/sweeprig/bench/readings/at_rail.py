"""Watches for a signal that stays at sensor ground or supply before anything moves, as by an open or shorted wire."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sweeprig.bench.readings.limits import limit
from sweeprig.capture.model import Trace

GROUND, SUPPLY = "sensor ground", "the supply"


@dataclass
class AtRail:
    """Follows whether signal A lies at a rail; a supply that is not observed is taken as nominal."""

    nominal_v: float
    name: str = ""  # of the rail; "" where it lies at none
    from_s: float = 0.0  # [s] since when it lies there
    now_s: float = 0.0  # [s]

    @property
    def seconds(self) -> float:
        """How long the signal has been there [s]."""
        return self.now_s - self.from_s if self.name else 0.0

    def feed(self, trace: Trace) -> None:
        """Take the next windows."""
        if not trace.t_s.size:
            return
        supply_v = self.nominal_v if trace.supply is None else float(np.median(trace.supply.mean_v))
        near_v = limit("sweep.at_rail_percent") / 100 * self.nominal_v
        level_v = float(np.median(trace.signal_a.mean_v))
        name = GROUND if level_v < near_v else SUPPLY if level_v > supply_v - near_v else ""
        if name != self.name:
            self.name, self.from_s = name, float(trace.t_s[0])
        self.now_s = float(trace.t_s[-1]) + trace.window_s
