"""The live reading: turns traces, as they come, into the state that the screen shows."""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from sweeprig.bench.readings.limits import limit
from sweeprig.capture.model import Trace
from sweeprig.judge.profile import Profile
from sweeprig.judge.rails import Flag, flag_reading
from sweeprig.words import Sense

FOLLOWS, STILL, NOT_KNOWN = "follows", "at rest", "not seen to move yet"
READ_S = 0.1  # [s] of windows whose median is the reading


@dataclass(frozen=True)
class Slice:
    """Lowest and highest conversion of one stretch of the strip."""

    low_v: float  # [V]
    high_v: float  # [V]


@dataclass(frozen=True)
class WatchState:
    """What a live view shows. Volts are at the sensor; None is not measured."""

    reading_v: float | None
    supply_v: float | None
    flag: Flag
    low_margin_v: float  # [V] from ground: below it is the margin zone
    high_margin_v: float  # [V] from the supply
    top_v: float  # [V] upper end of the scale: the supply, else nominal
    low_v: float | None  # [V] lowest reading (a median, no spike) since the start
    high_v: float | None
    spike_low_v: float | None  # [V] lowest single conversion since the start
    spike_high_v: float | None
    sense: Sense
    sense_why: str
    follows: str
    strip: tuple[Slice, ...]  # oldest first
    strip_n: int  # slices that the whole strip has room for
    strip_s: float  # [s] length of the whole strip
    seconds: float  # [s] since the start
    n_lost: int
    signal_b_v: float | None = None
    title: str = ""
    hint: str = ""  # one line at the bottom
    target: tuple[float, float, float] | None = None  # aim: low, target, high [V]
    message: str = ""  # aim: what to do


