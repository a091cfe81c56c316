"""Data classes that the population hands out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from population.scene import Scene

Floats = NDArray[np.floating[Any]]
Maker = Callable[[np.random.Generator], "Scene"]

WINDOW = 166
CONVERSION_HZ = 500_000.0
CHANNEL_S = 3.0 / CONVERSION_HZ
RECORD_S = WINDOW * CHANNEL_S
GRID_S = 0.0005


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong in sensor, wiring, supply or surroundings.

    place is a fraction of the signal's own span, closed to open; None if the fault has no place.
    share is the share of the passes over the place that show it; None if the fault has no place.
    depth_pct is the deviation reached at the sensor pin in percent of the supply (median of the events).
    events counts the events in the record, seen counts those that the record can show at all.
    """

    cause: str
    seat: str
    channel: str
    place: float | None = None
    share: float | None = None
    depth_pct: float = 0.0
    duration_s: float = 0.0
    events: int = 0
    seen: int = 0


@dataclass(frozen=True)
class Truth:
    """What is true about a case. Voltages are against the rig's ground, at the sensor's pins."""

    sound: bool
    faults: tuple[Fault, ...]
    sense: str
    closed_v: float | None
    open_v: float | None
    supply_v: float
    closed_ratio: float | None
    open_ratio: float | None
    rests_closed: int
    rests_open: int
    full_strokes: int
    handling: str
    must_not: tuple[str, ...]
    may_be_undecided: bool
    note: str
    begins: str = "closed"
    sense_known: bool = True
    tracks: str = "one"
    b_closed_v: float | None = None
    b_open_v: float | None = None


@dataclass(frozen=True, eq=False)
class Case:
    """One drawn case: a rig capture (sums, mins, maxs) or a logger's table (csv_text), with its truth."""

    kind: str
    seed: int
    part: str
    source: str
    truth: Truth
    sums: NDArray[np.uint32] | None = None
    mins: NDArray[np.uint16] | None = None
    maxs: NDArray[np.uint16] | None = None
    window: int = WINDOW
    conversion_hz: float = CONVERSION_HZ
    build: str | None = None
    chip: str | None = None
    hookup: str | None = None
    starts: str = "closed"
    transfer: NDArray[np.float64] | None = None
    vref_v: float | None = None
    divider: tuple[float, float, float] = (0.6, 0.6, 0.6)
    csv_text: str | None = None


@dataclass(frozen=True)
class Kind:
    """A kind of case. The seeds are split in parts, not the kinds: see part()."""

    name: str
    sound: bool
    group: str
    description: str
    source: str
    make: Maker = field(compare=False, repr=False)

    @staticmethod
    def part(seed: int) -> str:
        """Even seeds are the part to work with, odd seeds the part that is reported once."""
        return "work" if seed % 2 == 0 else "report"
