"""The trace in files that other programs read: CSV (RFC 4180) and ASAM MDF 4.10. See docs/reference/exports.md."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sweeprig.capture.atomic import fill_atomically
from sweeprig.capture.model import Channel, Trace
from sweeprig.errors import ExportError
from sweeprig.judge.outcome import Outcome
from sweeprig.report.figures import one_line
from sweeprig.report.own_files import check_place

DECIMALS = {"s": 9, "V": 7, "deg": 4, "1": 0}  # of a cell in a CSV: far below what any rig resolves
COMMENTS = {"": "mean of a window", "_min": "lowest single conversion", "_max": "highest single conversion"}


@dataclass(frozen=True)
class Column:
    """One column of a table."""

    name: str  # with the unit at its end
    unit: str
    values: NDArray[Any]  # (n,)
    comment: str


def _of_channel(name: str, channel: Channel | None, windowed: bool) -> list[Column]:
    if channel is None:
        return []
    parts = {"": channel.mean_v, "_min": channel.min_v, "_max": channel.max_v}
    kept = parts if windowed else {"": channel.mean_v}
    return [
        Column(f"{name}{k}_v", "V", v, f"{name.replace('_', ' ')}, {COMMENTS[k]}") for k, v in kept.items()
    ]


def columns_of(trace: Trace) -> list[Column]:
    """Return the columns of a trace, all of shape (n,), volts at the sensor.

    The names are those that `read_csv` knows; minima and maxima only where a value stands for a window of several
    conversions. `missing_before` is 1 where records are missing before this one.
    """
    windowed = trace.n_per_window > 1
    found = [Column("time_s", "s", trace.t_s, "start of the window")]
    found += _of_channel("signal", trace.signal_a, windowed)
    found += _of_channel("supply", trace.supply, windowed)
    found += _of_channel("signal_b", trace.signal_b, windowed)
    if trace.angle_deg is not None:
        found.append(Column("angle_deg", "deg", trace.angle_deg, "angle of the lever"))
    if trace.ground_v is not None:
        found.append(Column("ground_v", "V", trace.ground_v, "sensor ground against rig ground"))
    missing = trace.gap_before.astype(np.uint8)
    found.append(Column("missing_before", "1", missing, "records are missing before this one"))
    return found


def csv_text(trace: Trace) -> str:
    """Return the trace as CSV by RFC 4180: a header line, commas, CRLF. What is not finite is an empty cell."""
    columns = columns_of(trace)
    texts = [
        ["" if not np.isfinite(v) else f"{v:.{DECIMALS[c.unit]}f}" for v in c.values.tolist()]
        for c in columns
    ]
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([c.name for c in columns])
    writer.writerows(zip(*texts, strict=True))
    return out.getvalue()


def write_csv(outcome: Outcome, path: Path) -> None:
    """Write the trace as CSV. Raises ExportError where the file cannot be written."""
    data = csv_text(outcome.trace).encode("utf-8")
    into(path, lambda part: part.write_bytes(data))


def write_mdf(outcome: Outcome, path: Path) -> None:
    """Write the trace as ASAM MDF 4.10, values as they are (float64), bit by bit.

    Raises ExportError where asammdf (extra `mdf`) is missing or the file cannot be written.
    """
    try:
        from asammdf import MDF, Signal
    except ImportError as exc:
        raise ExportError(
            "The MDF library is not installed.", seen=str(exc), next_step="pip install 'sweeprig[mdf]'"
        ) from exc
    time, *others = columns_of(outcome.trace)
    signals = [Signal(c.values, time.values, unit=c.unit, name=c.name, comment=c.comment) for c in others]
    with MDF(version="4.10") as mdf:
        mdf.append(signals, comment=one_line(f"sweeprig {outcome.trace.name}", 200), common_timebase=True)
        mdf.header.comment = _heading(outcome)
        _date(mdf, outcome)
        into(path, lambda part: mdf.save(part, overwrite=True))


def _heading(outcome: Outcome) -> str:
    s, capture = outcome.setup, outcome.capture
    parts = [f"verdict {outcome.judgement.verdict}: {outcome.judgement.reason}"]
    parts += [
        f"{name} {text}"
        for name, text in (
            ("job", s.job),
            ("label", s.sensor_label),
            ("serial", s.serial),
            ("capture sha256", capture.sha256 if capture else ""),
        )
        if text
    ]
    return one_line("; ".join(parts), 2000)


def _date(mdf: Any, outcome: Outcome) -> None:
    """Set the start time of the measurement; with a date that cannot be read the library's default stays."""
    try:
        mdf.header.start_time = datetime.fromisoformat(
            outcome.capture.created if outcome.capture else outcome.made_at
        )
    except ValueError:
        return


def into(path: Path, write: Callable[[Path], object]) -> None:
    """Let `write` fill a file next to `path`, then rename it to `path`. Raises ExportError."""
    check_place(path)
    step = "name another folder, or free some disk space"
    fill_atomically(path, write, next_step=step, error=ExportError)
