"""What a page shows, as data: sentences and numbers, no layout. Volts are at the sensor; None is not measured."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal["wait", "live", "verdict", "over"]


@dataclass(frozen=True)
class Bar:
    """The lever between its rails."""

    top_v: float  # [V] upper end: the supply, else nominal
    low_margin_v: float  # [V] from ground: below it is the margin zone
    high_margin_v: float  # [V] from the supply
    reading_v: float | None
    low_v: float | None  # [V] lowest reading since the start
    high_v: float | None
    target: tuple[float, float, float] | None = None  # aim: low, target, high [V]
    near: tuple[float, float] | None = None  # aim: ends of an enlarged scale around the target [V]


@dataclass(frozen=True)
class Action:
    """What a phone may do now: a key that the terminal takes too."""

    key: str
    label: str


@dataclass(frozen=True)
class Scene:
    """One state of a page."""

    kind: Kind
    title: str  # what is looked at
    say: str  # what to do now, or the verdict, in large letters
    under: str = ""  # what that means just now
    digits: str = ""  # the reading, or the count of events
    unit: str = ""
    flag: str = ""  # where the reading stands
    mark: str = ""  # "", ! or !!: the same without colour
    clock: str = ""
    bar: Bar | None = None
    strip: tuple[
        tuple[float, float], ...
    ] = ()  # lowest and highest conversion of each stretch [V], oldest first
    strip_n: int = 0  # stretches that the whole strip has room for
    strip_s: float = 0.0  # [s] length of the whole strip
    done: int = 0  # strokes
    wanted: int = 0  # strokes; 0 shows none
    strokes: str = ""  # the same in words, with the pace
    fast: bool = False  # whether the pace is to be corrected
    facts: tuple[str, ...] = ()
    events: tuple[str, ...] = ()  # newest first
    verdict: str = ""  # pass | fail | undecided
    link: str = ""  # path of a page with more, on this server
    link_words: str = ""
    actions: tuple[Action, ...] = ()
    off: bool = False  # whether a supply is on that can be switched off
    simulated: bool = False
    rig_s: float = 0.0  # [s] of the rig's time at the newest record
