"""Points of a calibration: the rig's readings with a known voltage on all its leads; also written to files and read."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from sweepboard import wire
from sweeprig.bench.hookup.engine_watch import EngineWatch
from sweeprig.bench.readings.engine import EngineSeen
from sweeprig.bench.readings.live import collect, has, streaming
from sweeprig.calibration.model import Meter
from sweeprig.capture.atomic import write_atomically
from sweeprig.capture.regular import MOST_BOOK, read_text
from sweeprig.errors import CalibrationError, InputError
from sweeprig.frontend import front_end_of
from sweeprig.link.client import RigClient
from sweeprig.link.messages import Records, SlowReading
from sweeprig.words import Hookup

if TYPE_CHECKING:
    from numpy.typing import NDArray

LOOK_S = 1.0  # of one point
SLOW_EVERY_MS = 50
STEADY_LSB = 1.0  # by which the first and second half of a point may differ
MOST_TRIES = 3  # of one point; own choice
COLUMNS = ("reading_v", "code_a", "code_b", "code_supply")
OPTIONAL = ("node_v", "u_code_a", "u_code_b", "u_code_supply", "noise_a", "noise_b", "noise_supply")
RANGE_V = (0.2, 4.8)
_METER = re.compile(r"\s*([0-9]*[.,]?[0-9]+)\s*%\s*(?:\+\s*([0-9]*[.,]?[0-9]+)\s*)?$")


@dataclass(frozen=True)
class Measured:
    """One point. Three channels each: signal A, signal B, supply."""

    codes: tuple[float, ...]  # mean of all conversions
    u_codes: tuple[float, ...]  # standard uncertainty of that mean [LSB]
    noise: tuple[float, ...]  # standard deviation of single conversions [LSB]
    moved: tuple[float, ...]  # second half less first half [LSB]
    node_v: float | None = None  # [V] at the monitor's input, where it is fitted
    temperature_c: float | None = None
    reading_v: float | None = None  # [V] by the meter; None until it is known

    @property
    def steady(self) -> bool:
        """Whether the voltage was steady."""
        return max(abs(m) for m in self.moved) <= STEADY_LSB


def parse_meter(
    text: str, *, count_v: float, range_v: float, name: str = "", serial: str = "", certificate: str = ""
) -> Meter:
    """Return a meter from its accuracy as on its data sheet, "0.05%+3" (counts may be left out).

    Raises InputError.
    """
    found = _METER.match(text)
    if found is None:
        raise InputError(
            "The meter's accuracy is not valid.", seen=repr(text),
            limit="per cent of reading + counts, for example 0.05%+3",
            next_step="write it with the per cent sign, as on the meter's data sheet for the range used",
        )  # fmt: skip
    percent, counts = (float((part or "0").replace(",", ".")) for part in found.groups())
    if not (0 <= percent <= 10 and 0 <= counts <= 1000 and 0 < count_v <= 0.1):
        raise InputError(
            "The meter's accuracy is out of range.",
            seen=f"{percent:g} % + {counts:g} counts of {count_v:g} V",
            limit="up to 10 %, 1000 counts of at most 0.1 V", next_step="check --meter and --count",
        )  # fmt: skip
    return Meter(name, serial, certificate, percent, counts, count_v, range_v)


def parse_reading(text: str, *, range_v: float) -> float:
    """Return a typed reading [V]; a comma is a point, a unit may follow. Raises InputError."""
    cleaned = re.sub(r"\s*(mV|V)\s*$", "", text.strip()).replace(",", ".")
    scale = 1e-3 if text.strip().endswith("mV") else 1.0
    try:
        value = float(cleaned) * scale
        if math.isnan(value):
            raise ValueError
    except ValueError:
        raise InputError(
            "This is not a voltage.",
            seen=repr(text) if text else "nothing",
            limit="a number, as 2.5012",
            next_step="type it again",
        ) from None
    if not 0 <= value <= range_v:
        raise InputError(
            "The reading is outside the meter's range.", seen=f"{value:g} V", limit=f"0 to {range_v:g} V",
            next_step="check the decimal point, or give the range with --range",
        )  # fmt: skip
    return value


def moving_error(point: Measured) -> InputError:
    """Return the error for a point whose voltage moved at every try."""
    return InputError(
        "The voltage is not steady.",
        seen=f"{max(map(abs, point.moved)):.1f} codes, {MOST_TRIES} times",
        limit=f"{STEADY_LSB:g} code between the halves of {LOOK_S:g} s",
        next_step="put a steady voltage on the leads, no sensor; simulated: --port sim://bench-voltage",
    )


def wanted_volts(n: int) -> list[float]:
    """Return n voltages over the rig's range [V], to set roughly."""
    return [round(float(v), 2) for v in np.linspace(*RANGE_V, n)]


def calibration_hookup(client: RigClient) -> Hookup:
    """Return the hookup for a calibration: tapped if the rig can, so that it puts no voltage on the source."""
    return Hookup.TAPPED if "tapped" in client.hello().get("hookups", ()) else Hookup.POWERED


