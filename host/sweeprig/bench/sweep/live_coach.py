"""The coach beside a running capture: events of the link in, advice out."""

from __future__ import annotations

from collections.abc import Callable

from sweeprig.bench.readings.coach import Advice, Coach
from sweeprig.bench.readings.live import Volts
from sweeprig.capture.model import SweepSetup
from sweeprig.frontend import front_end
from sweeprig.judge.profile import load_profile
from sweeprig.link.client import RigClient
from sweeprig.link.messages import Message
from sweeprig.trim.model import Trim


class LiveCoach:
    """Turns events into volts and lets the coach follow; `advise` gets what to say."""

    def __init__(
        self, client: RigClient, setup: SweepSetup, trim: Trim, advise: Callable[[Advice], None]
    ) -> None:
        profile = load_profile(setup.profile)
        end = front_end(str(client.hello().get("build", "plain")))
        self._volts = Volts(client, setup, trim, end, profile.supply.nominal_v)
        self._coach = Coach(profile)
        self._advise = advise

    def feed(self, events: list[Message]) -> None:
        """Take the events of a poll."""
        trace = self._volts.chunk(events).trace
        if trace is not None:
            self._advise(self._coach.feed(trace))

    @property
    def done(self) -> tuple[str, ...]:
        """What was done, for the capture."""
        return self._coach.done
