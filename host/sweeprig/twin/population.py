"""A labelled population of sensors, hands and rigs over wide ranges, seeded. Nothing here knows a detector.

`case(kind, seed)` draws one; it is small and can be sent to another process, and `case.play()` makes its sweep.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from sweeprig.errors import InputError
from sweeprig.twin.capture import Played, play
from sweeprig.twin.hands import Hand
from sweeprig.twin.sensors import Fault, SensorSpec

Rng = np.random.Generator
DURATION_S = (10e-6, 50e-3)  # of dropouts
SECONDS = 5.0
CLEAN = "clean"


@dataclass(frozen=True)
class Case:
    """One drawn sweep: what is on the bench, and the rig it is tried with."""

    kind: str
    seed: int
    spec: SensorSpec
    seconds: float = SECONDS
    hookup: str = "powered"
    rig: dict[str, Any] = field(default_factory=dict)  # for World

    @property
    def places(self) -> tuple[float, ...]:
        """Where on the travel its faults are, share of travel, 0 = closed; none where they come anywhere."""
        kept = ("worn", "flat", "bump")
        return tuple(f.place for f in self.spec.faults if f.kind in kept)

    @property
    def causes(self) -> tuple[str, ...]:
        """In words of the trade: track, connection, supply, ground, mounting, wiring, interference."""
        return tuple(sorted({f.cause for f in self.spec.faults}))

    def play(self) -> Played:
        """Make the sweep."""
        return play(self.spec, seed=self.seed, seconds=self.seconds, hookup=self.hookup, **self.rig)


def _log(rng: Rng, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def _hand(rng: Rng) -> Hand:
    """Any hand: slow or fast, hesitating, trembling, letting go, stopping short."""
    pace, rest = _log(rng, 0.22, 1.3), _log(rng, 0.15, 0.6)
    first = float(rng.uniform(0.25, 0.7))
    return Hand(
        starts="closed" if rng.random() < 0.9 else "open",
        first_rest_s=(first, first + 0.1),
        stroke_s=(pace * 0.8, pace * 1.25),
        rest_s=(rest * 0.8, rest * 1.3),
        strokes=int(rng.integers(1, 13)),
        partial=float(rng.uniform(0, 0.3)) if rng.random() < 0.3 else 0.0,
        hesitate=float(rng.uniform(0, 0.6)) if rng.random() < 0.4 else 0.0,
        snap=float(rng.uniform(0.2, 1.0)) if rng.random() < 0.3 else 0.0,
        bounce=float(rng.uniform(0.0, 0.06)),
        tremor=float(rng.uniform(0.0005, 0.006)) if rng.random() < 0.6 else 0.0,
    )


def _sound(rng: Rng) -> SensorSpec:
    """A sensor without a fault, its ends clear of the rails."""
    low, high = float(rng.uniform(0.3, 0.95)), float(rng.uniform(3.7, 4.7))
    falling, hall = rng.random() < 0.35, rng.random() < 0.2
    spec = SensorSpec(
        name="drawn",
        title="Drawn from the population",
        profile="hall" if hall else "adjustable-potentiometer",
        kind="hall" if hall else "potentiometer",
        closed_v=high if falling else low,
        open_v=low if falling else high,
        track_ohm=_log(rng, 1e3, 1e4),
        contact_ohm=_log(rng, 30.0, 600.0),
        controller_ohm=_log(rng, 47e3, 470e3),
        controller_supply_v=float(rng.uniform(4.75, 5.25)),
        hand=_hand(rng),
    )
    return _second(spec, rng) if rng.random() < 0.25 else spec


def _second(spec: SensorSpec, rng: Rng) -> SensorSpec:
    """Add a second track in one of the usual relations: half scale, parallel, opposed."""
    relation = str(rng.choice(["half-scale", "parallel", "opposed"]))
    closed, opened = spec.closed_v, spec.open_v
    if relation == "half-scale":
        closed, opened = closed / 2, opened / 2
    elif relation == "opposed":
        closed, opened = 5.0 - closed, 5.0 - opened
    else:
        shift = -0.5 * min(1.0, (min(closed, opened) - 0.15) / 0.5)
        closed, opened = closed + shift, opened + shift
    return replace(spec, profile=f"two-tracks-{relation}", closed_b_v=closed, open_b_v=opened)


def _tall(spec: SensorSpec) -> SensorSpec:
    """Return the sensor with its high end at 4.75 of 5 V and a full supply: it crosses the highest wide code."""
    rising = spec.open_v > spec.closed_v
    closed, opened = (spec.closed_v, 4.75) if rising else (4.75, spec.open_v)
    return replace(_single_track(spec), closed_v=closed, open_v=opened, controller_supply_v=5.24)


def _rig(rng: Rng) -> tuple[str, dict[str, Any]]:
    build = "plain" if rng.random() < 0.2 else "full"
    hookup = "tapped" if build == "full" and rng.random() < 0.25 else "powered"
    rig = {
        "build": build,
        "chip": str(rng.choice(["rp2040", "rp2040-odd", "rp2350"], p=[0.6, 0.15, 0.25])),
        "usb_v": float(rng.uniform(4.6, 5.25)),
        "hum_v": float(rng.uniform(0.0, 4e-3)),
        "hum_hz": float(rng.choice([50.0, 60.0])),
    }
    return hookup, rig


Spoil = Callable[[SensorSpec, Rng], SensorSpec]


def _with(spec: SensorSpec, *faults: Fault) -> SensorSpec:
    return replace(spec, faults=spec.faults + faults)


def _lengths(rng: Rng, *, low: float = DURATION_S[0], high: float = DURATION_S[1]) -> tuple[float, float]:
    middle = _log(rng, low, high)
    return max(low, middle / 2), min(high, middle * 2)


def _depth(rng: Rng) -> float:
    return 1.0 if rng.random() < 0.5 else float(rng.uniform(0.2, 1.0))


def _worn(spec: SensorSpec, rng: Rng) -> SensorSpec:
    place, width = float(rng.uniform(0.06, 0.94)), float(rng.uniform(0.001, 0.008))
    chance, lifts = float(rng.uniform(0.6, 1.0)), (1, int(rng.integers(1, 5)))
    length = _lengths(rng, high=5e-3)  # longer ones would cover more of the travel than the place is wide
    fault = Fault(
        "worn", place=place, width=width, chance=chance, lifts=lifts, depth=_depth(rng), duration_s=length
    )
    return _with(replace(spec, hand=replace(spec.hand, strokes=max(spec.hand.strokes, 4))), fault)


def _loose(spec: SensorSpec, rng: Rng) -> SensorSpec:
    return _with(
        spec, Fault("loose", rate_hz=_log(rng, 0.8, 10.0), depth=_depth(rng), duration_s=_lengths(rng))
    )


def _loose_ground(spec: SensorSpec, rng: Rng) -> SensorSpec:
    return _with(spec, Fault("loose", wire="ground", rate_hz=_log(rng, 0.8, 6.0), duration_s=_lengths(rng)))


def _single(spec: SensorSpec, rng: Rng) -> SensorSpec:
    at = (float(rng.uniform(0.3, 4.6)),)
    return _with(spec, Fault("loose", at_s=at, depth=_depth(rng), duration_s=_lengths(rng)))


def _supply(spec: SensorSpec, rng: Rng) -> SensorSpec:
    depth = float(rng.uniform(0.2, 1.0))
    fault = Fault(
        "supply-dropout", rate_hz=_log(rng, 0.8, 6.0), depth=depth, duration_s=_lengths(rng, low=50e-6)
    )
    return _with(spec, fault)


def _sag(spec: SensorSpec, rng: Rng) -> SensorSpec:
    start, length = float(rng.uniform(0.3, 2.0)), float(rng.uniform(0.6, 2.0))
    return _with(
        spec, Fault("supply-sag", depth=float(rng.uniform(0.04, 0.3)), start_s=start, length_s=length)
    )


def _ground(spec: SensorSpec, rng: Rng) -> SensorSpec:
    start, length = float(rng.uniform(0.3, 2.0)), float(rng.uniform(0.6, 2.0))
    return _with(
        spec, Fault("ground-shift", volts=float(rng.uniform(0.06, 0.5)), start_s=start, length_s=length)
    )


def _flat(spec: SensorSpec, rng: Rng) -> SensorSpec:
    hand = replace(spec.hand, strokes=max(spec.hand.strokes, 4))
    fault = Fault("flat", place=float(rng.uniform(0.2, 0.8)), width=float(rng.uniform(0.02, 0.08)))
    return _with(replace(spec, hand=hand), fault)


def _single_track(spec: SensorSpec) -> SensorSpec:
    profile = "adjustable-potentiometer" if spec.kind == "potentiometer" else "hall"
    return replace(spec, profile=profile, closed_b_v=None, open_b_v=None)


def _dead_band(spec: SensorSpec, rng: Rng) -> SensorSpec:
    """The track ends before the travel does, at one end."""
    spec = replace(_single_track(spec), kind="potentiometer", profile="adjustable-potentiometer")
    beyond = float(rng.uniform(0.15, 0.9))
    low_end = bool(rng.random() < 0.5)
    low, high = (
        (-beyond, max(spec.closed_v, spec.open_v))
        if low_end
        else (min(spec.closed_v, spec.open_v), 5 + beyond)
    )
    rising = spec.open_v > spec.closed_v
    return replace(spec, closed_v=low if rising else high, open_v=high if rising else low)


def _bump(spec: SensorSpec, rng: Rng) -> SensorSpec:
    spec = spec if spec.two_tracks else _second(spec, rng)
    volts = float(rng.choice([-1, 1]) * rng.uniform(0.1, 0.4))
    fault = Fault(
        "bump",
        track="b",
        place=float(rng.uniform(0.25, 0.75)),
        width=float(rng.uniform(0.03, 0.1)),
        volts=volts,
    )
    return _with(spec, fault)


def _kind(kind: str) -> Spoil:
    return lambda spec, rng: replace(
        _single_track(spec), kind=kind, toggle_hz=_log(rng, 80.0, 1000.0), profile="hall"
    )


def _over(spec: SensorSpec, rng: Rng) -> SensorSpec:
    return replace(
        _single_track(spec), kind="hall", profile="hall", own_supply_v=float(rng.uniform(7.5, 14.5))
    )


def _always(kind: str) -> Spoil:
    return lambda spec, rng: _with(spec, Fault(kind, track="both", ohm=float(rng.uniform(0.3, 2.0))))


FAULTY: dict[str, Spoil] = {
    "worn": _worn,
    "loose": _loose,
    "loose-ground": _loose_ground,
    "single": _single,
    "supply-dropout": _supply,
    "supply-sag": _sag,
    "ground-shift": _ground,
    "flat": _flat,
    "dead-band": _dead_band,
    "bump": _bump,
    "worn-and-loose": lambda spec, rng: _loose(_worn(spec, rng), rng),
    "rough": lambda s, rng: _with(s, Fault("rough", track="both", volts=float(rng.uniform(0.008, 0.05)))),
    "backlash": lambda s, rng: _with(s, Fault("backlash", width=float(rng.uniform(0.02, 0.08)))),
    "interference": lambda s, rng: _with(
        s,
        Fault(
            "interference",
            rate_hz=_log(rng, 2, 20),
            volts=float(rng.uniform(0.2, 1.5)),
            duration_s=_lengths(rng, high=1e-3),
        ),
    ),
    "stuck": lambda s, rng: _with(s, Fault("stuck", place=float(rng.uniform(0.1, 0.9)))),
    "tracks-shorted": lambda s, rng: _with(
        s if s.two_tracks else _second(s, rng), Fault("tracks-shorted", ohm=float(rng.uniform(0.5, 5.0)))
    ),
    "open-signal": _always("open-signal"),
    "short-to-ground": _always("short-to-ground"),
    "short-to-supply": _always("short-to-supply"),
    "pwm": _kind("pwm"),
    "digital": _kind("digital"),
    "switch": _kind("switch"),
    "over-range": _over,
}


def case(kind: str, seed: int) -> Case:
    """Draw one case; InputError for a kind that is not known."""
    if kind != CLEAN and kind not in FAULTY:
        raise InputError(
            "There is no such kind in the population.", seen=repr(kind), limit=", ".join((CLEAN, *FAULTY)),
            next_step="Choose one of these.",
        )  # fmt: skip
    rng = np.random.default_rng([seed, *kind.encode()])
    spec, (hookup, rig) = _sound(rng), _rig(rng)
    if hookup == "tapped" and rng.random() < 0.25:
        spec = _tall(spec)
    if kind != CLEAN:
        spec = FAULTY[kind](spec, rng)
    if spec.own_supply_v is not None:
        hookup = "powered"
    return Case(kind, seed, spec, hookup=hookup, rig=rig)


def clean(n: int, seed: int = 0) -> Iterator[Case]:
    """Draw n cases without a fault."""
    return (case(CLEAN, seed + i) for i in range(n))


def faulty(kind: str, n: int, seed: int = 0) -> Iterator[Case]:
    """Draw n cases of one kind of fault."""
    return (case(kind, seed + i) for i in range(n))
