"""Whether the time of a CSV can be that of a lever moved by hand: milliseconds under a head of seconds are none."""

from __future__ import annotations

import numpy as np

from sweeprig.analysis.model import Analysis
from sweeprig.capture.model import Trace
from sweeprig.errors import CsvError
from sweeprig.judge.profile_model import Profile

SHORTEST_S = 0.1  # [s] no hand moves a lever in less: own choice, no source
FASTEST_HZ = (
    2e7  # rows a second: 0.1 s of more has no room in a file that is read. Rows are put together in windows
)
SLOWEST_HZ = 1.0  # fewer rows a second show no stroke: own choice, no source


def check_length(trace: Trace) -> None:
    """Raise CsvError where a table is too short for any movement, or has too many rows for it to be looked at."""
    whole_s, rows_hz = float(trace.t_s[-1] - trace.t_s[0]), 1 / trace.window_s
    if whole_s >= SHORTEST_S and rows_hz <= FASTEST_HZ:
        return
    raise CsvError(
        f"{trace.name} holds no sweep of a lever.",
        seen=f"{_plain(whole_s)} s in all, {_plain(rows_hz)} rows a second",
        limit=f"{SHORTEST_S:g} s or more, at most {FASTEST_HZ:.0f} rows a second",
        next_step="look at the unit of the time (time_s, time_ms, time_us); else export fewer rows a second",
    )


def check_time(trace: Trace, analysis: Analysis, profile: Profile) -> None:
    """Raise CsvError where it is longer than a sweep may be and too slow for one, by its rows or by its strokes."""
    whole_s, longest_s = float(trace.t_s[-1] - trace.t_s[0]), profile.series.longest.value
    strokes = [float(trace.t_s[s.stop - 1] - trace.t_s[s.start]) for s in analysis.strokes]
    stroke_s = float(np.median(strokes)) if strokes else 0.0
    rows_hz = 1 / trace.window_s
    if whole_s <= longest_s or (rows_hz > SLOWEST_HZ and stroke_s <= longest_s):
        return
    moved = f", a stroke takes {_plain(stroke_s)} s" if strokes else ""
    raise CsvError(
        f"The time in {trace.name} appears to be in another unit than seconds.",
        seen=f"{_plain(whole_s)} s in all, {_plain(rows_hz)} rows a second{moved}",
        limit=f"within the {longest_s:g} s that the profile gives a sweep; if longer, more than {SLOWEST_HZ:g} row a"
        f" second and strokes of {longest_s:g} s at most",
        next_step="name the column by its unit (time_ms, time_us), or say the unit, seconds too: sweeprig review"
        " --time-unit s, ms or us",
    )


def _plain(value: float) -> str:
    """Return a number with three digits, or all of a large one."""
    return f"{value:.3g}" if value < 1000 else f"{value:.0f}"
