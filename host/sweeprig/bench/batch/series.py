"""A batch of sensors one after another: when a sweep starts and ends, which sensor is next, what the batch comes to.

Pure: what comes in are traces, keys and outcomes, what goes out are phases and entries. Time is the trace's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum

from sweeprig.bench.readings.lever import Lever, StrokeCount
from sweeprig.capture.model import Trace
from sweeprig.errors import InputError
from sweeprig.judge.profile import Profile

LEAD_S = 0.6  # [s] of rest before the movement that is kept: the closed end is measured there; own choice
SETTLED_S = 0.3  # [s] the lever must rest before the sweep is armed; own choice


class Phase(StrEnum):
    """Where one sensor's sweep stands."""

    SETTLING = "hold the lever closed"
    ARMED = "armed: move the lever"
    RUNNING = "full strokes, stop to stop"
    RESTING = "hold still"
    OVER = "over"


@dataclass
class Trigger:
    """Arms itself at rest, starts on movement, ends after the profile's strokes and a rest, or after its longest."""

    profile: Profile
    phase: Phase = Phase.SETTLING
    ended: str = ""  # strokes | longest; "" while it runs
    start_s: float = 0.0  # [s] when the movement began
    lever: Lever = field(init=False)
    strokes: StrokeCount = field(init=False)

    def __post_init__(self) -> None:
        top = self.profile.supply.nominal_v
        self.lever = Lever(self.profile.series.start.value / 100 * top)
        self.strokes = StrokeCount(self.profile.limits.span.value)

    @property
    def needed(self) -> int:
        """Strokes that end a sweep."""
        return round(self.profile.series.strokes.value)

    def feed(self, trace: Trace) -> Phase:
        """Take the next windows; return the phase after them."""
        moves = self.lever.feed(trace)
        if self.phase in (Phase.SETTLING, Phase.ARMED):
            self._wait()
        if self.phase in (Phase.RUNNING, Phase.RESTING):
            for move in moves:
                if move.start_s + move.seconds >= self.start_s:
                    self.strokes.take(move)
            self._run()
        return self.phase

    def _wait(self) -> None:
        resting = self.lever.still_from_s is not None
        if self.phase is Phase.SETTLING and resting and self.lever.rest_s >= SETTLED_S:
            self.phase = Phase.ARMED
        elif self.phase is Phase.ARMED and not resting:
            self.phase, self.start_s = Phase.RUNNING, self.lever.now_s

    def _run(self) -> None:
        limits = self.profile.series
        enough = self.strokes.n >= self.needed
        self.phase = Phase.RESTING if enough else Phase.RUNNING
        if enough and self.lever.rest_s >= limits.rest.value:
            self.phase, self.ended = Phase.OVER, "strokes"
        elif self.lever.now_s - self.start_s >= limits.longest.value:
            self.phase, self.ended = Phase.OVER, "longest"

    @property
    def keep_from_s(self) -> float:
        """Time [s] from which the capture is kept."""
        return self.start_s - LEAD_S

    @property
    def line(self) -> str:
        """One line for the screen."""
        if self.phase in (Phase.RUNNING, Phase.RESTING):
            return f"strokes {self.strokes.n} of {self.needed}   {self.phase}"
        return str(self.phase)


@dataclass(frozen=True)
class Entry:
    """One sensor's sweep in a batch. Volts at the sensor as measured, and as judged; None is not measured."""

    serial: str
    attempt: int  # 1, 2 ... of this serial number
    verdict: str
    reason: str
    closed_v: float | None
    closed_u95: float | None
    open_v: float | None
    open_u95: float | None
    codes: tuple[str, ...] = ()  # of findings that are faults
    closed_limits: tuple[float | None, float | None] = (None, None)  # [V]
    open_limits: tuple[float | None, float | None] = (None, None)
    ended: str = "strokes"
    capture_file: str = ""
    nominal_v: float | None = None  # [V] supply at which the judged volts hold; None: as measured
    closed_judged_v: float | None = None  # on the scale of the profile's limits
    closed_judged_u95: float | None = None
    open_judged_v: float | None = None
    open_judged_u95: float | None = None

    def measured(self, end: str) -> tuple[float | None, float | None]:
        """Return an end (closed or open) as measured, with U95 [V]."""
        return getattr(self, f"{end}_v"), getattr(self, f"{end}_u95")

    def judged(self, end: str) -> tuple[float | None, float | None]:
        """Return an end as it is judged, with U95 [V]: ratio x nominal supply where the profile is ratiometric."""
        value = getattr(self, f"{end}_judged_v")
        if value is None and self.nominal_v is None:
            return self.measured(end)
        return value, getattr(self, f"{end}_judged_u95")


def at_supply(nominal_v: float | None) -> str:
    """Return the words beside judged volts; "" where they are the measured ones."""
    return "" if nominal_v is None else f"at {nominal_v:g} V supply"


@dataclass
class Batch:
    """The sensors of a series, and which comes next. A repeat of one serial takes the place of the one before."""

    name: str
    entries: list[Entry] = field(default_factory=list)
    _typed: str = ""
    _count: int = 0
    serial: str = ""  # of the sensor on the bench; "" before the first

    @property
    def attempt(self) -> int:
        """Number of the coming sweep of this sensor."""
        return 1 + sum(e.serial == self.serial for e in self.entries)

    @property
    def typed(self) -> str:
        """What was typed or scanned so far."""
        return self._typed

    def key(self, text: str) -> bool:
        """Take keys as they come; return whether the next sweep is to begin.

        Enter takes what was typed or scanned as the serial number, or counts on where nothing was; the space bar as
        the first key repeats the sensor on the bench.
        """
        for at, c in enumerate(text):
            if c in "\r\n":
                self.next_sensor(self._typed)
                self._typed = text[at + 1 :].strip("\r\n")  # a scanner may be faster than we look
                return True
            if c == " " and not self._typed:
                self.again()
                return True
            if c in "\x7f\b":
                self._typed = self._typed[:-1]
            elif c.isprintable():
                self._typed += c
        return False

    def next_sensor(self, serial: str = "") -> None:
        """Go on to the sensor with this serial number; "" takes the next number of the batch."""
        name = serial.strip()
        while not name:
            self._count += 1
            number = f"{self.name}-{self._count:03d}"
            name = "" if any(e.serial == number for e in self.entries) else number
        self.serial, self._typed = name, ""

    def again(self) -> None:
        """Sweep the sensor on the bench again; before the first it is the first."""
        if not self.serial:
            self.next_sensor()

    def add(self, entry: Entry) -> None:
        """Take the result of one sweep."""
        if not entry.serial:
            raise InputError("A sweep of a series has no serial number.", next_step="scan one or press Enter")
        self.entries.append(entry)


def last_of_each(entries: Sequence[Entry]) -> list[Entry]:
    """Return the last sweep of each serial number, in the order in which the sensors came."""
    last = {e.serial: e for e in entries}
    return [last[s] for s in dict.fromkeys(e.serial for e in entries)]
