"""The table of a gauge R&R study: both ways side by side at every width."""

from __future__ import annotations

import numpy as np
import pytest

from sweeprig.bench.batch.gauge import study
from sweeprig.bench.batch.gauge_data import gauge_lines


@pytest.mark.parametrize("width", [60, 80, 120])
@pytest.mark.parametrize("tolerance_v", [None, 0.1])
def test_both_ways_stand_side_by_side_at_every_width(width: int, tolerance_v: float | None) -> None:
    values = 0.45 + np.random.default_rng(3).normal(0, 2e-3, (4, 2, 3)) + np.arange(4)[:, None, None] * 0.05
    lines = gauge_lines(study(values), tolerance_v, width)
    assert all(len(line) <= width for line in lines[2 : lines.index("", 2)])
    rows = [line for line in lines if "mV" in line and "p =" not in line]
    assert len(rows) == 5
    assert all(line.count(" mV") == 2 for line in rows)
    heads = lines[2].split("  ")
    assert heads[-1].strip() == ("variance" if width == 60 else "analysis of variance")
