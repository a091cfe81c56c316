"""What one look at a running rig brings: losses are counted once, and flagged windows are no data."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np

from sweepboard import wire
from sweeprig.bench.readings.live import Volts
from sweeprig.capture.model import SweepSetup
from sweeprig.frontend import front_end
from sweeprig.link.messages import Records
from sweeprig.trim.nominal import nominal_trim

RIG = {"build": "full", "chip": "rp2040", "uid": "00", "window": 166, "conversion_hz": 500_000.0}
CLIENT: Any = SimpleNamespace(hello=lambda: RIG)
VOLTS = Volts(CLIENT, SweepSetup(), nominal_trim(RIG), front_end("full"))


def some(first: int, flags: list[int]) -> Records:
    n = len(flags)
    codes = np.full((n, 3), 1000, np.uint16)
    index = first + np.arange(n, dtype=np.int64)
    position = np.full(n, wire.NO_POSITION, np.uint16)
    return Records(index, codes * np.uint32(166), codes, codes, position, np.array(flags, np.uint16))


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
