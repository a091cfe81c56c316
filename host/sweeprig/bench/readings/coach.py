"""Coaching during a capture: strokes done and needed, the next movement, and what was done for the sheet."""

from __future__ import annotations

from dataclasses import dataclass, field

from sweeprig.bench.readings.lever import Lever, Move, StrokeCount
from sweeprig.capture.model import Trace
from sweeprig.judge.profile import Profile

# own choices, no source
SLOW_S = 1.5  # [s] a stroke at least this long is a slow one
SMALL_SHARE = 0.25  # of the span seen: a movement at most this large is a small one
NEAR_SHARE = 0.1  # of the span seen: this near to the closed end is closed
SMALL_MOVES = 4  # there and back twice
PUSH_S = 1.5  # [s] of rest at closed in which the push is asked for

HOLD = "hold the lever closed"
SLOW = "open slowly to the stop, about two seconds"
STROKES = "full strokes, stop to stop"
SMALL = "small moves near closed, there and back"
PUSH = "at closed: push the lever gently sideways, first one side, then the other"
DONE = "all done: hold closed until the end"


@dataclass(frozen=True)
class Advice:
    """What the screen says."""

    strokes: int
    needed: int
    ask: str

    @property
    def line(self) -> str:
        """One line."""
        return f"strokes {self.strokes} of {self.needed}   next: {self.ask}"


@dataclass
class Coach:
    """Follows one capture that starts at closed throttle. `needed` strokes, by default the profile's."""

    profile: Profile
    needed: int = 0
    lever: Lever = field(init=False)
    strokes: StrokeCount = field(init=False)
    closed_v: float | None = None  # [V] level of the first rest
    _held_first_s: float = 0.0
    _held_after_s: float = 0.0
    _slow_s: float = 0.0
    _small: int = 0
    _asked_push: bool = False
    _push_s: float = 0.0
    _push: tuple[float, float] | None = None  # lowest and highest level while the push was asked for

    def __post_init__(self) -> None:
        top = self.profile.supply.nominal_v
        self.needed = self.needed or round(self.profile.limits.strokes.value)
        self.lever = Lever(self.profile.series.start.value / 100 * top)
        self.strokes = StrokeCount(self.profile.limits.span.value)

    def feed(self, trace: Trace) -> Advice:
        """Take the next windows; return what to say."""
        for move in self.lever.feed(trace):
            self._moved(move)
        self._rested(trace.t_s.size * trace.window_s)
        return Advice(self.strokes.n, self.needed, self._next())

    @property
    def done(self) -> tuple[str, ...]:
        """What was seen, for the capture's `coaching`; nothing that was only asked for, but the push."""
        said = []
        if self._held_first_s > 0:
            said.append(f"held closed at the start, {self._held_first_s:.1f} s")
        if self._slow_s:
            said.append(f"opened slowly, {self._slow_s:.1f} s")
        if self.strokes.n:
            said.append(f"{self.strokes.n} full stroke{'s' if self.strokes.n != 1 else ''}")
        if self._held_after_s >= self.profile.series.rest.value:
            said.append(f"held closed after the strokes, {self._held_after_s:.1f} s")
        if self._small:
            said.append(f"{self._small} small move{'s' if self._small != 1 else ''} near closed")
        if self._push is not None and self._push_s > 0:
            moved = 1e3 * (self._push[1] - self._push[0])
            said.append(
                f"gentle side push asked for, {self._push_s:.1f} s: signal moved by up to {moved:z.0f} mV"
            )
        return tuple(said)

    def _moved(self, move: Move) -> None:
        if self.closed_v is None:
            self.closed_v = move.from_v
        full = self.strokes.take(move)
        opening = abs(move.from_v - self.closed_v) < abs(move.to_v - self.closed_v)
        if full and opening and move.seconds >= SLOW_S:
            self._slow_s = max(self._slow_s, move.seconds)
        span = self.strokes.high_v - self.strokes.low_v
        near = (
            max(abs(move.from_v - self.closed_v), abs(move.to_v - self.closed_v))
            <= (SMALL_SHARE + NEAR_SHARE) * span
        )
        if self.strokes.n and near and abs(move.size_v) <= SMALL_SHARE * span:
            self._small += 1

    def _rested(self, seconds: float) -> None:
        rest = self.lever.rest_s
        if self.strokes.n == 0 and self.closed_v is None:
            self._held_first_s = max(self._held_first_s, rest)
        if self._at_closed() and self.strokes.n >= self.needed:
            if self._asked_push:
                self._pushed(seconds)
            else:
                self._held_after_s = max(self._held_after_s, rest)

    def _pushed(self, seconds: float) -> None:
        v = self.lever.level_v
        self._push = (v, v) if self._push is None else (min(self._push[0], v), max(self._push[1], v))
        self._push_s += seconds

    def _at_closed(self) -> bool:
        if self.closed_v is None or self.lever.still_from_s is None:
            return False
        span = self.strokes.high_v - self.strokes.low_v
        return abs(self.lever.level_v - self.closed_v) <= NEAR_SHARE * span

    def _next(self) -> str:
        hold = self.profile.series.rest.value
        if self.closed_v is None:
            return HOLD if self._held_first_s < hold and self.lever.still_from_s is not None else SLOW
        if self.strokes.n < self.needed:
            return STROKES
        if self._held_after_s < hold:
            return HOLD
        if self._small < SMALL_MOVES:
            return SMALL
        self._asked_push = True
        return PUSH if self._push_s < PUSH_S else DONE
