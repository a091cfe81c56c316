"""A rehearsal without hardware: keys move the simulated lever and turn the sensor on its mount, as hands would."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import cycle

import numpy as np
from numpy.typing import NDArray

from sweeprig.twin.feed import Feed, Playable
from sweeprig.twin.hands import Hand, minimum_jerk
from sweeprig.twin.shaft import Shaft

FloatArray = NDArray[np.float64]

TURN_DEG = 0.5  # [deg] that one key turns the sensor on its mount
OPEN, CLOSED, HALF = "o", "c", "h"
HALVES = (0.5, 0.56, 0.46, 0.53, 0.43)  # share of travel: no hand meets one place twice where no stop is
UP, DOWN = "+=", "-"
DRAWN_AHEAD = 250  # windows that a world draws before they are given
STILL = 1e-6  # share of travel
HINT = "o opens the lever, c closes it, h half way; + and - turn the sensor"


@dataclass
class Bench:
    """What stands on the bench: the lever and the mount, and where the operator wants them."""

    place: float = 0.0  # of the lever, share of travel
    goal: float = 0.0
    turned_deg: float = 0.0  # of the sensor on its mount, opening direction positive
    _stops: dict[str, float] = field(default_factory=lambda: {OPEN: 1.0, CLOSED: 0.0})
    _halves: Iterator[float] = field(default_factory=lambda: cycle(HALVES))

    def press(self, keys: str) -> None:
        """Take keys as they were pressed; those that move nothing are somebody else's."""
        for key in keys.lower():
            self.goal = next(self._halves) if key == HALF else self._stops.get(key, self.goal)
            self.turned_deg += TURN_DEG * ((key in UP) - (key in DOWN))


BENCH = Bench()  # one process has one bench


class KeyedPath:
    """Places of a lever that goes where the bench says, smoothly and at a hand's pace."""

    def __init__(self, bench: Bench, hand: Hand, *, dt_s: float) -> None:
        self._bench, self._hand, self._dt_s = bench, hand, dt_s
        self._course = np.zeros(0)
        self._goal = bench.place

    def take(self, n: int) -> FloatArray:
        """Return the next n places (n,), shares of travel."""
        bench, low, high = self._bench, self._hand.closed_at, self._hand.open_at
        if bench.goal != self._goal:
            self._goal = bench.goal
            self._course = self._way(bench.place, bench.goal)
        part, self._course = self._course[:n], self._course[n:]
        rest = part[-1] if part.size else bench.place
        out = np.concatenate([part, np.full(n - part.size, rest)])
        bench.place = float(out[-1]) if n else bench.place
        return np.asarray(low + (high - low) * out)

    def _way(self, start: float, stop: float) -> FloatArray:
        m = max(2, round(self._hand.stroke_s[0] * abs(stop - start) / self._dt_s))
        return np.asarray(start + (stop - start) * minimum_jerk(np.arange(1, m + 1) / m))


class RehearsedFeed(Feed):
    """A feed whose sensor is turned while it is looked at, once the lever has come to rest.

    Places are drawn ahead: a lever in movement would jump where it is drawn anew.
    """

    def __init__(
        self,
        make: Callable[[int], Playable],
        clock: Callable[[], float] | None,
        *,
        bench: Bench,
        presses: Sequence[float] = (),
        shaft: Shaft | None = None,
    ) -> None:
        super().__init__(make, clock, presses=presses, shaft=shaft)
        self._bench, self._turned_deg, self._still_from = bench, bench.turned_deg, -DRAWN_AHEAD

    def restart(self) -> None:
        """Start again, with the sensor where it is turned to."""
        super().restart()
        self._still_from = -DRAWN_AHEAD

    def raw(self, outputs: int, n_windows: int) -> bytes:
        """Return what is due; from a world with the sensor where it is turned to now."""
        if abs(self._bench.goal - self._bench.place) > STILL:
            self._still_from = self.n_given
        rests = self.n_given - self._still_from >= DRAWN_AHEAD
        if rests and self._bench.turned_deg != self._turned_deg:
            self._turned_deg = self._bench.turned_deg
            self._world = self._make(self._n_starts)
        return super().raw(outputs, n_windows)
