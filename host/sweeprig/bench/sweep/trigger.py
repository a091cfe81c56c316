"""When a sweep starts and ends: armed at rest, started by the movement, ended by strokes and a rest.

Pure: what comes in are traces, what goes out are phases. Time is the trace's.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from enum import StrEnum

from sweeprig.bench.readings.at_rail import AtRail
from sweeprig.bench.readings.lever import Lever, Move, Stand, StrokeCount
from sweeprig.bench.readings.limits import limit
from sweeprig.bench.sweep.pace import SweepPlan
from sweeprig.capture.model import Trace
from sweeprig.judge.profile import Profile

LEAD_S = 0.6  # [s] of rest that is kept from before the first movement: an end is measured in it; own choice
NEAR_SHARE = 0.1  # of the span seen: a rest as near to an end as this is at that end; own choice, no source
STAND_S = 0.2  # [s] of rest at an end that is enough to measure it: the analysis wants 0.06 s; own choice
MOST_BACK = 4  # strokes beyond those asked for in which a missing rest is waited for; own choice
MOST_ASKS = 2  # how often strokes are added to a sweep at most; own choice
SETTLED_S = 0.3  # [s] the lever must rest before the sweep is armed; own choice


class Phase(StrEnum):
    """Where a sweep is."""

    SETTLING = "hold the lever still"
    ARMED = "armed: move the lever"
    RUNNING = "running"
    RESTING = "hold still"
    OVER = "over"


@dataclass
class Trigger:
    """Arms itself at rest, starts on movement, ends after the plan's strokes and a rest, or after its longest time.

    A timed plan starts at once and ends by its time alone. `more` is called at the end and returns how many more
    strokes would settle a cause that is still open; they are added to the plan, and dropped if the lever does not move
    for `sweep.more_wait_s`.
    """

    profile: Profile
    plan: SweepPlan
    more: Callable[[], int] | None = None
    added_strokes: int = 0  # beyond the plan, to settle an open cause
    phase: Phase = Phase.SETTLING
    ended: str = ""  # strokes | longest; "" while it runs
    start_s: float = 0.0  # [s] when the movement began
    last: Move | None = None  # the latest full stroke
    lever: Lever = field(init=False)
    strokes: StrokeCount = field(init=False)
    rail: AtRail = field(init=False)
    _asks: int = 0
    _lacking_v: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        self.lever = Lever(self.profile.series.start.value / 100 * self.profile.supply.nominal_v)
        self.rail = AtRail(self.profile.supply.nominal_v)
        self.strokes = StrokeCount(self.profile.limits.span.value)

    def feed(self, trace: Trace) -> Phase:
        """Take the next windows; return the phase after them."""
        if self.plan.timed and self.phase is Phase.SETTLING:
            self.phase, self.start_s = Phase.RUNNING, float(trace.t_s[0])
        moves = self.lever.feed(trace)
        self.rail.feed(trace)
        if self.waiting:
            self._wait()
        if self.running:
            for move in moves:
                if move.start_s + move.seconds >= self.start_s and self.strokes.take(move):
                    self.last = self.strokes.last
            self._run()
        return self.phase

    def start(self) -> None:
        """Start at the operator's wish (Enter, the rig's button), without a movement."""
        if not self.running and self.phase is not Phase.OVER:
            self.phase, self.start_s = Phase.RUNNING, self.lever.now_s

    @property
    def waiting(self) -> bool:
        """Whether the sweep has not begun."""
        return self.phase in (Phase.SETTLING, Phase.ARMED)

    @property
    def unrest_s(self) -> float:
        """How long the sweep has waited for the signal to rest [s]; 0 once it did."""
        return self.lever.now_s if self.phase is Phase.SETTLING else 0.0

    @property
    def at_rail_s(self) -> float:
        """How long the signal has lain at a rail before the sweep began [s]."""
        return self.rail.seconds if self.waiting else 0.0

    @property
    def wait_left_s(self) -> float:
        """How long a sweep that has not begun still waits [s], by the rig's time; 0 once it has."""
        if not self.waiting:
            return 0.0
        left = [limit("sweep.wait_s") - self.lever.now_s]
        left += [self.plan.longest_s - self.unrest_s] if self.unrest_s >= limit("sweep.unrest_s") else []
        at_rail = self.at_rail_s >= limit("sweep.at_rail_s")
        left += [limit("sweep.at_rail_wait_s") - self.at_rail_s] if at_rail else []
        return max(0.0, min(left))

    @property
    def running(self) -> bool:
        """Whether the sweep has begun and has not ended."""
        return self.phase in (Phase.RUNNING, Phase.RESTING)

    @property
    def seconds(self) -> float:
        """Time since the start of the movement [s]."""
        return 0.0 if self.waiting else self.lever.now_s - self.start_s

    @property
    def lacking_v(self) -> tuple[float, ...]:
        """The ends [V] at which the lever has yet to rest once its strokes are done."""
        return self._lacking_v

    def _look_for_rests(self) -> None:
        """Note the ends without a rest in what is kept; none where they were waited for long enough."""
        seen, most = self.strokes, self.plan.strokes + MOST_BACK
        if self.plan.timed or not self.plan.strokes <= seen.n < most:
            self._lacking_v = ()
            return
        stands = [s.level_v for s in self.lever.stands if self._kept_s(s) >= STAND_S]
        ends = (seen.low_v, seen.high_v)
        self._lacking_v = tuple(v for v in ends if not any(self._is_at(v, level) for level in stands))

    def _kept_s(self, stand: Stand) -> float:
        """Return how much of a rest [s] is in what is kept."""
        return min(stand.seconds, stand.end_s - self.keep_from_s)

    def _is_at(self, end_v: float, level_v: float) -> bool:
        return abs(level_v - end_v) <= NEAR_SHARE * (self.strokes.high_v - self.strokes.low_v)

    def _wait(self) -> None:
        resting = self.lever.still_from_s is not None
        if self.phase is Phase.SETTLING and resting and self.lever.rest_s >= SETTLED_S:
            self.phase = Phase.ARMED
        elif self.phase is Phase.ARMED and not resting:
            self.phase, self.start_s = Phase.RUNNING, self.lever.now_s

    def _run(self) -> None:
        self._look_for_rests()
        self.phase = Phase.RESTING if self._is_last() else Phase.RUNNING
        held = self.phase is Phase.RESTING and self.lever.rest_s >= self.plan.hold_s
        asked = bool(self.added_strokes or self._lacking_v)
        left = asked and self.lever.rest_s >= limit("sweep.more_wait_s")
        if left or (held and not self._made_longer()):
            self.phase, self.ended = Phase.OVER, "strokes"
        elif held:
            self.phase = Phase.RUNNING
        elif self.seconds >= self.plan.longest_s:
            self.phase, self.ended = Phase.OVER, "longest"

    def _is_last(self) -> bool:
        """Whether a rest where the lever is ends the sweep."""
        if self.plan.timed or self.strokes.n < self.plan.strokes:
            return False
        here = self.lever.still_from_s is not None and any(
            self._is_at(v, self.lever.rest_v) for v in self._lacking_v
        )
        return here or not self._lacking_v

    def _made_longer(self) -> bool:
        """Add the strokes that would settle a cause that is still open; False where there are none."""
        if self.more is None or self._asks >= MOST_ASKS:
            return False
        self._asks += 1
        n = self.more()
        self.plan, self.added_strokes = self.plan.with_more(n), self.added_strokes + n
        return n > 0

    @property
    def keep_from_s(self) -> float:
        """Time [s] from which the capture is kept."""
        return self.start_s - (0.0 if self.plan.timed else LEAD_S)

    @property
    def line(self) -> str:
        """One line for the screen."""
        if self.running:
            return f"strokes {self.strokes.n} of {self.plan.strokes}   {self.phase}"
        return str(self.phase)
