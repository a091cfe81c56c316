"""The supply while a sweep runs: an overload may come only at the other lever position.

A supply or a ground on the wiper's pin shorts the supply at one end of the travel only, where no check before the
first stroke can see it. The limiter in the rig holds the current without any program; what is done here is to
switch off, to end the capture and to say so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sweepboard import wire
from sweeprig.bench.hookup.rules import check_power
from sweeprig.bench.readings import live
from sweeprig.bench.readings.limits import limit
from sweeprig.bench.readings.live import Levels, RigVolts
from sweeprig.capture.model import SweepSetup
from sweeprig.errors import HookupError
from sweeprig.link.messages import Message, Records
from sweeprig.words import Hookup

STEP_S = 0.02  # [s] of windows whose median is one level: a short dropout does not show in it
ONE_PLACE = "Supply at one lever position only: the signal does not move."


@dataclass(frozen=True)
class Place:
    """Levels of one step [V]."""

    signal_v: float
    supply_v: float


@dataclass
class PowerWatch:
    """Follows supply and limiter through a capture in which the rig feeds the sensor; a tapped one is left alone.

    `switched_on`: the supply was switched on before, so each record's flag has to say that it is on.
    """

    volts: RigVolts
    switched_on: bool = False
    first: Place | None = None  # where the capture began
    far: Place | None = None  # farthest from it so far
    overloaded: Place | None = None  # why the supply was switched off: the last good signal, the supply since
    let_go: bool = False  # the board has switched the supply off by itself
    _last: Place | None = None  # the latest with a good supply
    _bad: int = 0  # windows in a row with an overloaded supply
    _off: int = 0  # windows in a row with the supply off
    _left: list[Records] = field(default_factory=list)

    def feed(self, messages: list[Message]) -> None:
        """Take the messages of a poll; switch the supply off where it has been overloaded for long enough."""
        if self.volts.setup.hookup != Hookup.POWERED or self.overloaded or self.let_go:
            return
        records = Records.concatenate([*self._left, *(m for m in messages if isinstance(m, Records))])
        n = max(1, round(STEP_S / self.volts.client.window_s))
        whole = len(records) // n * n
        self._left = [records[whole:]]
        self._look_at_flag(records[:whole])
        for place, bad in self._steps(records[:whole], n):
            self._step(place, bad)
            if self.overloaded:
                live.release(self.volts.client)
                return

    @property
    def stops(self) -> bool:
        """Whether the session has to end."""
        return self.let_go or self.overloaded is not None

    def _look_at_flag(self, records: Records) -> None:
        """See whether the board still feeds the sensor; a board to which nobody speaks lets go of it."""
        if not self.switched_on or not len(records):
            return
        off = records.flags & (wire.FLAG_SUPPLY_ON | wire.FLAG_SUPPLY_FAULT) == 0
        self._off = self._off + off.size if off.all() else int(np.argmin(off[::-1]))
        self.let_go = self._off * self.volts.client.window_s >= limit("first_power.settle_s")

    def noted(self, setup: SweepSetup) -> SweepSetup:
        """Return the setup with a line on the other lever position."""
        if self.first is None or self.overloaded:
            return setup
        return replace(setup, prepared=(*setup.prepared, self._line()))

    def check(self, kept: Path | None = None) -> None:
        """Raise HookupError where the supply was switched off; the capture until then is in `kept`, if any."""
        if self.let_go:
            raise _let_go(kept)
        if self.overloaded is None or self.first is None:
            return
        at, shown = self.overloaded, "short" if self.overloaded.supply_v < _short_v() else "overload"
        during = "look" if kept is None else self.volts.setup.task.split("-")[0]
        moved = "once the lever had moved" if self._is_far(at) else f"with the lever where the {during} began"
        where = "" if kept is None else f". Data received so far is in {kept}"
        raise HookupError(
            f"The sensor's supply is switched off during the {during}: {shown} {moved}.",
            seen=f"supply {at.supply_v:z.2f} V; signal {self.first.signal_v:z.2f} V at the start,"
            f" {at.signal_v:z.2f} V last",
            limit="supply current well below the rig's limit of about 50 mA in every lever position",
            next_step="take the plug off and identify the pins: sweeprig pins; supply or ground on the wiper's pin"
            f" is a short at one end of the travel only{where}",
        )

    def _steps(self, records: Records, n: int) -> list[tuple[Place, NDArray[np.bool_]]]:
        """Return each step's levels and, window by window, whether the supply was overloaded."""
        no_data = records.flags & wire.FLAG_CONVERSION_ERROR != 0
        signal, supply = (
            np.where(no_data, np.nan, self.volts.channel(records, k).mean_v) for k in (0, wire.SUPPLY)
        )
        is_on = records.flags & wire.FLAG_SUPPLY_ON != 0
        bad = (records.flags & wire.FLAG_SUPPLY_FAULT != 0) | (is_on & (supply < _short_v()))
        levels = (_medians(c.reshape(-1, n)) for c in (signal, supply))
        places = (Place(a, v) for a, v in zip(*levels, strict=True))
        return list(zip(places, bad.reshape(-1, n), strict=True))

    def _step(self, place: Place, bad: NDArray[np.bool_]) -> None:
        self._bad = self._bad + bad.size if bad.all() else int(np.argmin(bad[::-1]))
        if self._bad * self.volts.client.window_s >= limit("first_power.settle_s"):
            last = self._last or place
            self.first, self.overloaded = self.first or last, Place(last.signal_v, place.supply_v)
        elif not bad.any() and not math.isnan(place.signal_v):
            self._went(place)

    def _went(self, place: Place) -> None:
        self._last, self.first = place, self.first or place
        away = abs(place.signal_v - self.first.signal_v)
        if self.far is None or away > abs(self.far.signal_v - self.first.signal_v):
            self.far = place

    def _is_far(self, place: Place) -> bool:
        assert self.first is not None
        least = limit("check.follows_percent") / 100 * self.volts.nominal_supply_v
        return abs(place.signal_v - self.first.signal_v) >= least

    def _line(self) -> str:
        if self.far is None or not self._is_far(self.far):
            return ONE_PLACE
        where = f"the other lever position (signal {self.far.signal_v:z.2f} V)"
        seen = Levels(1, self.far.signal_v, 0.0, 0.0, 0.0, supply_v=self.far.supply_v)
        return check_power(seen, end=self.volts.front_end, where=where)


def _medians(rows: NDArray[np.float64]) -> list[float]:
    """Return the median of each row; nan where all of it is no data."""
    return [float(np.median(row[~np.isnan(row)])) if not np.isnan(row).all() else math.nan for row in rows]


def _let_go(kept: Path | None) -> HookupError:
    where = "" if kept is None else f"; data received so far is in {kept}"
    return HookupError(
        "The rig has switched the sensor's supply off by itself.",
        seen="the rig's records show the supply off, without a command",
        limit="a command to the rig every 10 s, and its powered lead plugged in, as long as the sensor is powered",
        next_step="look at the lead and begin again; the lead was pulled, or the program was held for too long"
        f" (Ctrl-Z, a laptop that slept){where}",
    )


def _short_v() -> float:
    return limit("first_power.short_v")
