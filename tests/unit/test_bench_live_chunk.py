"""What one look at a running rig brings: losses are counted once, and flagged windows are no data."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from sweepboard import wire
from sweeprig.bench.calibration.points import measured
from sweeprig.bench.readings.live import RigVolts, levels
from sweeprig.calibration.nominal import nominal_calibration
from sweeprig.capture.model import SweepSetup
from sweeprig.errors import BoardSilentError, CalibrationError
from sweeprig.frontend import front_end
from sweeprig.link.messages import Records

RIG = {"build": "full", "chip": "rp2040", "uid": "00", "window": 166, "conversion_hz": 500_000.0}
CLIENT: Any = SimpleNamespace(hello=lambda: RIG)
VOLTS = RigVolts(CLIENT, SweepSetup(), nominal_calibration(RIG), front_end("full"))


def some(first: int, flags: list[int]) -> Records:
    n = len(flags)
    low, high = np.full((n, 3), 1000, np.uint16), np.full((n, 3), 1000, np.uint16)
    index = first + np.arange(n, dtype=np.int64)
    position = np.full(n, wire.NO_POSITION, np.uint16)
    return Records(index, low * np.uint32(166), low, high, position, np.array(flags, np.uint16))


def test_what_came_in_earlier_looks_is_not_lost() -> None:
    trace = VOLTS.chunk([some(5000, [0] * 16)]).trace
    assert trace is not None
    assert (trace.n_lost, trace.n_lost_before) == (0, 0)


def test_windows_that_the_converter_flagged_are_left_out() -> None:
    bad = wire.FLAG_CONVERSION_ERROR
    trace = VOLTS.chunk([some(0, [0, bad, bad, 0, 0])]).trace
    assert trace is not None
    assert trace.gap_before.tolist() == [False, True, False]
    assert VOLTS.chunk([some(0, [bad] * 5)]).trace is None


def wild(n: int) -> Records:
    """Records of which every second is flagged and reads at the rail."""
    records = some(0, [0, wire.FLAG_CONVERSION_ERROR] * n)
    for array, high in ((records.sums, 4095 * 166), (records.mins, 4095), (records.maxs, 4095)):
        array[1::2] = high
    return records


def test_levels_come_from_usable_windows_only() -> None:
    clean = levels(VOLTS, [some(0, [0] * 50)])
    assert levels(VOLTS, [wild(50)]).high_v == pytest.approx(clean.high_v)
    with pytest.raises(BoardSilentError, match="marks all"):
        levels(VOLTS, [some(0, [wire.FLAG_CONVERSION_ERROR] * 50)])


def test_a_point_comes_from_usable_windows_only() -> None:
    assert measured(wild(50), [], window=166).codes == (1000.0, 1000.0, 1000.0)
    with pytest.raises(CalibrationError, match="too few"):
        measured(some(0, [wire.FLAG_CONVERSION_ERROR] * 50), [], window=166)
