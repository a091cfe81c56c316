"""A measured transfer table as a converter. Its format: docs/reference/twins.md."""

from __future__ import annotations

import csv
import math
import re
from pathlib import Path

import numpy as np

from sweeprig.capture.regular import read_text
from sweeprig.errors import InputError
from sweeprig.twin.converter import CODES, Converter, converter_of

HEADING = ["code", "input_v"]
MOST_BYTES = 4 << 20  # of a table: a row has some 20
VREF_V = 3.3  # where the table names none
LEAST_SHARE = 0.8  # of the codes, between the first and the last row


def read_converter(file: Path, *, noise_lsb: float) -> Converter:
    """Return the converter of a table. Raises InputError that names the file, the line and what belongs there."""
    try:
        lines = read_text(file, most=MOST_BYTES).splitlines()
    except (OSError, UnicodeDecodeError) as exc:
        raise _wrong(file, str(exc), "a CSV that can be read") from None
    vref_v, rows = _reference(file, lines), _rows(file, lines)
    code, volts = np.array(rows).T
    if np.ptp(code) < LEAST_SHARE * CODES:
        raise _wrong(
            file, f"codes {code[0]:.0f} to {code[-1]:.0f}", f"{100 * LEAST_SHARE:.0f} % of {CODES} codes"
        )
    input_lsb, whole = volts / vref_v * CODES, np.arange(1.0, CODES)
    levels = (
        np.interp(whole, code, input_lsb)
        + np.minimum(whole - code[0], 0.0)
        + np.maximum(whole - code[-1], 0.0)
    )
    return converter_of(levels, noise_lsb)


def _reference(file: Path, lines: list[str]) -> float:
    found = re.search(r"^#\s*vref_v\s*=\s*(\S+)", "\n".join(lines), re.MULTILINE)
    value = VREF_V if found is None else _number(found[1])
    if not 1.0 <= value <= 6.0:
        raise _wrong(file, f"vref_v = {found[1] if found else value}", "vref_v of 1 to 6 V")
    return value


def _rows(file: Path, lines: list[str]) -> list[tuple[float, float]]:
    kept = [(n, line) for n, line in enumerate(lines, 1) if line.partition("#")[0].strip()]
    heading = kept[0][1] if kept else "nothing"
    if next(csv.reader([heading])) != HEADING:
        raise _wrong(file, repr(heading[:40]), f"the heading {','.join(HEADING)}")
    rows = [(0.0, -math.inf)]
    for number, line in kept[1:]:
        pair = [_number(text) for text in next(csv.reader([line]))]
        if len(pair) != 2 or not _follows(pair, rows[-1]):
            raise _wrong(
                file, f"line {number}: {line[:40]!r}", "a code above the one before and volts not below its"
            )
        rows.append((pair[0], pair[1]))
    return rows[1:] or [(0.0, 0.0)]


def _follows(pair: list[float], last: tuple[float, float]) -> bool:
    return last[0] < pair[0] < CODES and last[1] <= pair[1] < math.inf


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return math.nan


def _wrong(file: Path, seen: str, limit: str) -> InputError:
    return InputError(
        f"{file} is not a converter table.", seen=seen, limit=limit, next_step="see docs/reference/twins.md"
    )
