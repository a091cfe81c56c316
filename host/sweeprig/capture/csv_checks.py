"""What the numbers of a CSV may not be: refused with their lines."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from sweeprig.capture.model import FloatArray
from sweeprig.errors import CsvError

EXTREMES = {  # lowest and highest within a row's stretch of time, where the source has them: both or none
    "signal_v": ("signal_min_v", "signal_max_v"),
    "supply_v": ("supply_min_v", "supply_max_v"),
    "signal_b_v": ("signal_b_min_v", "signal_b_max_v"),
}
LONGEST_S = 1e9  # from the first row to the last: thirty years
MOSTLY = 0.5  # of the rows
FEWEST_LEVELS = 20  # of a signal, to know its steps
BITS = (8, 10, 12)  # of converters whose steps a table shows
ONE_CODE = 0.4  # of a step: so near to the highest code
_MOVES_V = 1.0  # [V] that a signal moves by, and stands above its supply, where that was not read
_MOST_NAMED = 5  # bad rows that a message names; it counts the others


def check_time(t: FloatArray, lines: Sequence[int], where: str, column: str) -> None:
    """Raise CsvError where the time, shape (n,), does not rise; `lines` of the file, (n,)."""
    bad = np.flatnonzero(np.diff(t) <= 0) + 1
    if bad.size:
        raise bad_rows(
            where, [f"line {lines[i]}: {column} goes from {t[i - 1]:g} to {t[i]:g}" for i in bad.tolist()]
        )


def check_length(t_s: FloatArray, lines: Sequence[int], where: str) -> None:
    """Raise CsvError for rows further from the first than any recording lasts; arrays (n,)."""
    far = np.flatnonzero(t_s - t_s[0] > LONGEST_S).tolist()
    if far:
        raise bad_rows(
            where, [f"line {lines[i]}: the time is {t_s[i] - t_s[0]:g} s after the first" for i in far]
        )


def check_extremes(values: Mapping[str, FloatArray], lines: Sequence[int], where: str) -> None:
    """Raise CsvError where a reading is not between its lowest and highest; arrays (n,)."""
    bad = []
    for name, (low, high) in EXTREMES.items():
        if name in values and low in values:
            outside = (values[low] > values[name]) | (values[name] > values[high])
            rows: list[int] = np.flatnonzero(outside).tolist()
            bad += [f"line {lines[i]}: {name} is not between {low} and {high}" for i in rows]
    if bad:
        raise bad_rows(where, bad)


def bad_rows(where: str, bad: Sequence[str]) -> CsvError:
    """Return the error that names the first bad rows and counts the others."""
    more = f"; and {len(bad) - _MOST_NAMED} more" if len(bad) > _MOST_NAMED else ""
    return CsvError(
        f"{where} has {len(bad)} bad row{'s' if len(bad) > 1 else ''}.",
        seen="; ".join(bad[:_MOST_NAMED]) + more,
        limit="a number in each column, time rising from row to row",
        next_step="correct or remove these lines; no row is skipped",
    )


def check_supply(values: Mapping[str, FloatArray], where: str) -> None:
    """Raise CsvError where a moving signal stands far above its supply: nothing that is not supplied gives it."""
    if "supply_v" not in values:
        return
    supply_v = float(np.median(values["supply_v"]))
    low_v, high_v = (float(q) for q in np.quantile(values["signal_v"], (0.05, 0.95)))
    if high_v - low_v > _MOVES_V and high_v > supply_v + _MOVES_V:
        raise CsvError(
            f"{where}: supply_v cannot be the supply: no sensor gives more volts than its supply.",
            seen=f"supply_v {supply_v:z.2f} V, signal_v {low_v:z.2f} to {high_v:z.2f} V",
            limit="the supply at the sensor in each row, in volts",
            next_step="leave the column supply_v out, or record the supply too",
        )


def top_of_range(supply_v: FloatArray, signal_v: FloatArray) -> float | None:
    """Return the level [V] of a supply, (n,), that mostly stands at its converter's highest code; else None.

    Of a converter whose steps the signal, (n,), shows: code 2^n - 1 is where it ends, and the supply may be higher.
    """
    top_v = float(supply_v.max())
    levels = np.unique(np.round(signal_v, 6))
    if float(np.mean(supply_v == top_v)) < MOSTLY or levels.size < FEWEST_LEVELS:
        return None
    steps = np.diff(levels)
    codes = np.round(steps / steps.min())
    lsb_v = float(levels[-1] - levels[0]) / float(codes.sum())
    code = top_v / lsb_v
    ends = [float(2**n - 1) for n in BITS]
    return top_v if any(abs(code - end) < ONE_CODE for end in ends) else None
