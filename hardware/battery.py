"""What a vehicle's own supply does to the battery lead: R13 and D8 before the divider. Pure functions, SI units."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sweeprig.frontend.supply import battery_ohm
from sweeprig.frontend.tables import parts, table

BUILD = "full"  # the driven build has the same
LONG_S = 0.010  # what lasts longer is judged by its power, shorter by its energy
D8_W = 1.0  # of an axial suppressor, continuous, from memory
D8_J = 0.4  # 400 W for 1 ms: its rating
R13_TIMES = 6.25  # a film resistor's short-time overload, 2.5 times its volts for 5 s: from memory
R13_J = 0.1  # of a 1 W film resistor in 1 ms, from memory


@dataclass(frozen=True)
class Stress:
    """One event on the battery lead."""

    name: str
    volts: float
    lead_a: float
    r13: float  # [W] where it is long, [J] where it is short
    d8: float  # likewise
    input_a: float  # into the converter's clamp

    long: bool

    @property
    def kept(self) -> bool:
        """Whether R13 and D8 bear it."""
        limits = r13_limit(long=self.long), d8_limit(long=self.long)
        return self.r13 <= limits[0] and self.d8 <= limits[1]


def r13_limit(*, long: bool) -> float:
    """Return what R13 bears: [W] in a long event, [J] in a short one."""
    rated = float(parts(BUILD)["r_battery_guard"].rating.split(" W")[0])
    return R13_TIMES * rated if long else R13_J


def d8_limit(*, long: bool) -> float:
    """Return what D8 bears: [W] in a long event, [J] in a short one."""
    return D8_W if long else D8_J


def stress(row: Mapping[str, Any]) -> Stress:
    """Bound one event: D8 at its breakdown, all that is left across R13 and the event's own resistance."""
    p = parts(BUILD)
    volts, seconds = float(row["volts"]), float(row["seconds"])
    held = p["suppressor_battery"].more["breakdown_v"]
    guard = p["r_battery_guard"].value
    over = max(abs(volts) - held, 0.0)
    amps = over / (guard + float(row["source_ohm"]))
    long = seconds > LONG_S
    scale = 1.0 if long else seconds
    top = p["r_battery_top"].value
    inner = max(min(abs(volts), held) - (table()["rail"]["nominal_v"] if volts > 0 else 0.0), 0.0) / top
    return Stress(str(row["name"]), volts, amps, amps**2 * guard * scale, amps * held * scale, inner, long)


def stresses() -> list[Stress]:
    """Return all events of the table."""
    return [stress(row) for row in table()["battery"]]


def full_scale_v() -> float:
    """Return the highest battery voltage that is read: the converter's input at its own supply [V]."""
    top, bottom = battery_ohm(parts(BUILD))
    return float(table()["rail"]["nominal_v"]) * (top + bottom) / bottom
