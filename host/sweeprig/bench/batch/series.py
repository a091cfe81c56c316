"""A batch of sensors one after another: which sensor is next, and the results so far.

Pure: keys and outcomes in, entries out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from sweeprig.errors import InputError


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
    simulated: bool = False

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
    """Return the words next to judged volts; "" where they are the same as the measured ones."""
    return "" if nominal_v is None else f"at {nominal_v:g} V supply"


@dataclass
class Batch:
    """The sensors of a series, and which comes next. A repeated sweep of a serial number replaces the earlier one."""

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
        """Take keys as they come; return whether the next sweep has to begin.

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
        """Sweep the same sensor again; before the first one, begin with the first."""
        if not self.serial:
            self.next_sensor()

    def add(self, entry: Entry) -> None:
        """Take the result of one sweep."""
        if not entry.serial:
            raise InputError("The sweep has no serial number.", next_step="scan one or press Enter")
        self.entries.append(entry)


def last_of_each(entries: Sequence[Entry]) -> list[Entry]:
    """Return the last sweep of each serial number, in the order in which the sensors came."""
    last = {e.serial: e for e in entries}
    return [last[s] for s in dict.fromkeys(e.serial for e in entries)]


def open_before(entries: Sequence[Entry]) -> dict[str, list[Entry]]:
    """Return by serial number the sweeps before a sensor's last one that did not pass; only sensors that have some."""
    last = {id(e) for e in last_of_each(entries)}
    found: dict[str, list[Entry]] = {}
    for e in entries:
        if id(e) not in last and e.verdict != "pass":
            found.setdefault(e.serial, []).append(e)
    return found
