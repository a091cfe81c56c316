"""The live search of a wiggle test: counts events as they happen."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field, replace

import numpy as np

from sweeprig.analysis.channel_events import events_of
from sweeprig.analysis.wiggle import Happening, happening, together
from sweeprig.capture.marks import PLACES, MarkAt, place_at
from sweeprig.capture.model import Channel, Trace
from sweeprig.judge.profile import Profile

BUFFER_S = 1.5  # [s] of windows that the live search looks through
TAIL_S = 0.15  # [s] at the end of the buffer in which an event may not be over yet


@dataclass
class LiveSearch:
    """Finds events in traces as they come. The finished capture is searched again, and that count is the result."""

    profile: Profile
    far_end: bool = False
    marks: list[MarkAt] = field(default_factory=list)
    found: list[Happening] = field(default_factory=list)
    reading_v: float | None = None
    supply_v: float | None = None
    seconds: float = 0.0
    _parts: deque[Trace] = field(default_factory=deque)
    _done_s: float = -1.0
    _t0: float | None = None

    def feed(self, trace: Trace) -> list[Happening]:
        """Take the next windows; return the new events."""
        self._t0 = float(trace.t_s[0]) if self._t0 is None else self._t0
        self.seconds = float(trace.t_s[-1]) + trace.window_s - self._t0
        self.reading_v = float(np.median(trace.signal_a.mean_v[-100:]))
        if trace.supply is not None:
            self.supply_v = float(np.median(trace.supply.mean_v[-100:]))
        self._parts.append(trace)
        while len(self._parts) > 1 and self._parts[1].t_s[0] < trace.t_s[-1] - BUFFER_S:
            self._parts.popleft()
        new = self._search(joined(list(self._parts)))
        self.found += new
        return new

    @property
    def last_s(self) -> float | None:
        """When the last one began [s since the start]; None where there was none."""
        return self.found[-1].start_s if self.found else None

    def mark(self, place: str) -> None:
        """Note that the operator works at `place` from now on."""
        self.marks.append(MarkAt(self.seconds, place))

    @property
    def place(self) -> str:
        """The place at which the operator works now."""
        return place_at(self.marks, self.seconds)

    def next_place(self) -> str:
        """Go on to the next place; return it."""
        self._next(self.seconds)
        return self.place

    def pressed(self, at_s: float) -> None:
        """Note a press of the rig's button at a time [s] of the stream: from then on the next place is worked at."""
        self._next(max(0.0, at_s - (self._t0 or 0.0)))

    def _next(self, at_s: float) -> None:
        now = place_at(self.marks, at_s)
        number = PLACES.index(now) + 1 if now in PLACES else 0
        self.marks.append(MarkAt(at_s, PLACES[number % len(PLACES)]))

    def _search(self, trace: Trace) -> list[Happening]:
        if trace.t_s.size < 40 or self._t0 is None:
            return []
        least = self.profile.limits.dropout.value
        end = float(trace.t_s[-1]) - TAIL_S
        fresh = [
            replace(e, start_s=e.start_s - self._t0)
            for e in events_of(trace)
            if e.depth_percent >= least and self._done_s < e.start_s <= end
        ]
        groups = together(fresh)
        if fresh:
            self._done_s = max(e.start_s + e.duration_s for e in fresh) + self._t0
        return [happening(g, self.marks, far_end=self.far_end) for g in groups]


def joined(parts: list[Trace]) -> Trace:
    """Join consecutive parts into one trace."""
    if len(parts) == 1:
        return parts[0]
    last = parts[-1]

    def channel(name: str) -> Channel | None:
        found = [getattr(p, name) for p in parts]
        if any(c is None for c in found):
            return None
        return Channel(
            *(np.concatenate([getattr(c, f) for c in found]) for f in ("mean_v", "min_v", "max_v"))
        )

    a = channel("signal_a")
    assert a is not None
    return replace(
        last,
        t_s=np.concatenate([p.t_s for p in parts]),
        signal_a=a,
        signal_b=channel("signal_b"),
        supply=channel("supply"),
        gap_before=np.concatenate([p.gap_before for p in parts]),
        angle_deg=None,
        ground_v=None,
    )
