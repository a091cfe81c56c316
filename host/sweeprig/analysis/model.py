"""What an analysis returns: frozen, numbers with units in their names."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from sweeprig.capture.model import Sense

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Span = tuple[float, float]  # a place: from, to [% of travel], 0 = closed (low where the sense is unknown)


class Cause(StrEnum):
    """Where a fault is."""

    TRACK = "track"
    CONNECTION = "connection"
    SUPPLY = "supply"
    GROUND = "ground"
    MOUNTING = "mounting"
    WIRING = "wiring"
    RIG = "rig"
    INTERFERENCE = "interference"
    ENGINE = "engine"


class Code(StrEnum):
    """What is wrong. The reference page docs/reference/findings.md describes each."""

    WORN_SPOT = "worn-spot"
    FLAT_SPOT = "flat-spot"
    ROUGH_TRACK = "rough-track"
    NOT_LINEAR = "not-linear"
    HYSTERESIS = "hysteresis"
    LOOSE_CONNECTION = "loose-connection"
    STRAY_DROPOUT = "stray-dropout"
    OPEN_SIGNAL = "open-signal"
    STUCK_LOW = "stuck-low"
    STUCK_HIGH = "stuck-high"
    NO_MOVEMENT = "no-movement"
    SUPPLY_SAG = "supply-sag"
    SUPPLY_DROPOUT = "supply-dropout"
    SUPPLY_OUT_OF_RANGE = "supply-out-of-range"
    SUPPLY_CUT = "supply-cut"
    GROUND_SHIFT = "ground-shift"
    DEAD_BAND_CLOSED = "dead-band-closed"
    DEAD_BAND_OPEN = "dead-band-open"
    MARGIN_CLOSED = "margin-closed"
    MARGIN_OPEN = "margin-open"
    CLOSED_OUT_OF_RANGE = "closed-out-of-range"
    OPEN_OUT_OF_RANGE = "open-out-of-range"
    ENDS_NOT_REPEATED = "ends-not-repeated"
    TRACKS_SHORTED = "tracks-shorted"
    TRACKS_DISAGREE = "tracks-disagree"
    NOT_ANALOGUE = "not-analogue"
    RIG_OVER_RANGE = "rig-over-range"
    RECORDS_LOST = "records-lost"
    BAD_CONVERSIONS = "bad-conversions"
    INTERFERENCE = "interference"
    WRONG_SENSE = "wrong-sense"
    ENGINE_RUNNING = "engine-running"
    CONTRADICTORY_DATA = "contradictory-data"


@dataclass(frozen=True)
class Rest:
    """The lever at rest."""

    start: int  # first window, index into the trace
    stop: int  # one past the last
    value_v: float  # [V] robust level of signal A
    u_v: float  # [V] standard uncertainty from noise and its autocorrelation
    place: str  # low | high | middle
    visit: int = -1  # number of the visit to that end; -1 in the middle
    creep_v: float = (
        0.0  # [V] by how much its outermost part lies beyond its mean, where the lever crept or gave way
    )


@dataclass(frozen=True)
class Stroke:
    """One movement between two rests or turning points."""

    start: int
    stop: int
    from_v: float  # [V]
    to_v: float  # [V]
    direction: int  # +1 signal rising, -1 falling
    full: bool  # reaches both ends
    unseen_percent: float = 0.0  # % of its time of which no record came


@dataclass(frozen=True)
class End:
    """One end of the travel: the level of the rests there, never an extreme sample."""

    value_v: float  # [V]
    u_v: float  # [V] standard uncertainty from the data alone (type A)
    dof: float
    n_rests: int  # visits with a rest there
    n_windows: int
    spread_v: float  # [V] standard deviation from stroke to stroke; nan with fewer than two rests
    drift_v: float  # [V] last rest minus first
    ratio: float  # value over the supply measured at the same rests; nan where the supply is not observed
    n_agreeing: int = 2  # visits that met one level there: two say that it is a stop
    n_turned_short: int = 0  # visits that turned round before it
    beyond_v: float = 0.0  # [V] how far one visit stands further out than the middle of three or more
    n_turned_beyond: int = 0  # visits in which the signal turned round further out than where it rested
    turned_beyond_v: float = 0.0  # [V] by how much the furthest of them
    held_short_v: float = 0.0  # [V] by how much one visit came to rest before it, at most; 0: none did


@dataclass(frozen=True)
class Event:
    """Something that leaves the smooth movement of a hand."""

    start_s: float  # [s]
    duration_s: float  # [s]; at most one window where it fits into one
    channel: int  # 0 signal A, 1 signal B, 2 supply
    kind: str  # to-ground | to-supply | partial | jump
    depth_percent: float  # of the supply at the sensor
    at_percent: float | None  # place where it began, in per cent of travel; None where unknown
    stroke: int | None  # index of the stroke; None at rest
    at_rest: bool
    with_supply: bool  # the supply moved at the same moment
    score: float  # excess over noise, in standard deviations
    end_s: float = 0.0  # [s] of its last window; several in close succession are one event
    upward: bool = False  # away from ground
    both_ways: bool = False  # upward and downward within one event
    to_percent: float | None = None  # place where it ended; None where unknown
    path_v: float = float("nan")  # [V] where the signal should have been
    extreme_v: float = float("nan")  # [V] furthest single reading


@dataclass(frozen=True)
class TrackMap:
    """All strokes folded onto position. Arrays have shape (k,), one value per bin."""

    edge_percent: FloatArray  # (k + 1,) of travel
    strokes_seen: IntArray  # strokes that were seen there
    events: IntArray
    noise_v: FloatArray  # [V] residual noise; nan where there were no passes
    p_clustered: float | None  # p-value of their clustering; null hypothesis: events anywhere. None: too few
    p_at_rest: float | None  # p-value of their share at rest; null hypothesis: events spread over time
    n_strokes: int = 0
    # further strokes after which one place is certain if they go like these; None: none is enough, or it is certain
    more_strokes: int | None = None
    noise_again_v: FloatArray | None = (
        None  # [V] noise that half of the strokes, two at least, show there; nan: fewer
    )


@dataclass(frozen=True)
class TwoTracks:
    """How signal B follows signal A."""

    relation: str  # parallel | half-scale | opposed | other | same (shorted) | none
    slope: float
    offset_v: float  # [V]
    max_error_v: float  # [V] largest residual over the travel
    max_error_percent: float  # of supply
    at_percent: float | None


@dataclass(frozen=True)
class LinearityResult:
    """Deviations in per cent of the applied voltage; needs an angle."""

    independent_percent: float
    terminal_percent: float
    zero_based_percent: float
    hysteresis_percent: float
    volts_per_degree: float
    dead_band_closed_deg: float
    dead_band_open_deg: float
    travel_deg: float = np.nan
    chance_percent: float = 0.0  # of the hysteresis: what noise of angle and signal makes of it at most
    late_s: float = 0.0  # [s] by which the angle comes after the signal; not 0: none of these is judged


@dataclass(frozen=True)
class RawExtremes:
    """Lowest and highest single reading of signal A, spikes included; shown beside the ends."""

    min_v: float  # [V]
    max_v: float  # [V]


@dataclass(frozen=True)
class Finding:
    """What is wrong, where, why we think so, and what to do."""

    code: Code
    cause: Cause
    channel: int | None
    where_percent: Span | None
    evidence: str
    next_step: str
    severity: str = "fault"  # fault | doubt | note
    numbers: dict[str, float] = field(default_factory=dict)
    unconfirmed: bool = False  # another sweep must show it again before the sensor is replaced
    or_contact: bool = False  # a contact may do the same: it is ruled out before the sensor is replaced


@dataclass(frozen=True)
class Analysis:
    """All that one capture shows."""

    sense: Sense
    sense_evidence: str
    low: End | None
    high: End | None
    strokes: tuple[Stroke, ...]
    rests: tuple[Rest, ...]
    events: tuple[Event, ...]
    track_map: TrackMap | None
    track_map_b: TrackMap | None
    two_tracks: TwoTracks | None
    linearity: LinearityResult | None
    plain: RawExtremes
    supply_v: float  # [V] median; nan where not observed
    noise_v: float  # [V] of a single window's mean
    smoothness_percent: float | None  # range (0.1 to 99.9 %) of the departure in movement, % of supply
    findings: tuple[Finding, ...]
    not_shown: tuple[str, ...]  # what this capture could not show, with what to do
    low_b: End | None = None
    high_b: End | None = None

    @property
    def closed_end(self) -> End | None:
        """The closed end; None where the sense is unknown."""
        return {Sense.RISING: self.low, Sense.FALLING: self.high}.get(self.sense)

    @property
    def open_end(self) -> End | None:
        """The open end; None where the sense is unknown."""
        return {Sense.RISING: self.high, Sense.FALLING: self.low}.get(self.sense)
