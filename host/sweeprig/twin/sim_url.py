"""What a `sim://SENSOR?key=value` URL asks for."""

from __future__ import annotations

import difflib
from collections.abc import Callable
from dataclasses import dataclass
from urllib.parse import parse_qsl, unquote, urlsplit

from sweeprig.errors import InputError

BENCH_VOLTAGE = "bench-voltage"  # no sensor: an adjustable voltage on all leads, for a calibration
BENCH_VOLTS = (
    0.2,
    1.35,
    2.5,
    3.65,
    4.8,
)  # [V] that it gives where the URL names none: what a calibration asks for
STROKE_S = 1.5  # [s] of one stroke from stop to stop, as a sweep asks for
STROKE_RANGE_S = (0.1, 60.0)  # from a lever let go to a creep; own choice, no source
MOST_V = 5.5  # on the leads: tapped_normal_v of frontend/parts.toml


BUILDS, CHIPS = ("full", "plain", "driven"), ("rp2040", "rp2350")


@dataclass(frozen=True)
class SimOptions:
    """A simulated rig."""

    sensor: str
    seed: int = 0
    pace: str = "real"  # real | fast: windows when they are due, or as soon as they are read
    vm: str = "auto"  # auto | micropython | cpython: what runs the firmware
    board: str = "full"  # plain | full | driven: the build of the rig
    chip: str = "rp2040"  # rp2040 | rp2350
    hand: str = "strokes"  # strokes | still | open: the sensor's own hand, or none, at closed or at open
    turn: float = 0.0  # [deg] that the sensor is turned on its mount, opening direction positive
    unplug_after: float = 0.0  # [s] of streaming after which the board goes away; 0: never
    jumper: str = "lead"  # lead | ramp: what the jumper J1 joins to the converter of signal A
    converter: str = ""  # CSV of a measured converter, see converter_table.py; "": one is drawn
    system: float = 12.0  # [V] of the vehicle's supply: 12 or 24
    kept: str = ""  # file that stands in for the board's flash; "": the board keeps nothing
    press: tuple[float, ...] = ()  # [s] of streaming at which somebody presses the rig's button
    engine: float = (
        0.0  # [s] of streaming after which a vehicle's engine runs and charges the battery; 0: never
    )
    stroke: float = STROKE_S  # [s] of a stroke that a key makes in a rehearsal
    motor: str = "good"  # good | reversed | stuck: of a driven build
    slack: float = 0.5  # [deg] of play between the motor and the lever's shaft
    zero: int = 400  # counts of the angle encoder at the closed stop
    magnet: bool = True  # False: the encoder finds no magnet
    home: str = "good"  # good | open | never: the home switch, its cable off, or a switch that is not reached
    rehearse: bool = False  # prompts as with a real rig, and keys move the lever and turn the sensor
    volts: tuple[
        float, ...
    ] = ()  # of a bench voltage [V]: one start of sampling after another, the last one stays


def _one_of(*words: str) -> Callable[[str], str]:
    def check(text: str) -> str:
        if text not in words:
            raise ValueError(f"one of {', '.join(words)}")
        return text

    return check


def _yes(text: str) -> bool:
    if text not in ("yes", "no"):
        raise ValueError("yes or no")
    return text == "yes"


def _whole(text: str) -> int:
    try:
        return int(text)
    except ValueError:
        raise ValueError("a whole number") from None


def _seed(text: str) -> int:
    value = _whole(text)
    if not 0 <= value < 2**63:
        raise ValueError("a whole number from 0")
    return value


def _seconds(text: str) -> float:
    value = _decimal(text)
    if value < 0:
        raise ValueError("0 or more seconds")
    return value


def _stroke(text: str) -> float:
    low, high = STROKE_RANGE_S
    value = _decimal(text)
    if not low <= value <= high:
        raise ValueError(f"{low:g} to {high:g} seconds")
    return value


def _decimal(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        raise ValueError("a number") from None
    if not abs(value) < 1e6:
        raise ValueError("a number of usual size")
    return value


def _volts(text: str) -> tuple[float, ...]:
    volts = tuple(_decimal(part) for part in text.split(","))
    if not all(0 <= v <= MOST_V for v in volts):
        raise ValueError(f"voltages of 0 to {MOST_V:g} V, comma between")
    return volts


def _file_name(text: str) -> str:
    if not text:
        raise ValueError("the name of a CSV")
    return text


def _counts(text: str) -> int:
    value = _whole(text)
    if not 0 <= value < 4096:
        raise ValueError("0 to 4095 counts")
    return value


def _slack(text: str) -> float:
    value = _decimal(text)
    if not 0 <= value <= 20:
        raise ValueError("0 to 20 degrees")
    return value


def _times(text: str) -> tuple[float, ...]:
    return tuple(_seconds(part) for part in text.split(","))


def _system(text: str) -> float:
    if text not in ("12", "24"):
        raise ValueError("12 or 24")
    return float(text)


_KEYS: dict[str, Callable[[str], object]] = {
    "seed": _seed,
    "pace": _one_of("real", "fast"),
    "vm": _one_of("auto", "micropython", "cpython"),
    "board": _one_of(*BUILDS),
    "chip": _one_of(*CHIPS),
    "hand": _one_of("strokes", "still", "open"),
    "jumper": _one_of("lead", "ramp"),
    "converter": _file_name,
    "turn": _decimal,
    "unplug_after": _seconds,
    "kept": str,
    "press": _times,
    "engine": _seconds,
    "system": _system,
    "stroke": _stroke,
    "motor": _one_of("good", "reversed", "stuck"),
    "slack": _slack,
    "zero": _counts,
    "magnet": _yes,
    "home": _one_of("good", "open", "never"),
    "rehearse": _yes,
    "volts": _volts,
}


def uid_of(board: str, chip: str, seed: int) -> str:
    """Return the serial number of a simulated rig: another build or chip is another rig, with books of its own."""
    kind = BUILDS.index(board) + 16 * CHIPS.index(chip)
    return f"51{kind:02x}{seed & 0xFFFFFFFFFFFF:012x}"


def parse(url: str) -> SimOptions:
    """Return what the URL asks for. Raises InputError that names the key and what fits."""
    try:
        parts = urlsplit(url)
    except ValueError as exc:
        raise _wrong(url, str(exc), "sim://SENSOR?key=value&key=value", "correct it") from None
    sensor = unquote(parts.netloc or parts.path.strip("/"))
    values: dict[str, object] = {}
    for key, text in parse_qsl(parts.query, keep_blank_values=True):
        if key not in _KEYS:
            near = difflib.get_close_matches(key, _KEYS, n=1, cutoff=0.7)
            raise _wrong(url, f"{key}={text}", ", ".join(_KEYS), f"did you mean {near[0]}?" if near else "")
        try:
            values[key] = _KEYS[key](text)
        except ValueError as exc:
            raise _wrong(url, f"{key}={text}", f"{key}: {exc}", "correct it") from None
    if "volts" in values and sensor != BENCH_VOLTAGE:
        raise _wrong(
            url,
            f"volts of {sensor or 'good'}",
            f"volts only of {BENCH_VOLTAGE}",
            f"sim://{BENCH_VOLTAGE}?volts=...",
        )
    return SimOptions(sensor or "good", **values)  # type: ignore[arg-type]


def _wrong(url: str, seen: str, limit: str, step: str) -> InputError:
    return InputError(
        f"The address {url} of a simulated rig is not valid.",
        seen=seen,
        limit=limit,
        next_step=step or "remove it",
    )
