"""Calibrations on converters drawn as boards were measured: none is refused, and levels on a limit are held."""

from __future__ import annotations

import numpy as np
import pytest
from tests.benchmarks.boards_bench import METERS, Board, one_calibration, u95
from tests.support.exact import clopper_pearson

from sweeprig.calibration.expected import expected_inverse
from sweeprig.calibration.model import Calibration
from sweeprig.frontend import front_end
from sweeprig.judge.rig import Rig
from sweeprig.twin.converter import draw_converter

BEST = METERS["0.05 % + 3"]
LIMIT_V = 0.4
RIGS = 60


def errors_in_u(chip: str, n_points: int) -> list[float]:
    """The error of a level at the limit, in stated intervals, on rigs whose calibrations were not refused."""
    end, found = front_end("full"), []
    for seed in range(RIGS):
        levels = draw_converter(chip, np.random.default_rng([seed, 77])).levels
        board = Board(chip, chip, levels * end.lsb_v)
        own = one_calibration(board, n_points, BEST, seed)
        assert own is not None
        mean = board.mean_codes(np.array([LIMIT_V]), 0.6 * end.lsb_v)
        code = expected_inverse(mean, np.array([0.6]), own.linearity)[0]
        read = own.line.offset_v + own.line.gain_v * code
        calibration = Calibration("line", "x", "full", chip, (own,) * 3, meter=BEST)
        found.append(float(read - LIMIT_V) / u95(float(read), Rig(calibration, end)))
    return found


@pytest.mark.parametrize("chip", ["rp2040", "rp2350"])
@pytest.mark.parametrize("n_points", [5, 12])
def test_a_level_on_its_limit_is_held_from_either_side(chip: str, n_points: int) -> None:
    """2.5 % may err by more than U each way: no more than chance allows of 60 (exact bounds, Clopper and Pearson)."""
    found = np.array(errors_in_u(chip, n_points))
    for beyond in (int((found > 1).sum()), int((found < -1).sum())):
        assert clopper_pearson(beyond, RIGS)[0] <= 0.025
