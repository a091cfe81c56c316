"""Simulated sensors: each a small TOML file with what is true of it, for tests to check against."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from importlib.resources import files
from typing import Any

from sweeprig.errors import InputError
from sweeprig.twin.hands import Hand

NOMINAL_SUPPLY_V = 5.0  # volts in the files are at this supply: common practice, no source
STIFF_OHM = 1.0  # of a variable voltage: invented
KINDS = ("potentiometer", "hall", "pwm", "digital", "switch")
FAULT_KINDS = (
    "worn",  # the wiper lifts at one place of the track, pass after pass
    "loose",  # a wire of the connector opens at any time
    "supply-dropout",  # the supply falls for a short time
    "supply-sag",  # the supply sinks slowly
    "ground-shift",  # the sensor's ground rises against the rig's
    "open-signal",  # the signal wire is open all the time
    "short-to-ground",  # the signal wire lies on ground
    "short-to-supply",
    "flat",  # a stretch of track without slope
    "rough",  # the track's surface is uneven
    "backlash",  # up and down strokes differ
    "bump",  # a track departs from its course over a stretch
    "stuck",  # the lever moves, the signal does not
    "tracks-shorted",  # signal B lies on signal A
    "interference",  # bursts from outside
)


@dataclass(frozen=True)
class Fault:
    """One thing wrong. Places and widths are shares of travel, 0 = closed; which keys count, the kind says."""

    kind: str
    track: str = "a"  # a | b | both
    wire: str = "signal"  # of a loose connector: signal | ground | supply
    place: float = 0.5
    width: float = 0.005
    depth: float = 1.0  # share of the signal or supply that is lost where nothing else limits it
    duration_s: tuple[float, float] = (100e-6, 3e-3)  # log-uniform between
    rate_hz: float = 0.0  # events a second, for those that come at any time
    at_s: tuple[float, ...] = ()  # or the times themselves
    chance: float = 1.0  # of an event in one pass over the place
    lifts: tuple[int, int] = (1, 3)  # of the wiper in one pass
    volts: float = 0.0
    ohm: float = 10.0  # of a short
    start_s: float = 0.0
    length_s: float = 0.0  # of a slow change; 0 = to the end

    @property
    def cause(self) -> str:
        """Where it is, in one word of the trade."""
        return {
            "worn": "track", "flat": "track", "rough": "track", "backlash": "mounting", "bump": "track",
            "loose": "connection" if self.wire == "signal" else self.wire, "supply-dropout": "supply",
            "supply-sag": "supply", "ground-shift": "ground", "interference": "interference",
        }.get(self.kind, "wiring")  # fmt: skip


@dataclass(frozen=True)
class Truth:
    """What is true of a sensor at a supply of exactly 5 V, not loaded."""

    closed_v: float
    open_v: float
    sense: str  # rising | falling
    faults: tuple[Fault, ...]
    closed_b_v: float | None = None
    open_b_v: float | None = None


@dataclass(frozen=True)
class SensorSpec:
    """One simulated sensor: electrical data, faults, and the hand that moves it."""

    name: str
    title: str
    profile: str = "adjustable-potentiometer"
    kind: str = "potentiometer"
    closed_v: float = 0.45  # [V] at 5 V supply, not loaded; beyond 0 or 5 the track ends before the travel
    open_v: float = 4.3
    closed_b_v: float | None = None  # of the second track, where there is one
    open_b_v: float | None = None
    track_ohm: float = 5000.0
    contact_ohm: float = 150.0  # wiper on track, sound
    source_ohm: float = 60.0  # of a Hall part's output
    own_supply_v: float | None = None  # fed from elsewhere, whatever the rig does
    toggle_hz: float = 200.0  # of a sensor that toggles
    controller_ohm: float = 220e3  # input of the other controller, from signal to ground, when tapped
    controller_supply_v: float = 5.0  # that it feeds the sensor with, when tapped
    lever: str = "hand"  # hand | still
    faults: tuple[Fault, ...] = ()
    hand: Hand = field(default_factory=Hand)

    @property
    def two_tracks(self) -> bool:
        """Whether there is a second signal."""
        return self.closed_b_v is not None

    @property
    def truth(self) -> Truth:
        """What is true of it."""
        return Truth(
            closed_v=min(max(self.closed_v, 0.0), NOMINAL_SUPPLY_V),
            open_v=min(max(self.open_v, 0.0), NOMINAL_SUPPLY_V),
            sense="rising" if self.open_v > self.closed_v else "falling",
            faults=self.faults,
            closed_b_v=self.closed_b_v,
            open_b_v=self.open_b_v,
        )


def _tuples(row: Mapping[str, Any]) -> dict[str, Any]:
    return {k.replace("-", "_"): tuple(v) if isinstance(v, list) else v for k, v in row.items()}


def spec_from(name: str, table: Mapping[str, Any]) -> SensorSpec:
    """Return the sensor that one TOML table describes; TypeError for a key that is not known."""
    rest = {k: v for k, v in table.items() if k not in ("fault", "hand")}
    faults = tuple(Fault(**_tuples(row)) for row in table.get("fault", ()))
    for fault in faults:
        if fault.kind not in FAULT_KINDS:
            raise TypeError(f"{name}: fault kind {fault.kind!r} is not one of {', '.join(FAULT_KINDS)}")
    return SensorSpec(name=name, faults=faults, hand=Hand(**_tuples(table.get("hand", {}))), **_tuples(rest))


def stiff(volts: float) -> SensorSpec:
    """Return a sensor that gives one voltage to all three channels, whatever loads it."""
    return SensorSpec(
        name="stiff",
        title="Variable voltage",
        kind="hall",
        closed_v=NOMINAL_SUPPLY_V,
        open_v=NOMINAL_SUPPLY_V,
        closed_b_v=NOMINAL_SUPPLY_V,
        open_b_v=NOMINAL_SUPPLY_V,
        source_ohm=STIFF_OHM,
        own_supply_v=volts,
        lever="still",
    )


def sensor_names() -> tuple[str, ...]:
    """Return the names of the shipped sensors, in order of the alphabet."""
    folder = files("sweeprig.twin.sensors")
    return tuple(sorted(f.name.removesuffix(".toml") for f in folder.iterdir() if f.name.endswith(".toml")))


@lru_cache(maxsize=64)
def load_sensor(name: str) -> SensorSpec:
    """Return a shipped sensor; InputError for another name."""
    if name not in sensor_names():
        raise InputError(
            "There is no simulated sensor of this name.",
            seen=repr(name),
            limit=", ".join(sensor_names()),
            next_step="Choose one of these.",
        )
    text = files("sweeprig.twin.sensors").joinpath(f"{name}.toml").read_text("utf-8")
    return spec_from(name, tomllib.loads(text))
