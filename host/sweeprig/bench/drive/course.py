"""The movements of a driven sweep, one leg after another: home, both stops, then strokes from the closed stop.

In closing direction the motor pushes the lever against its stop until it stands still, then lets go: there it rests as
it does without a motor. In opening direction a lever with a spring must be held: its
stroke ends 2 counts before the stop.

Time is the rig's. The board ends each leg; a leg that ends in a wrong way ends the course.
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import dataclass, field
from enum import StrEnum
from itertools import count

from sweeprig.bench.drive.motor import FAULTS, MOST_DEG, Motor, Where, between, fault
from sweeprig.bench.readings.limits import limit
from sweeprig.bench.sweep.trigger import MOST_ASKS
from sweeprig.errors import BoardRefusedError, DriveError, SweeprigError

ASK_EVERY_S = 0.05  # [s] of the rig's time between two questions where the lever is
PUSH_DEG = 2.0  # beyond the closed stop: there the belt slips until the board sees the lever stand
PAST_DEG = 7.0  # more than the board goes past home


class Doing(StrEnum):
    """What the motor does now."""

    HOME = "To the closed end"
    REST = "Looking for the closed stop"
    SEARCH = "Looking for the open stop"
    BACK = "Back to the closed stop"
    OPENING = "Opening"
    CLOSING = "Closing"
    DONE = "Done"


@dataclass(frozen=True)
class DrivePlan:
    """What a driven sweep does. `travel_deg` None: up to the open stop, wherever it is found."""

    strokes: int
    travel_deg: float | None = None
    stroke_s: float = field(default_factory=lambda: limit("driven.stroke_s"))


@dataclass(frozen=True)
class DriveState:
    """What the screen shows of a driven sweep."""

    doing: Doing
    stroke: int  # the running one, from 1; 0 before the first
    strokes: int
    angle_deg: float  # from the closed end
    travel_deg: float | None  # None: not known yet


@dataclass(frozen=True)
class Leg:
    """One movement: to `to_deg` from home, or home."""

    doing: Doing
    deg_s: float
    to_deg: float | None = None  # None: home
    stroke: int = 0
    ends: tuple[str, ...] = ("arrived",)
    within_deg: float = 0.0  # the way that it may be from there; 0: wherever it ends


class Course:
    """Runs the legs; call `tick` with the rig's time. `more` returns how many more strokes would settle a cause."""

    def __init__(self, motor: Motor, plan: DrivePlan, more: Callable[[], int] = lambda: 0) -> None:
        self.plan = plan
        self.strokes = plan.strokes
        self._more, self._asks = more, 0
        self.problem: SweeprigError | None = None
        self.over = False
        self.travel_deg: float | None = None
        self.keep_from_s: float | None = None  # [s] the rest before the first stroke begins
        self.n_done = 0
        self._motor = motor
        self._home = self._from = self._at = motor.where()
        self._legs = self._plan_legs()
        self._leg = next(self._legs)
        self._ended = False
        self._started_s: float | None = None
        self._rest_until_s = self._asked_s = 0.0

    @property
    def state(self) -> DriveState:
        """What is shown now."""
        known = self._leg.doing not in (Doing.HOME, Doing.REST)
        return DriveState(
            Doing.DONE if self.over else self._leg.doing,
            self._leg.stroke,
            self.strokes,
            between(self._home, self._at) if known else 0.0,
            self.travel_deg,
        )

    @property
    def seen(self) -> tuple[str, ...]:
        """What was done, for the capture."""
        if not self.n_done or self.travel_deg is None:
            return ()
        many = "s" if self.n_done != 1 else ""
        made = (
            f"moved by the rig's motor: {self.n_done} stroke{many} of {self.travel_deg:.1f} degrees, "
            f"{self.plan.stroke_s:.1f} s each"
        )
        added = self.strokes - self.plan.strokes
        return (
            (made, f"{added} of them to separate a worn spot from a loose connection") if added else (made,)
        )

    def tick(self, now_s: float) -> None:
        """Check whether the present leg has ended, and start the next. Raises LinkError."""
        if self.over or now_s < self._rest_until_s:
            return
        try:
            if self._ended:
                self._end(now_s)
            elif self._started_s is None:
                self._start(now_s)
            elif now_s - self._asked_s >= ASK_EVERY_S:
                self._asked_s = now_s
                self._at = self._motor.where()
                self._mind(now_s)
        except (DriveError, BoardRefusedError) as error:
            self.problem, self.over = error, True

    def _start(self, now_s: float) -> None:
        leg, self._from = self._leg, self._motor.where()
        if self._from.counts is None:
            raise fault("no encoder", "no angle")
        self._started_s = self._asked_s = now_s
        self._at = (
            self._motor.home(leg.deg_s)
            if leg.to_deg is None
            else self._motor.go(self._home, leg.to_deg, leg.deg_s)
        )

    def _mind(self, now_s: float) -> None:
        leg = self._leg
        if self._at.moving:
            way = 360.0 if leg.to_deg is None else MOST_DEG
            if now_s - (self._started_s or 0.0) > way / leg.deg_s + limit("driven.spare_s"):
                raise fault("too long", self._seen())
            return
        self._check(leg)
        self._started_s, self._rest_until_s = None, now_s + limit("driven.hold_s")
        self.n_done = max(self.n_done, leg.stroke)
        if leg.stroke == self.strokes:
            self._ended = True  # once it has rested
        else:
            self._next(now_s)

    def _next(self, now_s: float) -> None:
        self._leg = self._legs.send(self._at)
        if self._leg.stroke == 1:
            self.keep_from_s = now_s

    def _end(self, now_s: float) -> None:
        """End, or add the strokes that would settle an open cause."""
        more = self._more() if self._asks < MOST_ASKS else 0
        self._asks += 1
        self.strokes += more
        self.over = not more
        if more:
            self._ended = False
            self._next(now_s)

    def _check(self, leg: Leg) -> None:
        """Raise DriveError where a leg has ended in a wrong way."""
        state = self._at.state
        if leg.doing is Doing.HOME and state == "stalled":
            raise fault("no home", f"the lever rests, the encoder at {self._at.deg:.1f} degrees")
        if leg.doing is Doing.SEARCH and state == "arrived":
            raise fault("no stop", self._seen())
        if leg.doing is Doing.REST and state != "stalled":
            raise fault("home", self._seen())
        if state not in leg.ends:
            raise fault(state if state in FAULTS else "home", self._seen())
        off = between(self._home, self._at) - max(0.0, leg.to_deg or 0.0)
        if leg.within_deg and not abs(off) <= leg.within_deg:
            raise fault("home" if state == "home reached" else "stalled", self._seen())

    def _seen(self) -> str:
        asked = self._leg.to_deg
        moved = between(self._from, self._at)
        at = "on the way home" if asked is None else f"asked to {asked:.1f} degrees from home"
        return f"{self._leg.doing.value.lower()}: {at}, moved {moved:+z.1f} degrees, then {self._at.state}"

    def _plan_legs(self) -> Generator[Leg, Where, None]:
        """Yield each leg; get where it ended."""
        off, slow = limit("driven.off_deg"), limit("driven.search_deg_s")
        self._home = yield Leg(Doing.HOME, slow, ends=("home",))
        self._home = yield Leg(Doing.REST, slow, -PAST_DEG, ends=("stalled",))
        closed = ("stalled", "arrived")
        if self.plan.travel_deg is None:
            stop = yield Leg(Doing.SEARCH, slow, MOST_DEG, ends=("stalled",))
            self.travel_deg = between(self._home, stop)
            yield Leg(Doing.BACK, slow, -PUSH_DEG, ends=closed, within_deg=off)
        else:
            self.travel_deg = self.plan.travel_deg
        if self.travel_deg < limit("driven.least_deg"):
            raise fault("short", f"{self.travel_deg:.1f} degrees")
        pace = self.travel_deg / self.plan.stroke_s
        for n in count(1):
            if n % 2:
                yield Leg(Doing.OPENING, pace, self.travel_deg, n, closed, off)
            else:
                yield Leg(Doing.CLOSING, pace, -PUSH_DEG, n, closed, off)
