"""What a profile holds: what a sensor must meet, each limit with its unit, its source and a note."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Limit:
    """One number with where it comes from."""

    value: float
    unit: str
    source: str
    note: str = ""


@dataclass(frozen=True)
class Range:
    """An interval with where it comes from; `low` is below `high`."""

    low: float
    high: float
    unit: str
    source: str
    note: str = ""

    def mirrored(self, about: float) -> Range:
        """The same interval seen from the other rail: v becomes `about` - v."""
        return Range(about - self.high, about - self.low, self.unit, self.source, self.note)


@dataclass(frozen=True)
class Sensor:
    """What kind of sensor the profile is for."""

    kind: str  # potentiometer | hall | unknown
    tracks: int = 1  # 1 | 2
    supplies: int = 1  # 2: each track has its own supply and ground
    relation: str = "none"  # of track B to A: none | half-scale | parallel | opposed
    sense: str = "either"  # rising | falling | either; of track A
    slotted: bool = False  # the mount lets the sensor be turned
    track_ohm: Range | None = None  # end to end, for the loading that is not known


@dataclass(frozen=True)
class Supply:
    """The supply that the limits are stated for."""

    nominal_v: float  # [V]
    ratiometric: bool  # limits hold for ratio x nominal supply
    source: str = ""
    note: str = ""


@dataclass(frozen=True)
class Limits:
    """What is judged. Volts hold at nominal supply where the sensor is ratiometric; None is not judged."""

    lower_rail: Limit  # [V] least distance of any end from sensor ground
    upper_rail: Limit  # [V] least distance of any end from the supply
    at_rail: Limit  # [V] a reading this near to a rail is at it: a dead band
    supply: Range  # [V] where another controller feeds the sensor
    supply_powered: Range  # [V] where the rig feeds it
    span: Limit  # [V] least distance between the ends
    dropout: Limit  # % of supply: events at least this deep are faults
    strokes: Limit  # full strokes without which nothing is passed
    loading: Limit  # % of supply: largest shift by the rig's own load that needs no remark
    closed: Range | None = None  # [V]
    open: Range | None = None  # [V]
    closed_b: Range | None = None  # [V] of track B
    open_b: Range | None = None  # [V] of track B
    slope_b: Range | None = None  # V/V, track B against A
    sum_b: Range | None = None  # [V] A + B, opposed tracks
    correlation: Limit | None = None  # % of supply: largest departure of B from its line
    linearity: Limit | None = None  # % of supply, independent; judged with an angle only
    hysteresis: Limit | None = None  # % of supply; judged with an angle only


@dataclass(frozen=True)
class Guard:
    """Guard band w = factor x U, U the expanded uncertainty at 95 %."""

    factor: float
    source: str
    note: str = ""


@dataclass(frozen=True)
class Aim:
    """Where to turn an adjustable sensor to."""

    closed: Limit  # [V] target of the closed end
    tolerance: Limit  # [V] half-width that is near enough


@dataclass(frozen=True)
class Series:
    """How a batch of sensors is swept."""

    strokes: Limit  # full strokes that end one sensor's sweep
    start: Limit  # % of supply: a movement this large starts the sweep
    rest: Limit  # s at the stop after the last stroke
    longest: Limit  # s after which a sweep ends whatever was seen


@dataclass(frozen=True)
class Profile:
    """What a sensor must meet."""

    name: str
    title: str
    note: str
    sensor: Sensor
    supply: Supply
    limits: Limits
    guard: Guard
    series: Series
    aim: Aim | None = None
    path: str = ""  # of the file it was read from
    text: str = ""  # that it was read from
    sha256: str = ""  # of that text