def measure(client: RigClient, *, hookup: Hookup, seconds: float = LOOK_S) -> Measured:
    """Read one point from a rig whose supply is off. Raises LinkError, CalibrationError where nothing usable came."""
    rig = client.hello()
    with streaming(client, str(hookup)):
        if has(client, "supply-switch") and hookup == Hookup.POWERED:
            client.command("supply", on=False)
        slow_too = has(client, "monitor")
        if slow_too:
            client.command("slow", every_ms=SLOW_EVERY_MS)
        messages = collect(client, seconds=seconds)
        if slow_too:
            client.command("slow", every_ms=0)
    watch = EngineWatch(EngineSeen(front_end_of(rig), suspects=False))
    watch.feed(messages)
    watch.check()
    records = Records.concatenate([m for m in messages if isinstance(m, Records)])
    slow = [m for m in messages if isinstance(m, SlowReading) and m.status == 0]
    return measured(records, slow, window=int(rig["window"]))


def measured(records: Records, slow: Sequence[SlowReading], *, window: int) -> Measured:
    """Return one point from records (n, 3) and slow readings. CalibrationError: fewer than four usable."""
    records = records.usable()
    if len(records) < 4:
        raise CalibrationError(
            "The rig sends too few records for a point.", seen=str(len(records)), next_step="repeat it"
        )
    means = records.sums.astype(np.float64) / window
    half = len(records) // 2
    moved = means[half:].mean(axis=0) - means[:half].mean(axis=0)
    ranges = records.maxs.astype(np.float64) - records.mins
    noise = np.maximum(np.median(ranges, axis=0) / _range_of_noise(window), 0.3)
    u = np.maximum(means.std(axis=0, ddof=1) / np.sqrt(len(records)), np.abs(moved) / 2)
    return Measured(
        tuple(map(float, means.mean(axis=0))),
        tuple(map(float, u)),
        tuple(map(float, noise)),
        tuple(map(float, moved)),
        node_v=_mean_of(slow, wire.SLOW_SIGNAL_A, 1e-6),
        temperature_c=_mean_of(slow, wire.SLOW_TEMPERATURE, 1e-3),
    )


def _range_of_noise(window: int) -> float:
    from sweeprig.calibration.expected import mean_range

    return mean_range(window)


def _mean_of(slow: Sequence[SlowReading], quantity: int, scale: float) -> float | None:
    values = [s.value * scale for s in slow if s.quantity == quantity and s.status == 0]
    return float(np.mean(values)) if values else None


# --- points as files


def write_points(path: Path, points: Sequence[Measured]) -> Path:
    """Write points as CSV (RFC 4180), so that nothing typed is lost and a calibration can be made again from them."""
    file = io.StringIO()
    out = csv.writer(file)
    out.writerow((*COLUMNS, *OPTIONAL))
    for p in points:
        node = "" if p.node_v is None else f"{p.node_v:.7f}"
        reading = "" if p.reading_v is None else f"{p.reading_v:.6f}"
        rest = [f"{v:.4f}" for v in (*p.u_codes, *p.noise)]
        out.writerow([reading, *(f"{c:.4f}" for c in p.codes), node, *rest])
    step = "name another file; the existing file is unchanged"
    write_atomically(path, file.getvalue().encode(), next_step=step, error=CalibrationError)
    return path


def read_points(path: Path) -> list[Measured]:
    """Return the points in a CSV with the columns reading_v, code_a, code_b, code_supply and perhaps more.

    An empty code is a channel that was not connected. Raises CalibrationError with the line.
    """
    try:
        reader = csv.DictReader(io.StringIO(read_text(path, most=MOST_BOOK)))
        names, rows = list(reader.fieldnames or []), list(reader)
    except (OSError, UnicodeDecodeError, csv.Error) as exc:
        raise CalibrationError(
            f"The file of points {path} cannot be read.", seen=str(exc), next_step="check the file"
        ) from exc
    twice = [name for name in COLUMNS if names.count(name) > 1]
    if twice:
        raise CalibrationError(
            f"{path} has more than one column named {twice[0]}.", seen=", ".join(names)[:120],
            next_step="keep one of them",
        )  # fmt: skip
    if not rows or "reading_v" not in names or "code_a" not in names:
        raise CalibrationError(
            f"{path} has no points.", seen=", ".join(names)[:120] if rows else "no row", limit=", ".join(COLUMNS),
            next_step="write these column names in its first line",
        )  # fmt: skip
    return [_row(row, f"{path}, line {number}") for number, row in enumerate(rows, start=2)]


def _row(row: dict[str, str], where: str) -> Measured:
    def number(key: str, default: float) -> float:
        text = (row.get(key) or "").strip()
        if not text:
            return default
        try:
            return float(text)
        except ValueError:
            raise CalibrationError(
                f"{where}: {key} is not a number.", seen=text, next_step="correct it"
            ) from None

    ends = ("a", "b", "supply")
    reading, node = number("reading_v", np.nan), number("node_v", np.nan)
    if np.isnan(reading):
        raise CalibrationError(f"{where}: reading_v is empty.", next_step="write the meter's reading there")
    return Measured(
        tuple(number(f"code_{e}", np.nan) for e in ends),
        tuple(number(f"u_code_{e}", 0.05) for e in ends),
        tuple(number(f"noise_{e}", 0.9) for e in ends),
        (0.0, 0.0, 0.0),
        node_v=None if np.isnan(node) else node,
        reading_v=reading,
    )


def codes_of(points: Sequence[Measured]) -> NDArray[np.float64]:
    """Return the mean codes (n, 3); NaN where a channel was not connected."""
    return np.array([p.codes for p in points], np.float64)