@dataclass
class Watcher:
    """Turns traces into a state. `starts_closed`: the lever is at closed throttle at the start."""

    profile: Profile
    starts_closed: bool = False
    given_sense: Sense = Sense.UNKNOWN
    title: str = ""
    hint: str = ""
    _slices: deque[tuple[float, float, float]] = field(default_factory=deque)  # (t, low, high)
    _recent: deque[tuple[float, float]] = field(default_factory=deque)  # (t, reading)
    _first_v: float | None = None
    _reading: float | None = None
    _supply: float | None = None
    _b: float | None = None
    _extremes: tuple[float, float] | None = None
    _spikes: tuple[float, float] | None = None
    _t: float = 0.0
    _t0: float | None = None
    _lost: int = 0
    _sense: Sense = Sense.UNKNOWN

    def feed(self, trace: Trace) -> None:
        """Take the next windows; their times must continue those before."""
        t, a = trace.t_s, trace.signal_a
        self._t0 = float(t[0]) if self._t0 is None else self._t0
        self._lost += trace.n_lost
        n = max(1, round(READ_S / trace.window_s))
        self._reading = float(np.median(a.mean_v[-n:]))
        self._first_v = self._reading if self._first_v is None else self._first_v
        self._t = float(t[-1]) + trace.window_s
        for k in range(0, t.size, n):
            low, high = float(a.min_v[k : k + n].min()), float(a.max_v[k : k + n].max())
            self._slices.append((float(t[k]) + trace.window_s, low, high))
        self._recent.append((self._t, self._reading))
        _forget(self._slices, self._t - limit("watch.strip_s"))
        _forget(self._recent, self._t - limit("watch.follow_s"))
        self._extremes = _wider(self._extremes, self._reading, self._reading)
        self._spikes = _wider(self._spikes, float(a.min_v.min()), float(a.max_v.max()))
        if trace.supply is not None:
            self._supply = float(np.median(trace.supply.mean_v[-n:]))
        if trace.signal_b is not None:
            self._b = float(np.median(trace.signal_b.mean_v[-n:]))
        self._find_sense()

    def state(self, columns: int = 60) -> WatchState:
        """Return the state to show; the strip has at most `columns` slices."""
        top = self.top_v
        limits, nominal = self.profile.limits, self.profile.supply.nominal_v
        scale = top / nominal if self.profile.supply.ratiometric else 1.0
        value = math.nan if self._reading is None else self._reading
        low, high = self._extremes or (None, None)
        spike_low, spike_high = self._spikes or (None, None)
        return WatchState(
            reading_v=self._reading,
            supply_v=self._supply,
            flag=flag_reading(value, self._supply, self.profile),
            low_margin_v=limits.lower_rail.value * scale,
            high_margin_v=limits.upper_rail.value * scale,
            top_v=top,
            low_v=low,
            high_v=high,
            spike_low_v=spike_low,
            spike_high_v=spike_high,
            sense=self._sense,
            sense_why=self._why(),
            follows=self._follows(),
            strip=self._strip(columns),
            strip_n=columns,
            strip_s=limit("watch.strip_s"),
            seconds=self._t - (self._t0 or 0.0),
            n_lost=self._lost,
            signal_b_v=self._b,
            title=self.title,
            hint=self.hint,
        )

    @property
    def top_v(self) -> float:
        """Upper end of the scale [V]: the supply where it is observed and on, else nominal."""
        nominal = self.profile.supply.nominal_v
        return nominal if self._supply is None or self._supply < nominal / 2 else self._supply

    def _find_sense(self) -> None:
        if self.given_sense is not Sense.UNKNOWN:
            self._sense = self.given_sense
        elif self.starts_closed and self._first_v is not None and self._reading is not None:
            moved = self._reading - self._first_v
            if (
                self._sense is Sense.UNKNOWN
                and abs(moved) > limit("check.follows_percent") / 100 * self.top_v
            ):
                self._sense = Sense.RISING if moved > 0 else Sense.FALLING

    def _why(self) -> str:
        if self.given_sense is not Sense.UNKNOWN:
            return "given by the operator"
        if not self.starts_closed:
            return "--starts closed finds it"
        return "from closed throttle at the start" if self._sense is not Sense.UNKNOWN else "move the lever"

    def _follows(self) -> str:
        values = [v for _, v in self._recent]
        if values and max(values) - min(values) > 0.02 * self.top_v:
            return FOLLOWS
        low, high = self._extremes or (0.0, 0.0)
        return STILL if high - low > limit("check.follows_percent") / 100 * self.top_v else NOT_KNOWN

    def _strip(self, columns: int) -> tuple[Slice, ...]:
        """The last seconds in equal stretches; a stretch without a record is left out at the old end only."""
        span = limit("watch.strip_s")
        width = span / columns
        start = self._t - span
        out: list[Slice] = []
        held: Slice | None = None
        at = 0
        slices = list(self._slices)
        for k in range(columns):
            stop = start + (k + 1) * width + 1e-9
            lows, highs = [], []
            while at < len(slices) and slices[at][0] <= stop:
                lows.append(slices[at][1])
                highs.append(slices[at][2])
                at += 1
            if lows:
                held = Slice(min(lows), max(highs))
            if held is not None:
                out.append(held)
        return tuple(out)


def _forget(items: deque[Any], before: float) -> None:
    while items and items[0][0] < before:
        items.popleft()


def _wider(span: tuple[float, float] | None, low: float, high: float) -> tuple[float, float]:
    return (low, high) if span is None else (min(span[0], low), max(span[1], high))


def state_json(state: WatchState) -> dict[str, Any]:
    """Return one reading as a JSON object; what is not measured is null with a reason."""
    ratio = None
    if state.supply_v and state.reading_v is not None:
        ratio = round(state.reading_v / state.supply_v, 5)
    return {
        "seconds": round(state.seconds, 3),
        "signal_v": _r(state.reading_v),
        "signal_b_v": _r(state.signal_b_v),
        "supply_v": _r(state.supply_v),
        "supply_reason": "" if state.supply_v is not None else "supply not observed",
        "ratio": ratio,
        "flag": state.flag.where,
        "flag_text": state.flag.text,
        "low_v": _r(state.low_v),
        "high_v": _r(state.high_v),
        "lowest_conversion_v": _r(state.spike_low_v),
        "highest_conversion_v": _r(state.spike_high_v),
        "sense": str(state.sense),
        "follows": state.follows,
        "data_blocks_lost": state.n_lost,
    }


def _r(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, 5)
