"""Whether an engine has started, from the battery's volts as they come. Pure; the same live and in a stored capture."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from sweeprig.bench.readings.battery import Level, charging_v, level_of, unclear_words
from sweeprig.bench.readings.limits import limit
from sweeprig.capture.model import SweepSetup
from sweeprig.frontend import FrontEnd
from sweeprig.link.messages import SlowReading
from sweeprig.words import Hookup, Setting, above_range


@dataclass(frozen=True)
class Running:
    """An engine that runs."""

    index: int  # of the record at which the battery stood there first
    battery_v: float  # [V]; inf above the range of the divider
    rested_v: float | None  # [V] before, at rest; None where it ran from the first reading on
    most_v: float  # [V] that the divider can show
    unclear: str = ""  # why the volts do not say that it runs; "" where they do
    limit_v: float = 0.0  # [V] from which it is taken to run

    @property
    def line(self) -> str:
        """What was seen, in words."""
        now = f"{self.battery_v:z.2f} V"
        if math.isinf(self.battery_v):
            now = above_range(self.most_v)
        before = "" if self.rested_v is None else f" after {self.rested_v:z.2f} V"
        side = self.unclear or f"limit for a running engine {self.limit_v:z.1f} V"
        return f"battery {now}{before}; {side}"


@dataclass
class EngineSeen:
    """Follows the battery. On a bench only an engine that is seen to start counts, because a charger may be connected.

    `suspects`: in a vehicle, or tapped: an engine that runs from the first reading on counts as well. `system`: its
    voltage, 12 or 24; "": not given, and on a bench taken from the battery's first reading at rest.
    """

    front_end: FrontEnd
    suspects: bool
    system: str = ""
    running: Running | None = None  # once it runs it stays so
    _rested_v: float | None = None
    _high: int = 0  # readings in a row at or above the limit
    _low: int = 0  # readings in a row of a battery at rest
    _first: int = 0  # index of the first of those that are high

    def feed(self, slow: Sequence[SlowReading]) -> None:
        """Take the slow readings of a stream as they come."""
        from sweeprig.calibration.slow import battery_readings

        for index, volts in battery_readings(slow, self.front_end):
            if self.running is None:
                self._take(index, volts)

    def _take(self, index: int, volts: float) -> None:
        level = self._level(volts)
        high, rests = level in (Level.RUNS, Level.UNCLEAR), level is Level.RESTS
        self._first = index if high and not self._high else self._first
        self._high, self._low = (self._high + 1 if high else 0), (self._low + 1 if rests else 0)
        enough = limit("vehicle.charging_readings")
        if self._low >= enough:
            self._rested_v = volts
        if self._high >= enough and (self.suspects or self._rested_v is not None):
            why = unclear_words(volts, self.system) if level is Level.UNCLEAR else ""
            self.running = Running(
                self._first, volts, self._rested_v, self._most_v(), why, charging_v(self.system)
            )

    def _level(self, volts: float) -> Level:
        """Return what a reading says; on a bench a 24 V battery at rest is one until a lower one was seen."""
        rested = self._rested_v
        told = "" if rested is None or self.system else "24" if level_of(rested) is Level.UNCLEAR else "12"
        level = level_of(volts, self.system or told)
        if level is not Level.UNCLEAR or self.suspects or self.system or rested is not None:
            return level
        return level_of(volts, "24")

    def _most_v(self) -> float:
        from sweeprig.calibration.slow import most_battery_v

        return most_battery_v(self.front_end)


def looks_at_a_vehicle(setup: SweepSetup) -> bool:
    """Return whether an engine may be there: in a vehicle, and always when tapped, because a controller is there."""
    return setup.setting == Setting.VEHICLE or setup.hookup == Hookup.TAPPED
