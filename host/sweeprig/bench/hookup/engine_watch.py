"""Watches the engine while a session runs, after the interlock has checked it, and ends the session where it starts."""

from __future__ import annotations

from dataclasses import dataclass

from sweeprig.bench.readings.engine import EngineSeen, looks_at_a_vehicle
from sweeprig.capture.model import SweepSetup
from sweeprig.errors import InterlockError
from sweeprig.frontend import FrontEnd
from sweeprig.link.messages import Message, SlowReading


@dataclass
class EngineWatch:
    """Follows the battery's readings, where the rig has a lead for them; with an override the engine may run."""

    seen: EngineSeen
    overridden: bool = False

    @classmethod
    def of(cls, front_end: FrontEnd, setup: SweepSetup) -> EngineWatch:
        """Return the watch for a rig with this front end and the operator's setup."""
        seen = EngineSeen(front_end, suspects=looks_at_a_vehicle(setup), system=setup.vehicle_system)
        return cls(seen, bool(setup.override.strip()))

    def feed(self, messages: list[Message]) -> None:
        """Take the messages of a poll."""
        self.seen.feed([m for m in messages if isinstance(m, SlowReading)])

    @property
    def stops(self) -> bool:
        """Whether the session has to end."""
        return self.seen.running is not None and not self.overridden

    def check(self) -> None:
        """Raise InterlockError where the session has to end and nothing is kept of it."""
        if self.seen.running is None or not self.stops:
            return
        unclear = "The battery reading does not say whether the engine runs"
        raise InterlockError(
            f"{unclear if self.seen.running.unclear else 'The engine appears to run'}: the sweep stops and the rig"
            " releases the sensor.",
            seen=self.seen.running.line,
            limit="engine off while the rig measures a sensor",
            next_step='switch it off and start again, or add --override "REASON" (printed on the sheet)',
        )
