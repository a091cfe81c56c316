"""The plan of a sweep: how many strokes, how fast, in what time, so that strokes and time always fit together."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import StrEnum

from sweeprig.bench.readings.limits import limit
from sweeprig.judge.profile import Profile

ROOM = 0.75  # of the slowest stroke that counts: what is asked for is no edge; own choice, no source


class Pace(StrEnum):
    """How fast a stroke was."""

    TOO_FAST = "too fast"
    GOOD = "good"
    SLOW = "slow"


@dataclass(frozen=True)
class SweepPlan:
    """What the operator is asked for. Times in seconds."""

    strokes: int  # full strokes asked for
    wanted: int  # full strokes that the profile wants
    stroke_s: float  # asked for each
    hold_s: float  # rest at each stop
    longest_s: float  # the capture ends then
    fastest_s: float  # a stroke in less time is too fast
    slowest_s: float  # a stroke in more time is slow
    timed: bool  # a capture of exactly `longest_s`
    least_s: float = 0.0  # the least time in which the strokes that the profile wants fit

    @property
    def asked_s(self) -> float:
        """Time that the strokes and the rests between and around them take [s]."""
        return self.strokes * self.stroke_s + (self.strokes + 1) * self.hold_s

    @property
    def enough(self) -> bool:
        """Whether the plan has as many strokes as the profile wants."""
        return self.strokes >= self.wanted

    def with_more(self, strokes: int) -> SweepPlan:
        """Return the plan with so many more `strokes`, and with twice the time that these should take."""
        seconds = 2 * strokes * (self.stroke_s + self.hold_s)
        return replace(self, strokes=self.strokes + strokes, longest_s=self.longest_s + seconds)

    def pace(self, stroke_s: float) -> Pace:
        """Return whether a stroke of so many seconds is slow, good or too fast."""
        if stroke_s < self.fastest_s:
            return Pace.TOO_FAST
        return Pace.SLOW if stroke_s > self.slowest_s else Pace.GOOD

    @property
    def too_short(self) -> str:
        """A warning where the time is too short for the profile's strokes; "" where it is long enough."""
        if self.enough:
            return ""
        return (
            f"{self.longest_s:g} s is too short for {self.wanted} strokes: with fewer the verdict is undecided."
            f" From {math.ceil(10 * self.least_s) / 10:g} s on there is time, or leave out --seconds."
        )

    @property
    def words(self) -> str:
        """The plan in one line."""
        return f"{self.strokes} strokes, about {self.stroke_s:.1f} s each, {self.hold_s:.1f} s at each stop"


def fastest_stroke_s(shortest_dropout_s: float) -> float:
    """Return the least time of a stroke [s] in which a spot of `sweep.spot_percent` of travel lasts long enough.

    A spot of share p of the travel, crossed in T, lasts p T; the build shows dropouts from `shortest_dropout_s` [s].
    """
    return max(limit("sweep.fastest_s"), shortest_dropout_s / (limit("sweep.spot_percent") / 100))


def plan_sweep(
    profile: Profile, *, shortest_dropout_s: float, seconds: float | None = None, strokes: int | None = None
) -> SweepPlan:
    """Return the plan: with `seconds` None the sweep ends after its strokes, else after that time [s].

    `strokes` None asks for the profile's; more are given twice the time that they take, never fewer than the profile
    wants are asked for. The strokes get what the rests leave of the time given, or of the profile's longest. Where not
    even the fastest fit, fewer are asked for; at least one, in whatever time there is.
    """
    wanted, hold = round(profile.limits.strokes.value), profile.series.rest.value
    fastest = fastest_stroke_s(shortest_dropout_s)
    usual = wanted if seconds is not None else round(profile.series.strokes.value)
    strokes = max(wanted, usual if strokes is None else strokes)
    each = max(limit("sweep.asked_s"), fastest) + hold
    roomy = 2 * (strokes * each + hold) if strokes > usual else 0.0
    longest = max(profile.series.longest.value, roomy) if seconds is None else seconds
    least = wanted * (fastest + hold) + hold
    fit = int((longest - hold) / (fastest + hold) + 1e-9)
    strokes = max(1, min(strokes, fit))
    hold = min(hold, longest / (2 * (strokes + 1)))
    most = (longest - (strokes + 1) * hold) / strokes
    return SweepPlan(
        strokes=strokes,
        wanted=wanted,
        stroke_s=min(max(limit("sweep.asked_s"), fastest), max(ROOM * most, min(fastest, most))),
        hold_s=hold,
        longest_s=longest,
        fastest_s=fastest,
        slowest_s=min(limit("sweep.slowest_s"), most),
        timed=seconds is not None,
        least_s=least,
    )
