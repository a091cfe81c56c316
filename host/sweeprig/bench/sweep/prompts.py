"""What the operator has to do now, in two or three words, from how the lever moves. Pure; time is the trace's."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from enum import StrEnum

from sweeprig.bench.readings.limits import limit
from sweeprig.bench.readings.watch import Watcher, WatchState
from sweeprig.bench.sweep.dropouts import Dropouts
from sweeprig.bench.sweep.pace import Pace, SweepPlan
from sweeprig.bench.sweep.trigger import NEAR_SHARE, Phase, Trigger
from sweeprig.capture.model import Trace
from sweeprig.judge.profile import Profile
from sweeprig.words import Starts

REACHED_SHARE = (
    0.85  # of the span seen, and half the profile's least span: the far end; own choice, no source
)
HOME_S = (
    0.1  # [s] of rest after which a level counts as the end where the sweep begins; own choice, no source
)
SURE_SHARE = 0.2  # of the span: once a stroke has gone this far, its pace is shown; own choice, no source


class Step(StrEnum):
    """What to do now."""

    HOLD_CLOSED = "HOLD CLOSED"
    OPEN_SLOWLY = "OPEN SLOWLY"
    HOLD_OPEN = "HOLD OPEN"
    AND_BACK = "AND BACK"
    CLOSE_SLOWLY = "CLOSE SLOWLY"
    HOLD_STILL = "HOLD STILL"
    FULL_STROKES = "FULL STROKES"
    DONE = "DONE"


HOLDS = (Step.HOLD_CLOSED, Step.HOLD_OPEN, Step.HOLD_STILL)


@dataclass(frozen=True)
class SweepState:
    """What a screen or a page shows of a sweep."""

    step: Step
    phase: Phase
    plan: SweepPlan
    strokes: int
    pace: Pace | None  # of the running stroke, else of the last one; None before there is any
    stroke_s: float | None  # [s] of that stroke
    hold_left_s: float  # [s] still to hold; 0 where nothing is held
    seconds: float  # [s] since the start
    reading: WatchState
    added_strokes: int = 0  # beyond the plan's first number, to separate a worn spot from a loose connection
    dropouts: int = 0  # seen so far; the finished capture is searched anew
    dropout_percent: float | None = (
        None  # % of travel at which the last one was; None: none, or not known yet
    )
    unrest_s: float = 0.0  # [s] for which a signal that must rest has not; 0 for less than `sweep.unrest_s`
    lacking: tuple[str, ...] = ()  # ends, closed or open, whose rest is missing once the strokes are done
    wait_left_s: float = 0.0  # [s] for which a sweep that has not begun still waits
    at_rail: str = ""  # where the signal has lain for `sweep.at_rail_s` before the sweep began; "" nowhere

    @property
    def armed(self) -> bool:
        """Whether a movement of the lever starts the sweep."""
        return self.phase is Phase.ARMED

    @property
    def waiting(self) -> bool:
        """Whether the sweep has not begun."""
        return self.phase in (Phase.SETTLING, Phase.ARMED)


@dataclass
class SweepPrompts:
    """Follows a sweep from its first rest to its last, and says what to do next. `watcher` follows the reading."""

    profile: Profile
    plan: SweepPlan
    starts: Starts = Starts.CLOSED
    more: Callable[[], int] | None = None  # called at the end: how many more strokes would settle a cause
    trigger: Trigger = field(init=False)
    watcher: Watcher = field(init=False)
    dropouts: Dropouts = field(init=False)
    _stroke_times: list[float] = field(default_factory=list)  # [s] of the full strokes
    _held_first_s: float = 0.0  # [s] the longest rest before the first stroke
    _home_v: float | None = None  # [V] the end where the sweep began
    _away: float = 0.0  # [V] distance of the latest level from there
    _outward: bool = True  # away from that end, not back to it

    def __post_init__(self) -> None:
        self.trigger = Trigger(self.profile, self.plan, self.more)
        self.watcher = Watcher(self.profile, starts_closed=self.starts is Starts.CLOSED)
        self.dropouts = Dropouts(self.profile)

    def feed(self, trace: Trace) -> SweepState:
        """Take the next windows; return what to show after them."""
        self.watcher.feed(trace)
        before = self.trigger.strokes.n
        self.trigger.feed(trace)
        if self.trigger.running:
            self.dropouts.feed(trace)
        if self.trigger.strokes.n > before and self.trigger.last is not None:
            self._stroke_times.append(self.trigger.last.seconds)
        self._rest_at_home()
        self._turn()
        return self.state()

    def _rest_at_home(self) -> None:
        lever = self.trigger.lever
        if lever.rest_s >= HOME_S and (self._home_v is None or self.trigger.waiting):
            self._home_v = lever.rest_v
        if not self._stroke_times and lever.moving_from is None:
            self._held_first_s = max(self._held_first_s, lever.rest_s)

    @property
    def seen(self) -> tuple[str, ...]:
        """What the operator did, for the capture; not what was asked and not done."""
        said = [f"held still at the start, {self._held_first_s:.1f} s"] if self._held_first_s else []
        times = self._stroke_times
        if times:
            many = "s" if len(times) != 1 else ""
            said.append(f"{len(times)} full stroke{many} of {min(times):.1f} to {max(times):.1f} s")
        if self.trigger.added_strokes:
            said.append(
                f"asked for {self.trigger.added_strokes} more strokes to separate a worn spot from a loose connection"
            )
        return tuple(said)

    def state(self) -> SweepState:
        """Return what to show now."""
        step = self._step()
        pace, seconds = self._pace()
        held = self.trigger.lever.rest_s
        return SweepState(
            step=step,
            phase=self.trigger.phase,
            plan=self.trigger.plan,
            strokes=self.trigger.strokes.n,
            pace=pace,
            stroke_s=seconds,
            hold_left_s=max(0.0, self.plan.hold_s - held) if step in HOLDS else 0.0,
            seconds=self.trigger.seconds,
            reading=self.watcher.state(columns=200),
            added_strokes=self.trigger.added_strokes,
            lacking=self._lacking(),
            wait_left_s=self.trigger.wait_left_s,
            dropouts=self.dropouts.n,
            dropout_percent=self._dropout_percent(),
            at_rail=self.trigger.rail.name if self.trigger.at_rail_s >= limit("sweep.at_rail_s") else "",
            unrest_s=self.trigger.unrest_s if self.trigger.unrest_s >= limit("sweep.unrest_s") else 0.0,
        )

    def _lacking(self) -> tuple[str, ...]:
        """Return the ends whose rest is missing, by the end where the sweep began."""
        ends = self.trigger.lacking_v
        if self._home_v is None or self.starts is Starts.ANYWHERE:
            return ("other",) if ends else ()
        names = ("closed", "open") if self.starts is Starts.CLOSED else ("open", "closed")
        near = NEAR_SHARE * self._span_v
        return tuple(names[abs(v - self._home_v) > near] for v in ends)

    def _dropout_percent(self) -> float | None:
        """Return where the last dropout was [% of travel, 0 = closed], by the ends seen so far."""
        at, seen = self.dropouts.last_v, self.trigger.strokes
        span = seen.high_v - seen.low_v
        if at is None or self._home_v is None or self.starts is Starts.ANYWHERE or self.trigger.last is None:
            return None
        away = min(1.0, abs(at - self._home_v) / span) if span > 0 else 0.0
        return 100 * (away if self.starts is Starts.CLOSED else 1 - away)

    @property
    def _span_v(self) -> float:
        seen = self.trigger.strokes
        return max(0.0, seen.high_v - seen.low_v, self._away)

    def _turn(self) -> None:
        """Note which way the lever goes: away from where it began, or back.

        A pause on the way changes nothing, nor does a dropout at a stop.
        """
        if self._home_v is None:
            return
        lever = self.trigger.lever
        self._away = abs(lever.level_v - self._home_v)
        if lever.moving_from is None:
            self._outward = (self._outward or self._at_home()) and not self._at_far()
            return
        began = abs(lever.moving_from[1] - self._home_v)
        if abs(self._away - began) > NEAR_SHARE * self._span_v:
            self._outward = self._away > began

    def _at_home(self) -> bool:
        return self._away <= max(NEAR_SHARE * self._span_v, self.trigger.lever.least_v)

    def _at_far(self) -> bool:
        """Whether the lever is at the other end: as far as it has ever been, and as far as the profile's least span.

        A shorter travel counts as the whole one after a rest of twice the usual time.
        """
        far = self._away >= REACHED_SHARE * self._span_v and not self._at_home()
        long_way = self._away >= REACHED_SHARE * self.profile.limits.span.value
        return far and (long_way or self.trigger.lever.rest_s >= 2 * self.plan.hold_s)

    def _step(self) -> Step:
        phase, names = self.trigger.phase, _NAMES[self.starts]
        if phase is Phase.OVER:
            return Step.DONE
        if phase is Phase.SETTLING:
            return names.hold_home
        if phase is Phase.ARMED:
            return names.out
        if self.starts is Starts.ANYWHERE:
            return Step.HOLD_STILL if phase is Phase.RESTING else Step.FULL_STROKES
        return self._moving(names)

    def _moving(self, names: _Names) -> Step:
        if self._home_v is None and self.trigger.seconds < 2 * self.plan.hold_s:  # the signal comes up
            return names.hold_home
        resting = self.trigger.lever.still_from_s is not None
        hold = self.trigger.lever.rest_s < self.plan.hold_s or self.trigger.phase is Phase.RESTING
        if resting and self._at_far():
            return names.hold_far if hold else names.back
        if resting and self._at_home():
            return names.hold_home if hold else names.out
        if self.trigger.phase is Phase.RESTING:  # enough strokes: none more is asked for
            return Step.HOLD_STILL
        lacking = self.trigger.lacking_v
        if len(lacking) == 1 and self._home_v is not None:  # there the lever goes, whichever way it went last
            return names.back if abs(lacking[0] - self._home_v) <= NEAR_SHARE * self._span_v else names.out
        return names.out if self._outward else names.back

    def _pace(self) -> tuple[Pace | None, float | None]:
        """Return the pace of the running stroke once enough of it is seen, else that of the last full one."""
        running = self._running_s()
        last = self.trigger.last
        seconds = running if running is not None else last.seconds if last is not None else None
        return (None, None) if seconds is None else (self.plan.pace(seconds), seconds)

    def _running_s(self) -> float | None:
        """Return how long the running stroke will take at its speed so far [s]."""
        lever, seen = self.trigger.lever, self.trigger.strokes
        began = lever.moving_from
        span = seen.high_v - seen.low_v
        if began is None or not span > 0:
            return None
        share = abs(lever.level_v - began[1]) / span
        return (lever.now_s - began[0]) / share if share >= SURE_SHARE else None


@dataclass(frozen=True)
class _Names:
    """The steps of a sweep by where it began."""

    hold_home: Step
    out: Step
    hold_far: Step
    back: Step


_FROM_CLOSED = _Names(Step.HOLD_CLOSED, Step.OPEN_SLOWLY, Step.HOLD_OPEN, Step.AND_BACK)
_FROM_OPEN = _Names(Step.HOLD_OPEN, Step.CLOSE_SLOWLY, Step.HOLD_CLOSED, Step.AND_BACK)
_ANYWHERE = _Names(Step.HOLD_STILL, Step.FULL_STROKES, Step.HOLD_STILL, Step.FULL_STROKES)
_NAMES = {Starts.CLOSED: _FROM_CLOSED, Starts.OPEN: _FROM_OPEN, Starts.ANYWHERE: _ANYWHERE}
