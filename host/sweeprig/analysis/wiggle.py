"""What a wiggle test looks for: events while harness and plugs are moved, each put to a place and a cause."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

from sweepboard.wire import CHANNEL_NAMES, SIGNAL_A, SIGNAL_B, SUPPLY
from sweeprig.analysis.model import Event
from sweeprig.capture.marks import UNMARKED, MarkAt, place_at
from sweeprig.words import TASKS

TASK, FAR_END = TASKS[1:]  # SweepSetup.task
WIGGLES = (TASK, FAR_END)
SAME_TIME_S = 2e-3  # two windows: events of two channels this near are one happening
LEAST_S = 1.0  # [s] at a place for which a rate is told: one event in a moment is none; own choice, no source


class Touched(StrEnum):
    """What an event touched, as far as it can be told."""

    SUPPLY = "supply"
    TO_GROUND = "signal open or touching ground"
    TO_SUPPLY = "signal touching the supply or sensor ground open"
    PARTIAL = "signal: poor contact"
    JUMP = "signal: level changed and stayed"


class Origin(StrEnum):
    """Where it came from when channel B taps the same wire at the controller's end."""

    HARNESS = "harness between sensor and controller"
    UPSTREAM = "sensor, its supply or shared ground"
    SUPPLY = "supply, seen on its own channel"
    LEAD_A = "the rig's own tap at the sensor"
    NOT_ASKED = ""


@dataclass(frozen=True)
class Happening:
    """One event or several channels' events at the same moment."""

    start_s: float
    duration_s: float
    channels: tuple[int, ...]
    depth_percent: float  # deepest, % of supply
    touched: Touched
    place: str
    origin: Origin = Origin.NOT_ASKED

    @property
    def brief(self) -> str:
        """The event in a line of 60 columns, where no origin is known."""
        long, names = f"{1e3 * self.duration_s:.2f} ms", "+".join(CHANNEL_NAMES[c] for c in self.channels)
        to = {Touched.TO_GROUND: ", to ground", Touched.TO_SUPPLY: ", to the supply"}
        deep = f"{self.depth_percent:.0f} % of supply{to.get(self.touched, '')}"
        where = "" if self.place == UNMARKED else f"  {self.place}"
        names = "" if names == CHANNEL_NAMES[0] else f"  {names}"
        return (
            f"{self.start_s:6.2f} s  {deep}, {long}{names}{where}{f'; {self.origin}' if self.origin else ''}"
        )

    @property
    def line(self) -> str:
        """One line that says it all."""
        names = " and ".join(CHANNEL_NAMES[c] for c in self.channels)
        long = f"{1e3 * self.duration_s:.2f} ms"
        where = "" if self.place == UNMARKED else f", at {self.place}"
        far = f"; {self.origin}" if self.origin else ""
        return f"{self.start_s:8.2f} s  {names}, {self.depth_text}, {long}: {self.touched}{where}{far}"

    @property
    def depth_text(self) -> str:
        """How deep, and how far that is: 9 % of supply may be all of a signal at closed throttle."""
        to = {Touched.TO_GROUND: ", down to ground", Touched.TO_SUPPLY: ", up to the supply"}
        return f"{self.depth_percent:.0f} % of the supply voltage{to.get(self.touched, '')}"


@dataclass(frozen=True)
class Wiggled:
    """What a wiggle test comes to. No happening is "not reproduced", never a pass."""

    happenings: tuple[Happening, ...]
    seconds: float
    per_place: dict[str, int]
    seconds_per_place: dict[str, float]
    far_end: bool

    @property
    def reproduced(self) -> bool:
        """Whether anything was seen."""
        return bool(self.happenings)

    def per_second(self, n: int, place: str) -> float:
        """Return how many of n events came in a second of wiggling there, of LEAST_S at least."""
        return n / max(self.seconds_per_place.get(place, 0.0), LEAST_S)


def touched(event: Event) -> Touched:
    """Return what one event touched."""
    if event.with_supply or event.channel == SUPPLY:
        return Touched.SUPPLY
    kinds = {"to-ground": Touched.TO_GROUND, "to-supply": Touched.TO_SUPPLY, "jump": Touched.JUMP}
    return kinds.get(event.kind, Touched.PARTIAL)


def origin(channels: Sequence[int], *, with_supply: bool) -> Origin:
    """Return where it came from: channel A taps the wire at the sensor, channel B the same wire at the controller."""
    if with_supply:
        return Origin.SUPPLY
    a, b = SIGNAL_A in channels, SIGNAL_B in channels
    if a and b:
        return Origin.UPSTREAM
    return Origin.HARNESS if b else Origin.LEAD_A


def together(events: Sequence[Event]) -> list[list[Event]]:
    """Return groups of events that overlap or lie within SAME_TIME_S of one another."""
    groups: list[list[Event]] = []
    end = -1e9
    for event in sorted(events, key=lambda e: e.start_s):
        if groups and event.start_s <= end + SAME_TIME_S:
            groups[-1].append(event)
        else:
            groups.append([event])
            end = event.start_s
        end = max(end, event.start_s + event.duration_s)
    return groups


def happening(group: Sequence[Event], marks: Sequence[MarkAt], *, far_end: bool) -> Happening:
    """Return one group of events as one happening; the deepest signal event tells what was touched."""
    supply = any(touched(e) is Touched.SUPPLY for e in group)
    signals = [e for e in group if e.channel != SUPPLY] or list(group)
    deepest = max(signals, key=lambda e: e.depth_percent)
    channels = tuple(sorted({e.channel for e in group}))
    return Happening(
        start_s=group[0].start_s,
        duration_s=max(e.duration_s for e in group),
        channels=channels,
        depth_percent=max(e.depth_percent for e in group),
        touched=Touched.SUPPLY if supply else touched(deepest),
        place=place_at(marks, group[0].start_s),
        origin=origin(channels, with_supply=supply) if far_end else Origin.NOT_ASKED,
    )


def wiggled(
    events: Sequence[Event], marks: Sequence[MarkAt], *, seconds: float, far_end: bool, least_percent: float
) -> Wiggled:
    """Return what all events come to; shallower ones than `least_percent` of supply do not count."""
    deep = [e for e in events if e.depth_percent >= least_percent]
    found = tuple(happening(g, marks, far_end=far_end) for g in together(deep))
    places = [*dict.fromkeys(m.place for m in sorted(marks, key=lambda m: m.at_s))]
    names = [*places, *({h.place for h in found} - set(places))]
    return Wiggled(
        happenings=found,
        seconds=seconds,
        per_place={name: sum(h.place == name for h in found) for name in names},
        seconds_per_place=_time_at(marks, seconds),
        far_end=far_end,
    )


def _time_at(marks: Sequence[MarkAt], seconds: float) -> dict[str, float]:
    ordered = [MarkAt(0.0, UNMARKED), *sorted(marks, key=lambda m: m.at_s), MarkAt(seconds, "")]
    out: dict[str, float] = {}
    for first, second in pairwise(ordered):
        spent = max(0.0, min(second.at_s, seconds) - min(first.at_s, seconds))
        if spent > 0:
            out[first.place] = out.get(first.place, 0.0) + spent
    return out
