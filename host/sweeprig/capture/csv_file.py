"""A trace from a CSV of any source. See docs/reference/csv.md.

RFC 4180 with what spreadsheets make of it: a byte-order mark, semicolons or tabs, decimal commas.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from sweeprig.capture.csv_checks import (
    EXTREMES,
    bad_rows,
    check_extremes,
    check_length,
    check_supply,
    check_time,
    top_of_range,
)
from sweeprig.capture.model import Channel, FloatArray, Trace
from sweeprig.capture.regular import TooLongError, read_regular
from sweeprig.capture.resolution import resolution
from sweeprig.errors import CsvError

NEEDED = ("time_s", "signal_v")
TIMES = {"time_s": 1.0, "time_ms": 1e-3, "time_us": 1e-6}  # columns of time, and their units [s]
OPTIONAL = ("supply_v", "signal_b_v", "angle_deg")
_EXTREME_NAMES = tuple(name for pair in EXTREMES.values() for name in pair)
_KNOWN = (*TIMES, "signal_v", *OPTIONAL, *_EXTREME_NAMES)
_NUMBER = re.compile(r"[+-]?(\d+([.]\d*)?|[.]\d+)([eE][+-]?\d+)?")
_PLAIN = re.compile(r"[-+.,eE0-9]+\n?")  # a line of a table that nothing has to be taken out of
_MANY_ROWS = 1000  # from which on a table is read in one go
MOST_BYTES = 200 << 20  # of a file: ten hours at a hundred rows a second and two columns have a quarter of it
_MOST_SIZE = {name: 1e11 / unit_s for name, unit_s in TIMES.items()}  # three thousand years
_CLOCK_S = 1e8  # a time that begins later counts from 1970 or so, not from the beginning of the recording
_MOST_V = 100.0  # [V] that a sensor's recording holds: more is in millivolts
_MOST_VALUE = 1e6  # degrees
_EVEN_WITHIN = 0.25  # of the median step: how far steps may scatter for the sampling to be called even
_GAP_FROM = 1.5  # median steps: a longer one, in even sampling, has samples missing


@dataclass(frozen=True)
class _Sheet:
    """The text of a file, cut into rows."""

    where: str
    columns: dict[str, int]  # where each column that we read stands
    n_columns: int
    rows: Iterator[tuple[int, list[str]]]  # line number and cells
    decimal_comma: bool
    body: Sequence[str]  # the lines behind the header
    body_at: int  # number of the first of them


def read_csv(path: Path, *, time_unit: str | None = None) -> Trace:
    """Return the trace in a CSV with the header `time_s,signal_v` and any of `supply_v,signal_b_v,angle_deg`.

    Seconds, volts, degrees; one row a sample, time strictly rising. A cell that is no number makes the row
    bad: nothing is guessed or left out. `time_unit` (s, ms, us) is that of the time whatever its column is called;
    None: as the column says. Raises CsvError, which names the lines.
    """
    sheet = _open(path)
    numbers, lines = _at_once(sheet) or _numbers(sheet)
    if len(lines) < 2:
        raise CsvError(
            f"{path} has too few rows.",
            seen=f"{len(lines)} rows of numbers",
            limit="2 at least",
            next_step="export the whole recording",
        )
    values = dict(zip(sheet.columns, np.array(numbers, np.float64).T, strict=True))
    column = next(name for name in TIMES if name in values)
    check_time(values[column], lines, sheet.where, column)
    values["time_s"] = values.pop(column) * TIMES[column if time_unit is None else f"time_{time_unit}"]
    if values["time_s"][0] > _CLOCK_S:
        values["time_s"] = values["time_s"] - values["time_s"][0]
    check_length(values["time_s"], lines, sheet.where)
    check_extremes(values, lines, sheet.where)
    check_supply(values, sheet.where)
    return _trace(values, path)


# --- text to rows


def _open(path: Path) -> _Sheet:
    text = _text(path)
    lines = io.StringIO(text, newline=None).readlines()
    start = next((i for i, line in enumerate(lines) if line.strip() and not _is_hint(line)), None)
    if start is None:
        raise CsvError(f"{path} is empty.", next_step="export the recording again")
    delimiter = next((mark for mark in (";", "\t") if mark in lines[start]), ",")
    reader = csv.reader(lines[start:], delimiter=delimiter, skipinitialspace=True, strict=True)
    try:
        header = [cell.strip().lower() for cell in next(reader)]
    except csv.Error as exc:
        raise CsvError(
            f"{path} has no usable header.",
            seen=f"line {start + 1}: {exc}",
            limit="time_s,signal_v and, if there are any, " + ",".join(OPTIONAL),
            next_step="write these column names in the first line, and close every quotation mark",
        ) from exc
    at = start + reader.line_num
    rows = ((start + reader.line_num, cells) for cells in reader)
    return _Sheet(str(path), _columns(header, path), len(header), rows, delimiter != ",", lines[at:], at + 1)


def _is_hint(line: str) -> bool:
    """Return whether a line is the `sep=;` that a spreadsheet puts first."""
    return re.fullmatch(r'"?sep=.?"?', line.strip()) is not None


def _text(path: Path) -> str:
    try:
        data = read_regular(path, most=MOST_BYTES)
    except TooLongError as exc:
        raise CsvError(
            f"{path} is too long.",
            seen=f"{exc.size} bytes",
            limit=f"{MOST_BYTES} bytes",
            next_step="export a shorter part, or fewer rows a second",
        ) from exc
    except (OSError, ValueError) as exc:
        raise CsvError(f"{path} cannot be read.", seen=str(exc), next_step="check the name") from exc
    encoding = "utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as exc:
        raise CsvError(
            f"{path} is not a text file.",
            seen=f"byte 0x{data[min(exc.start, len(data) - 1)]:02x} at {exc.start}",
            limit="UTF-8",
            next_step="save it as CSV (UTF-8); a capture has the ending .sweep",
        ) from exc
    if "\0" in text:
        raise CsvError(f"{path} is not a text file.", seen="zero bytes", next_step="save it as CSV (UTF-8)")
    return text


def _missing(header: Sequence[str]) -> list[str]:
    """Return the columns that are needed, or that one alone of a pair needs, and are not there."""
    pairs = [pair for low, high in EXTREMES.values() for pair in ((low, high), (high, low))]
    without = [other for name, other in pairs if name in header and other not in header]
    timed = any(name in header for name in TIMES)
    return [name for name in NEEDED if name not in header and not (timed and name in TIMES)] + without


def _columns(header: Sequence[str], path: Path) -> dict[str, int]:
    missing = _missing(header)
    twice = [name for name in _KNOWN if header.count(name) > 1]
    twice += [name for name in TIMES if name in header][1:]
    if missing or twice:
        raise CsvError(
            f"{path} has no usable header: "
            + (f"{', '.join(missing)} is missing." if missing else f"{', '.join(twice)} is given twice."),
            seen=",".join(header)[:120],
            limit="time_s (or time_ms, time_us), signal_v and, if there are any, " + ",".join(OPTIONAL),
            next_step="write these column names in the first line",
        )
    return {name: header.index(name) for name in _KNOWN if name in header}


# --- rows to numbers


def _at_once(sheet: _Sheet) -> tuple[FloatArray, Sequence[int]] | None:
    """Return the numbers of a long plain table, (n, columns), and its line numbers; None where a row needs a look."""
    if sheet.decimal_comma or len(sheet.columns) != sheet.n_columns or len(sheet.body) < _MANY_ROWS:
        return None
    if not all(_PLAIN.fullmatch(line) for line in sheet.body):
        return None
    try:
        found = np.loadtxt(sheet.body, delimiter=",", comments=None, ndmin=2)
    except ValueError:
        return None
    most = [_most(name) for name in sheet.columns]
    values = (
        found[:, list(sheet.columns.values())]
        if found.shape[1] == sheet.n_columns
        else np.full((1, 1), np.nan)
    )
    if len(values) != len(sheet.body) or not (np.abs(values) <= most).all():
        return None
    return values, range(sheet.body_at, sheet.body_at + len(values))


def _numbers(sheet: _Sheet) -> tuple[list[list[float]], list[int]]:
    """Return the numbers of all rows and their line numbers, or raise for the bad ones."""
    numbers: list[list[float]] = []
    lines: list[int] = []
    bad: list[str] = []
    try:
        for line, cells in sheet.rows:
            if not any(cell.strip() for cell in cells):
                continue
            row = _row(cells, sheet)
            if isinstance(row, str):
                bad.append(f"line {line}: {row}")
            else:
                numbers.append(row)
                lines.append(line)
    except csv.Error as exc:
        bad.append(f"line {lines[-1] + 1 if lines else 2}: {exc}")
    if bad:
        raise bad_rows(sheet.where, bad)
    return numbers, lines


def _row(cells: Sequence[str], sheet: _Sheet) -> list[float] | str:
    """Return the numbers of one row in the order of the columns, or what is wrong with it."""
    too_few = len(cells) <= max(sheet.columns.values())
    if too_few or any(cell.strip() for cell in cells[sheet.n_columns :]):
        return f"{len(cells)} cells, the header has {sheet.n_columns}"
    values = []
    for name, at in sheet.columns.items():
        value = _value(name, cells[at].strip(), decimal_comma=sheet.decimal_comma)
        if isinstance(value, str):
            return value
        values.append(value)
    return values


def _most(name: str) -> float:
    """Return the largest size of a column's values."""
    return _MOST_V if name.endswith("_v") else _MOST_SIZE.get(name, _MOST_VALUE)


