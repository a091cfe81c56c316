"""What a wiggle test looks for: events while harness and plugs are moved, each put to a place and a cause."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from typing import Any

from sweepboard.wire import CHANNEL_NAMES, SIGNAL_A, SIGNAL_B, SUPPLY
from sweeprig.analysis.model import Event
from sweeprig.capture.marks import UNMARKED, MarkAt, place_at
from sweeprig.errors import InputError

SAME_TIME_S = 2e-3  # two windows: events of two channels this near are one happening


class Touched(StrEnum):
    """What an event touched, as far as it can be told."""

    SUPPLY = "supply"
    TO_GROUND = "signal open, or touching ground"
    TO_SUPPLY = "signal touching the supply, or sensor ground open"
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
    def line(self) -> str:
        """One line that says it all."""
        names = " and ".join(CHANNEL_NAMES[c] for c in self.channels)
        long = f"{1e3 * self.duration_s:.2f} ms"
        where = "" if self.place == UNMARKED else f", at {self.place}"
        far = f"; {self.origin}" if self.origin else ""
        return f"{self.start_s:8.2f} s  {names}, {self.depth_percent:.0f} % deep, {long}: {self.touched}{where}{far}"


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


def parse_marks(text: str) -> list[MarkAt]:
    """Return marks typed beforehand, as "0:plug,10:bulkhead". Raises InputError."""
    out = []
    for part in filter(None, (p.strip() for p in text.split(","))):
        at, _, place = part.partition(":")
        try:
            at_s = float(at)
        except ValueError:
            at_s = math.nan
        if not place.strip() or not math.isfinite(at_s) or at_s < 0:
            raise InputError(
                "A mark is not understood.",
                seen=part,
                limit="SECONDS:PLACE, for example 0:plug,10:bulkhead,20:controller end",
                next_step="correct --marks",
            )
        out.append(MarkAt(at_s, place.strip()))
    return out


def within(marks: Sequence[MarkAt], seconds: float) -> tuple[list[MarkAt], str]:
    """Return the marks that a capture of `seconds` reaches, and what must be said of the others; "" without any."""
    late = [m for m in marks if m.at_s >= seconds]
    names = ", ".join(f"{m.at_s:g}:{m.place}" for m in late)
    said = f"NOT REACHED: the capture ends at {seconds:g} s, before {names}: no event can be put there."
    said += " Make --seconds longer, or the times in --marks shorter."
    return [m for m in marks if m.at_s < seconds], said if late else ""


def summary_lines(w: Wiggled) -> list[str]:
    """Return the result in plain lines."""
    n = len(w.happenings)
    if not w.reproduced:
        return [
            f"NOT REPRODUCED: no event in {w.seconds:.0f} s. This is not a pass: a fault that shows with heat,"
            " vibration or another movement is not excluded.",
            *_place_lines(w),
        ]
    first = f"{n} event{'s' if n != 1 else ''} in {w.seconds:.0f} s."
    shown = [h.line for h in w.happenings[:12]]
    more = [f"  ... and {n - 12} more"] if n > 12 else []
    return [first, *_place_lines(w), *shown, *more, *_far_lines(w)]


def _place_lines(w: Wiggled) -> list[str]:
    return [
        f"  {name:16} {w.per_place.get(name, 0)} in {spent:.1f} s"
        for name, spent in w.seconds_per_place.items()
    ]


def _far_lines(w: Wiggled) -> list[str]:
    if not w.far_end:
        return []
    counts = {o: sum(h.origin is o for h in w.happenings) for o in Origin if o}
    return ["By both ends of the wire:", *(f"  {n:3d}  {o}" for o, n in counts.items() if n)]


def wiggle_json(w: Wiggled) -> dict[str, Any]:
    """Return the result as a JSON object."""
    return {
        "result": "reproduced" if w.reproduced else "not reproduced",
        "seconds": round(w.seconds, 3),
        "n_events": len(w.happenings),
        "per_place": w.per_place,
        "seconds_per_place": {k: round(v, 3) for k, v in w.seconds_per_place.items()},
        "far_end": w.far_end,
        "events": [
            {
                "start_s": round(h.start_s, 4),
                "duration_s": round(h.duration_s, 6),
                "channels": [CHANNEL_NAMES[c] for c in h.channels],
                "depth_percent": round(h.depth_percent, 2),
                "touched": str(h.touched),
                "place": h.place,
                "origin": str(h.origin) or None,
            }
            for h in w.happenings
        ],
    }
