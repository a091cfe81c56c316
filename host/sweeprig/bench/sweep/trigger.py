"""When a sweep starts and ends: armed at rest, started by the movement, ended by strokes and a rest.

Pure: what comes in are traces, what goes out are phases. Time is the trace's.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from enum import StrEnum

from sweeprig.bench.readings.at_rail import AtRail
from sweeprig.bench.readings.lever import Lever, Move, StrokeCount
from sweeprig.bench.readings.limits import limit
from sweeprig.bench.sweep.pace import SweepPlan
from sweeprig.capture.model import Trace
from sweeprig.judge.profile import Profile

LEAD_S = 0.6  # [s] of rest that is kept from before the first movement: an end is measured in it; own choice
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
    def running(self) -> bool:
        """Whether the sweep has begun and has not ended."""
        return self.phase in (Phase.RUNNING, Phase.RESTING)

    @property
    def seconds(self) -> float:
        """Time since the start of the movement [s]."""
        return 0.0 if self.waiting else self.lever.now_s - self.start_s

    def _wait(self) -> None:
        resting = self.lever.still_from_s is not None
        if self.phase is Phase.SETTLING and resting and self.lever.rest_s >= SETTLED_S:
            self.phase = Phase.ARMED
        elif self.phase is Phase.ARMED and not resting:
            self.phase, self.start_s = Phase.RUNNING, self.lever.now_s

    def _run(self) -> None:
        enough = self.strokes.n >= self.plan.strokes
        self.phase = Phase.RESTING if enough and not self.plan.timed else Phase.RUNNING
        held = self.phase is Phase.RESTING and self.lever.rest_s >= self.plan.hold_s
        left = bool(self.added_strokes) and self.lever.rest_s >= limit("sweep.more_wait_s")
        if left or (held and not self._made_longer()):
            self.phase, self.ended = Phase.OVER, "strokes"
        elif held:
            self.phase = Phase.RUNNING
        elif self.seconds >= self.plan.longest_s:
            self.phase, self.ended = Phase.OVER, "longest"

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
