"""Counts dropouts while a sweep runs, for the screen alone: the finished capture is searched again."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from sweeprig.bench.readings.search import LiveSearch, joined
from sweeprig.capture.model import Trace
from sweeprig.judge.profile import Profile

LOOK_EVERY_S = 0.2  # [s] of the rig's time between two searches
AROUND_S = 0.03  # [s] on either side of a dropout from which its place is read


@dataclass
class Dropouts:
    """Searches traces as they come; keeps the number of dropouts and the volts at which the last one was."""

    profile: Profile
    n: int = 0
    last_v: float | None = None  # [V] of the signal around the last one; None: there was none
    search: LiveSearch = field(init=False)
    _waiting: list[Trace] = field(default_factory=list)
    _before: Trace | None = None
    _t0: float | None = None

    def __post_init__(self) -> None:
        self.search = LiveSearch(self.profile)

    def feed(self, trace: Trace) -> None:
        """Take the next windows of the sweep."""
        self._t0 = float(trace.t_s[0]) if self._t0 is None else self._t0
        self._waiting.append(trace)
        if sum(t.t_s.size for t in self._waiting) * trace.window_s < LOOK_EVERY_S:
            return
        part = joined(self._waiting)
        new = self.search.feed(part)
        seen = part if self._before is None else joined([self._before, part])
        if new:
            self.n += len(new)
            self.last_v = level_around(seen, new[-1].start_s + self._t0)
        self._before, self._waiting = part, []


def level_around(trace: Trace, at_s: float) -> float | None:
    """Return the median of the signal's means near a time [s]; None where nothing was seen there."""
    near = np.abs(trace.t_s - at_s) <= AROUND_S
    return float(np.median(trace.signal_a.mean_v[near])) if near.any() else None
