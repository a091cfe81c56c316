"""Follows the lever live: rests and movements of signal A, from traces as they come. Pure; time is the trace's."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from sweeprig.capture.model import FloatArray, Trace

STEP_S = 0.02  # [s] of windows whose median is one level: a short dropout does not show in it
STILL_S = 0.15  # [s] without progress after which a movement has ended; own choice, no source
LEAP_V = 0.5  # [V] from one level to the next: faster than a lever moves; own choice, no source
LOST_S = 0.1  # [s] for which a level beyond a leap is taken for a lost contact; own choice, no source


@dataclass(frozen=True)
class Move:
    """One movement of the lever, from one rest or turning point to the next."""

    from_v: float  # [V]
    to_v: float  # [V]
    start_s: float  # [s]
    seconds: float  # [s]

    @property
    def size_v(self) -> float:
        """Distance [V], rising positive."""
        return self.to_v - self.from_v


@dataclass(frozen=True)
class Stand:
    """One rest of the lever."""

    level_v: float  # [V]
    end_s: float  # [s]
    seconds: float  # [s]


@dataclass
class Lever:
    """Follows the lever. `least_v` [V] is the smallest movement that counts."""

    least_v: float
    level_v: float = float("nan")  # [V] latest
    now_s: float = 0.0  # [s] end of the latest level
    still_from_s: float | None = None  # [s] since when it rests; None: it moves
    _anchor: tuple[float, float] | None = None  # (t, v) of the rest or turning point
    _extreme: tuple[float, float] = (0.0, 0.0)
    _direction: int = 0
    _lost_from_s: float | None = None  # [s] since when the level is beyond a leap
    _back_s: float = float(
        "-inf"
    )  # [s] when it was back: what leaps all the time is a signal that never rests
    _left: list[FloatArray] = field(default_factory=list)
    _stands: list[Stand] = field(default_factory=list)  # rests that have ended

    @property
    def stands(self) -> list[Stand]:
        """Every rest so far; the last may still go on."""
        now = [] if self.still_from_s is None or self._anchor is None else [self._stand(self._anchor)]
        return [*self._stands, *now]

    @property
    def rest_s(self) -> float:
        """How long the lever has rested [s]; 0 while it moves."""
        return 0.0 if self.still_from_s is None else self.now_s - self.still_from_s

    @property
    def rest_v(self) -> float:
        """Level [V] of the latest rest or turning point; nan before the first."""
        return float("nan") if self._anchor is None else self._anchor[1]

    @property
    def moving_from(self) -> tuple[float, float] | None:
        """When [s] and where [V] the present movement began; None at rest."""
        return self._anchor if self._direction else None

    def feed(self, trace: Trace) -> list[Move]:
        """Take the next windows; return the movements that have ended."""
        n = max(1, round(STEP_S / trace.window_s))
        self._left.append(np.stack([trace.t_s, trace.signal_a.mean_v]))
        rows = np.concatenate(self._left, axis=1)
        whole = rows.shape[1] // n
        self._left = [rows[:, whole * n :]]
        moves = []
        for part in np.split(rows[:, : whole * n], whole, axis=1) if whole else []:
            end_s = float(part[0, -1]) + trace.window_s
            move = self._level(end_s, self._without_lost(end_s, float(np.median(part[1]))))
            if move is not None:
                moves.append(move)
        return moves

    def _without_lost(self, t: float, v: float) -> float:
        """Return the level, or, right after a jump, the one before it: a contact lost for a moment is no movement."""
        leapt = abs(v - self.level_v) > LEAP_V
        if leapt and self._lost_from_s is None and t - self._back_s >= LOST_S:
            self._lost_from_s = t
        lost = leapt and self._lost_from_s is not None and t - self._lost_from_s < LOST_S
        if not lost and self._lost_from_s is not None:
            self._lost_from_s, self._back_s = None, t
        return self.level_v if lost else v

    def _level(self, t: float, v: float) -> Move | None:
        self.level_v, self.now_s = v, t
        if self._anchor is None:
            self._anchor, self.still_from_s = (t, v), t
        if self._direction == 0:
            self._at_rest(t, v)
            return None
        ahead = (v - self._extreme[1]) * self._direction
        if ahead > self.least_v / 8:
            self._extreme = (t, v)
        elif -ahead > self.least_v:
            return self._turned(t, v)
        elif t - self._extreme[0] >= STILL_S:
            return self._stopped(v)
        return None

    def _at_rest(self, t: float, v: float) -> None:
        assert self._anchor is not None
        away = v - self._anchor[1]
        if abs(away) > self.least_v:
            self._stands.append(self._stand(self._anchor))
            self._direction, self._extreme, self.still_from_s = (1 if away > 0 else -1), (t, v), None
        elif abs(away) < self.least_v / 8:
            self._anchor = (t, self._anchor[1])

    def _stand(self, anchor: tuple[float, float]) -> Stand:
        """Return the rest until the time and level of `anchor`."""
        return Stand(anchor[1], anchor[0], anchor[0] - (self.still_from_s or 0.0))

    def _turned(self, t: float, v: float) -> Move:
        move = self._move(self._extreme[1])
        self._anchor, self._direction, self._extreme = self._extreme, -self._direction, (t, v)
        return move

    def _stopped(self, v: float) -> Move:
        move = self._move(v)
        self.still_from_s = self._extreme[0]
        self._anchor, self._direction = (self.now_s, v), 0
        return move

    def _move(self, to_v: float) -> Move:
        assert self._anchor is not None
        start = self._anchor[0]
        return Move(self._anchor[1], to_v, start, self._extreme[0] - start)


@dataclass
class StrokeCount:
    """Counts strokes end to end among movements, the ends being those seen so far.

    A stroke is at least FULL of the span seen and at least HALF_SPAN of the profile's least span `span_v` [V]; one with
    pauses on its way is one stroke. One that was full until the lever went further counts no more. What counts in the
    end is the analysis of the whole capture.
    """

    span_v: float
    n: int = 0
    low_v: float = float("inf")
    high_v: float = float("-inf")
    last: Move | None = None  # the latest stroke
    _done: list[Move] = field(default_factory=list)
    _part: Move | None = None  # of one that has not reached its end

    FULL = 0.88  # own choice, no source: near a full stroke of the analysis, with room for a dropout
    HALF_SPAN = 0.5  # own choice, no source

    def take(self, move: Move) -> bool:
        """Count a movement; return whether it was a stroke or completed one."""
        self.low_v = min(self.low_v, move.from_v, move.to_v)
        self.high_v = max(self.high_v, move.from_v, move.to_v)
        whole = move if self._part is None else joined(self._part, move)
        full = self._is_full(whole)
        self._part = None if full else whole
        self.last = whole if full else self.last
        self._done = [m for m in (*self._done, whole) if self._is_full(m)]
        self.n = len(self._done)
        return full

    def _is_full(self, move: Move) -> bool:
        seen = self.high_v - self.low_v
        return abs(move.size_v) >= max(self.FULL * seen, self.HALF_SPAN * self.span_v)


def joined(one: Move, other: Move) -> Move:
    """Return two movements in the same direction as one, pauses not counted in its time; else the second alone."""
    if one.size_v * other.size_v <= 0:
        return other
    return Move(one.from_v, other.to_v, one.start_s, one.seconds + other.seconds)
