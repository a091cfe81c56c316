"""A labelled population of sensors, hands and rigs over wide ranges, seeded. Nothing here knows a detector.

`case(kind, seed)` draws one; it is small and can be sent to another process, and `case.play()` makes its sweep.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from sweeprig.errors import InputError
from sweeprig.twin.capture import Played, play
from sweeprig.twin.sensors import SensorSpec

from .drawn import any_rig, sound_sensor, tall
from .drawn_faults import DURATION_S as DURATION_S
from .drawn_faults import FAULTY as FAULTY

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


def case(kind: str, seed: int) -> Case:
    """Draw one case; InputError for a kind that is not known."""
    if kind != CLEAN and kind not in FAULTY:
        raise InputError(
            "There is no such kind in the population.", seen=repr(kind), limit=", ".join((CLEAN, *FAULTY)),
            next_step="Choose one of these.",
        )  # fmt: skip
    rng = np.random.default_rng([seed, *kind.encode()])
    spec, (hookup, rig) = sound_sensor(rng), any_rig(rng)
    if hookup == "tapped" and rng.random() < 0.25:
        spec = tall(spec)
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
