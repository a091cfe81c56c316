"""Cautions that are shown, confirmations that are asked for, and those that a job has given already.

The texts are common practice of the trade (no source). Local regulations, the vehicle's own service procedure and
licensed practice come before every line here.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Protocol

from sweeprig.bench.hookup.way_off import OFF_ORDER
from sweeprig.capture.atomic import write_atomically
from sweeprig.capture.regular import MOST_BOOK, read_text
from sweeprig.errors import InputError, SafetyError
from sweeprig.words import (
    AFTERWARDS,
    CODES_FIRST,
    LAW_FIRST,
    MAY_MOVE,
    NO_HANDS,
    PLUGS,
    Hookup,
    Setting,
)

VEHICLE_CAUTIONS = (
    LAW_FIRST,
    MAY_MOVE,
    "Ignition on only as long as it is needed. Nobody in front of or behind the vehicle.",
    f"{NO_HANDS} Never drive its motor.",
    CODES_FIRST,
    PLUGS,
    AFTERWARDS,
    "Pierce no insulation. Keep away from airbag wiring (yellow sleeves in common practice) and from high-voltage"
    " wiring (orange).",
)
TAPPED_CAUTIONS = (
    "Tap signal and sensor ground only. The rig adds neither supply nor ground.",
    "One track of a two-supply pedal at a time: never join two supplies or two grounds.",
)
POWERED_CAUTIONS = (
    "The sensor's plug is OFF the harness: the rig powers the sensor and nothing else may.",
    "Never power a pin that is not identified: sweeprig pins.",
)


@dataclass(frozen=True)
class Confirmation:
    """One thing that the operator has to confirm before work goes on."""

    key: str  # as typed after --confirm
    text: str
    each_time: bool = False  # no job remembers it: what it says ends when a plug is moved
    either: bool = False  # a question of fact: no is an answer too, and nothing is refused for it

    @property
    def line(self) -> str:
        """What is kept with a capture."""
        return f"{self.key}: {self.text}"


def keys_of(confirmed: Iterable[str]) -> tuple[str, ...]:
    """Return the keys of the confirmations kept with a capture."""
    return tuple(line.partition(":")[0] for line in confirmed)


CAUTIONS = Confirmation("cautions", "The cautions above are read and followed.")
PLUG_OFF = Confirmation(
    "plug-off", "The sensor's plug is OFF the harness and on the rig's powered lead.", each_time=True
)
LAPTOP = Confirmation(
    "laptop-battery",
    "The laptop runs on its battery with nothing else attached, or the rig is plugged into a USB isolator.",
)
USB_FIRST = Confirmation(
    "usb-first",
    f"USB was connected BEFORE the tap lead. {OFF_ORDER}",
)
SECURED = Confirmation(
    "secured",
    "The vehicle is secured by its own procedure, and a qualified person for this drive is present.",
)
IDLE = Confirmation(
    "idle",
    "Recording at idle: throttle untouched, no hands near moving or hot parts, vehicle secured.",
)
CLEAR = Confirmation(
    "clear",
    "Fingers, sleeves and leads are clear of lever, belt and coupling: the motor moves them by itself and pinches. Its"
    " switch S3 is within reach.",
    each_time=True,
)
SYSTEM_24 = (
    Confirmation(  # asked where the battery's volts alone decide nothing; as an option it is --system 24
        "system-24",
        "The vehicle has a 24 V system, as its plate or its two batteries in series show.",
        either=True,
    )
)
TURNING = Confirmation(  # of `aim`, before the sensor is turned
    "turning",
    "The lever is back at closed throttle, and the cautions about turning above are read and followed.",
)
ALL = (CAUTIONS, PLUG_OFF, LAPTOP, USB_FIRST, SECURED, IDLE, TURNING, CLEAR)


def cautions_for(setting: str, hookup: str) -> tuple[str, ...]:
    """Return the cautions to show for this place and hookup."""
    wiring = TAPPED_CAUTIONS if str(hookup) == Hookup.TAPPED else POWERED_CAUTIONS
    if str(setting) == Setting.VEHICLE:
        return (*VEHICLE_CAUTIONS, *wiring)
    return wiring if str(hookup) == Hookup.TAPPED else ()


def confirmations_for(setting: str, hookup: str) -> tuple[Confirmation, ...]:
    """Return what must be confirmed for this place and hookup."""
    first = (CAUTIONS,) if str(setting) == Setting.VEHICLE else ()
    return (*first, LAPTOP, USB_FIRST) if str(hookup) == Hookup.TAPPED else (*first, PLUG_OFF)


class Ask(Protocol):
    """How a step asks and informs the operator. Nothing in bench knows of a terminal."""

    def confirm(self, item: Confirmation) -> bool:
        """Return whether the operator confirms."""

    def say(self, text: str) -> None:
        """Show one plain line."""


@dataclass
class Unattended:
    """No operator to ask: only what was confirmed beforehand counts. Keeps the lines that it is given."""

    confirmed: tuple[str, ...] = ()
    said: list[str] = field(default_factory=list)

    def confirm(self, item: Confirmation) -> bool:
        """Return whether it was confirmed beforehand."""
        return item.key in keys_of(self.confirmed)

    def say(self, text: str) -> None:
        """Keep the line."""
        self.said.append(text)


def check_keys(keys: Iterable[str]) -> tuple[str, ...]:
    """Return the keys given with --confirm. Raises InputError for an unknown one."""
    known = tuple(item.key for item in ALL)
    out = tuple(part.strip() for key in keys for part in key.split(",") if part.strip())
    for key in out:
        if key not in known:
            raise InputError(
                "This confirmation is not known.",
                seen=key,
                limit=", ".join(known),
                next_step="correct --confirm",
            )
    return out


def refused(item: Confirmation) -> SafetyError:
    """Return the error for a confirmation that was not given."""
    return SafetyError(
        f"Not confirmed yet: {item.text}",
        seen="no confirmation",
        limit=(
            "a confirmation each time the motor turns"
            if item.key == CLEAR.key
            else "a confirmation after each move of the plug"
        )
        if item.each_time
        else f"a confirmation for this job, at most {HOLDS.total_seconds() / 3600:.0f} hours old",
        next_step=f"do this, then confirm when asked, or add --confirm {item.key}",
    )


# --- what a job has confirmed

HOLDS = timedelta(hours=12)  # of a confirmation: a working day


def _slug(job: str) -> str:
    return re.sub(r"[^A-Za-z0-9]+", "-", job).strip("-").lower() or "job"


def _digest(job: str) -> str:
    import hashlib

    return hashlib.sha256(job.encode()).hexdigest()[:8]


@dataclass(frozen=True)
class JobBook:
    """What each job has confirmed, one small file per job. Nothing is stored for work without a job."""

    folder: Path

    def _file(self, job: str) -> Path:
        return self.folder / f"{_slug(job)}-{_digest(job)}.json"

    def confirmed(self, job: str) -> dict[str, str]:
        """Return what `job` has confirmed, key to time; a damaged file counts as empty."""
        if not job:
            return {}
        try:
            data = json.loads(read_text(self._file(job), most=MOST_BOOK))
            return {str(k): str(v) for k, v in data["confirmed"].items()}
        except (OSError, ValueError, KeyError, AttributeError, TypeError, RecursionError):
            return {}

    def in_force(self, job: str, when: datetime) -> dict[str, str]:
        """Return what `job` has confirmed, key to time, without old confirmations and those dated in the future."""
        return {key: text for key, text in self.confirmed(job).items() if _holds(text, when)}

    def note(self, job: str, keys: Iterable[str], *, when: datetime) -> None:
        """Store that `job` has confirmed `keys`."""
        new = {key: when.isoformat(timespec="seconds") for key in keys}
        if not job or not new:
            return
        data = {"job": job, "confirmed": {**self.confirmed(job), **new}}
        step = "correct this folder's permissions; until then each sweep asks again"
        write_atomically(
            self._file(job), json.dumps(data, indent=2, ensure_ascii=False).encode(), next_step=step
        )


def _holds(text: str, when: datetime) -> bool:
    try:
        return timedelta(0) <= when - datetime.fromisoformat(text) <= HOLDS
    except (ValueError, TypeError):  # no time, or one without an offset
        return False


def confirm_all(
    items: Iterable[Confirmation], *, job: str, book: JobBook | None, ask: Ask, when: datetime
) -> tuple[str, ...]:
    """Ask for what `job` has not confirmed yet; return all confirmations, as they are kept with a capture.

    Raises SafetyError for the first that is refused; those given before are stored even then.
    """
    known = book.in_force(job, when) if book is not None else {}
    given: list[str] = []
    try:
        for item in items:
            if item.key in known and not item.each_time:
                ask.say(f"Confirmed for this job on {known[item.key]}: {item.text}")
            elif not ask.confirm(item):
                raise refused(item)
            else:
                ask.say(f"Confirmed: {item.text}")
                given += [] if item.each_time else [item.key]
    finally:
        if book is not None:
            book.note(job, given, when=when)
    return tuple(item.line for item in items)
