"""What a capture is: codes as they came, and the trace of volts that every analysis starts from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sweeprig.link.messages import Gap, Mark, Records, SlowReading, Snapshot
from sweeprig.words import ANY_SENSOR, KEPT
from sweeprig.words import Hookup as Hookup
from sweeprig.words import Sense as Sense
from sweeprig.words import Starts as Starts

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class SweepSetup:
    """What the operator said about a sweep before it began."""

    hookup: Hookup = Hookup.POWERED
    starts: Starts = Starts.CLOSED
    sense: Sense = Sense.UNKNOWN  # as given by the operator; UNKNOWN: find it from `starts`
    profile: str = ANY_SENSOR
    seconds: float = 5.0  # s
    track_ohm: float | None = None  # end-to-end resistance, where measured
    operator: str = ""
    job: str = ""
    sensor_label: str = ""
    part: str = ""
    serial: str = ""
    sensor_kind: str = ""  # potentiometer | hall | unknown; "" leaves it to the profile
    setting: str = "bench"  # bench | vehicle
    confirmed: tuple[str, ...] = ()  # cautions that the operator confirmed
    override: str = ""  # reason of a one-sweep override of the interlock
    notes: str = ""
    task: str = "sweep"  # sweep | wiggle | wiggle-far-end: what the capture was made for
    vehicle_system: str = ""  # 12 | 24: volts of the vehicle's system; "" was not said
    vehicle_drive: str = ""  # combustion | stop-start | hybrid | electric; "" on the bench
    prepared: tuple[str, ...] = ()  # what hookup and interlock found just before, a line each
    lead_checked: str = ""  # when the test lead was last checked and what came of it; "" never
    profile_text: str = ""  # of the profile as it was then; "" in captures that do not keep it
    profile_sha256: str = ""  # of that text
    workshop: str = ""  # who does the work, as it shall stand at the head of the sheet
    customer: str = ""
    vehicle: str = ""  # or machine, as typed

    @property
    def kept(self) -> str:
        """The line that says that the board kept it by itself; "" where a host was there."""
        return next((line for line in self.prepared if line.startswith(KEPT)), "")


@dataclass(frozen=True)
class Capture:
    """One finished capture: codes, time base, rig, losses. Self-describing."""

    records: Records
    rig: Mapping[str, Any]  # the board's hello, as it came
    setup: SweepSetup
    created: str  # ISO 8601 with offset
    window: int  # conversions of one channel in a window
    conversion_hz: float  # Hz, all channels together
    gaps: tuple[Gap, ...] = ()
    snapshots: tuple[Snapshot, ...] = ()
    slow: tuple[SlowReading, ...] = ()
    marks: tuple[Mark, ...] = ()
    board_text: tuple[str, ...] = ()
    calibration: Mapping[str, Any] | None = None  # the calibration in force, as stored; None: nominal
    versions: Mapping[str, str] = field(default_factory=dict)
    ended: str = "complete"  # complete | stopped | unplugged | silent | restarted | recovered
    coaching: tuple[str, ...] = ()  # movements that were asked for and seen
    bad_frames: int = 0
    sha256: str = ""  # of the file it was read from or written to
    path: str = ""  # of that file; not stored in it
    journal: str = ""  # that it was made from; removed when the capture is written; not stored
    journal_key: str = ""  # of that journal, that no other has; not read from a file
    first_index: int = 0  # that it should begin with: a series cuts its captures out of one stream
    stop_index: int | None = None  # index after the last one that was to come; None: after the last that came
    set_aside: Mapping[str, int] = field(
        default_factory=dict
    )  # what was not kept as it came: words, how many

    @property
    def simulated(self) -> bool:
        """Whether it came from a simulated rig, as its hello said."""
        return bool(self.rig.get("simulated"))

    @property
    def window_s(self) -> float:
        """Length of one window [s]: t = index * window_s."""
        return float(self.window * self.records.sums.shape[1] / self.conversion_hz)

    @property
    def n_lost(self) -> int:
        """Records missing from where it should begin to where it should end, where that is known."""
        index = self.records.index
        if not index.size:
            return 0
        return int(
            (index[-1] + 1 if self.stop_index is None else self.stop_index) - self.first_index - index.size
        )


@dataclass(frozen=True)
class Channel:
    """Volts at the sensor of one channel, one value per window. All arrays have shape (n,)."""

    mean_v: FloatArray  # [V]
    min_v: FloatArray  # [V] lowest single conversion in the window
    max_v: FloatArray  # [V] highest single conversion in the window

    def only(self, kept: BoolArray | slice) -> Channel:
        """Return the windows that are kept."""
        return Channel(self.mean_v[kept], self.min_v[kept], self.max_v[kept])


@dataclass(frozen=True)
class Trace:
    """What an analysis starts from, whatever it came from. All arrays have shape (n,); no NaN inside.

    For data without windows (a CSV) mean, min and max are the same and `n_per_window` is 1.
    """

    t_s: FloatArray  # [s] start of each window, strictly rising; jumps where records are missing
    signal_a: Channel
    signal_b: Channel | None
    supply: Channel | None  # None: not observed, so no ratio and no supply finding
    window_s: float  # [s]
    n_per_window: int
    lsb_v: float  # [V] one code at the sensor; 0 where unknown
    full_scale_v: float  # [V] highest reading the rig can give at the sensor; inf where unknown
    gap_before: BoolArray  # True where records are missing before this one
    angle_deg: FloatArray | None = None
    ground_v: FloatArray | None = None  # [V] sensor ground against rig ground; None: not observed
    supply_top_v: float | None = (
        None  # [V] where a converter's range ends at which the supply stood: it is not known
    )
    nominal_supply_v: float = 5.0  # [V] for ratio x nominal supply
    n_lost: int = 0  # records known to be missing, those before the first among them
    n_lost_before: int = 0  # records missing before the first
    flagged: BoolArray | None = (
        None  # windows with conversions that the converter marks as bad; None: no such window
    )
    n_flagged: int = 0  # of them, left out by `usable`
    source: str = "rig"  # rig | csv
    rows_per_window: int = 1  # rows of a CSV that were put together to a window
    name: str = ""
    shortest_dropout_s: float | None = None  # [s] what this build and hookup can show; None: unknown
    board_temperature_c: float | None = None  # mean over the capture; None: not known
    smps_mode: str = ""  # of the board's regulator: psm | pwm; "" not known
    hookup: Hookup | None = None  # that the capture was taken with; None: not known
    load_ohm: float | None = (
        None  # [ohm] that the rig puts on each signal and that is still in them; None: none known
    )

    @property
    def single(self) -> bool:
        """Whether its readings are single ones, put together or not."""
        return self.n_per_window == self.rows_per_window

    @property
    def undithered(self) -> bool:
        """Whether its steps may stay as they are where it rests: readings, or means of few, of an unknown source."""
        return self.single or self.source == "csv"

    def usable(self) -> Trace:
        """Return the trace without its flagged windows, which are no data: each leaves a gap."""
        if self.flagged is None:
            return self
        keep = ~self.flagged
        gaps = np.cumsum(self.gap_before | self.flagged)[keep]
        return replace(
            self.rows(keep),
            gap_before=np.diff(gaps, prepend=gaps[:1]) > 0,
            flagged=None,
            n_flagged=int(self.flagged.sum()),
        )

    def rows(self, kept: slice | BoolArray) -> Trace:
        """Return only some of the rows; what is left out makes no gap."""
        return replace(
            self,
            t_s=self.t_s[kept],
            signal_a=self.signal_a.only(kept),
            signal_b=None if self.signal_b is None else self.signal_b.only(kept),
            supply=None if self.supply is None else self.supply.only(kept),
            gap_before=self.gap_before[kept],
            angle_deg=None if self.angle_deg is None else self.angle_deg[kept],
            ground_v=None if self.ground_v is None else self.ground_v[kept],
            flagged=None if self.flagged is None else self.flagged[kept],
        )