def _value(name: str, text: str, *, decimal_comma: bool) -> float | str:
    plain = text.replace(",", ".") if decimal_comma else text
    value = float(plain) if _NUMBER.fullmatch(plain) else math.nan
    if not math.isfinite(value):
        return f"{name} is {text[:30]!r}" if text else f"{name} is empty"
    if abs(value) > (most := _most(name)):
        volts = " V: are these millivolts?" if name.endswith("_v") else ""
        return f"{name} is {value:g}, beyond {most:g}{volts}"
    return value


# --- numbers to a trace


def _trace(values: Mapping[str, FloatArray], path: Path) -> Trace:
    t_s = values["time_s"]
    steps = np.diff(t_s)
    step = float(np.median(steps))
    even = float(np.mean(np.abs(steps - step) <= _EVEN_WITHIN * step)) >= 0.9
    gap_before = np.concatenate(([False], even & (steps > _GAP_FROM * step)))
    n_lost = int(np.round(steps[gap_before[1:]] / step - 1).sum())
    top_v = top_of_range(values["supply_v"], values["signal_v"]) if "supply_v" in values else None
    return Trace(
        t_s=t_s,
        signal_a=_channel(values, "signal_v"),
        signal_b=_channel(values, "signal_b_v") if "signal_b_v" in values else None,
        supply=_channel(values, "supply_v") if "supply_v" in values and top_v is None else None,
        supply_top_v=top_v,
        window_s=step,
        n_per_window=2 if "signal_min_v" in values else 1,  # at least two made a lowest and a highest
        lsb_v=max(resolution(values[name]) for name in _same_steps(values)),
        full_scale_v=math.inf,
        gap_before=gap_before,
        angle_deg=np.unwrap(values["angle_deg"], period=360.0) if "angle_deg" in values else None,
        n_lost=n_lost,
        source="csv",
        name=path.name,
    )


def _same_steps(values: Mapping[str, FloatArray]) -> tuple[str, ...]:
    """Columns that have the resolution of the signal: extremes are readings, where the signal may be their mean."""
    return ("signal_v", *EXTREMES["signal_v"]) if EXTREMES["signal_v"][0] in values else ("signal_v",)


def _channel(values: Mapping[str, FloatArray], name: str) -> Channel:
    low, high = EXTREMES[name]
    volts = values[name]
    return Channel(mean_v=volts, min_v=values.get(low, volts), max_v=values.get(high, volts))
