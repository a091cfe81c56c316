"""The main job on the simulated rig: the board's own firmware, under MicroPython and under CPython."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from support.faces import UNWATCHED
from sweeprig.bench.board.rig import opened_rig
from sweeprig.bench.review.review import review_capture
from sweeprig.bench.sweep.sweep import SweepOrder, take
from sweeprig.capture.file import read_capture
from sweeprig.capture.model import Capture, SweepSetup
from sweeprig.errors import PortLostError

FAST = "seed=5&pace=fast"


def capture(
    url: str, folder: Path, seconds: float = 5.0, profile: str = "adjustable-potentiometer"
) -> Capture:
    setup = SweepSetup(seconds=seconds, profile=profile)
    order = SweepOrder(setup, folder, folder / "calibrations", timed=True)
    with opened_rig(url) as client:
        return take(client, order, watch=UNWATCHED)[0]


@pytest.mark.micropython
def test_micropython_and_cpython_send_the_same_records(tmp_path: Path) -> None:
    one = capture(f"sim://worn?{FAST}&vm=micropython", tmp_path, 2.0)
    two = capture(f"sim://worn?{FAST}&vm=cpython", tmp_path, 2.0)
    assert "MicroPython" in one.rig["python"]
    assert "MicroPython" not in two.rig["python"]
    for name in ("index", "sums", "mins", "maxs", "flags"):
        assert np.array_equal(getattr(one.records, name), getattr(two.records, name)), name


@pytest.mark.micropython
def test_a_sweep_is_whole_and_its_file_says_everything(tmp_path: Path) -> None:
    made = capture(f"sim://good?{FAST}&vm=micropython", tmp_path)
    assert made.ended == "complete"
    assert made.n_lost == 0
    assert len(made.records) >= 5.0 / made.window_s - 1
    again = read_capture(Path(made.path))
    assert review_capture(again).judgement.verdict == review_capture(made).judgement.verdict == "pass"


def test_an_unplugged_board_leaves_a_usable_capture(tmp_path: Path) -> None:
    made = capture(f"sim://good?{FAST}&vm=cpython&unplug_after=3", tmp_path)
    assert made.ended == "unplugged"
    assert 2.5 < len(made.records) * made.window_s < 3.2
    assert review_capture(made).judgement.verdict in ("undecided", "fail", "pass")


def test_a_board_that_goes_away_at_once_is_said_to(tmp_path: Path) -> None:
    with pytest.raises(PortLostError):
        capture(f"sim://good?{FAST}&vm=cpython&unplug_after=0.0001", tmp_path)


def test_ends_do_not_move_with_one_wild_conversion(tmp_path: Path) -> None:
    """A single conversion at either rail moves no end by 1 mV; the plain min or max moves by volts."""
    made = capture(f"sim://good?{FAST}&vm=cpython", tmp_path)
    clean = review_capture(made)
    for wild, name in ((0, "mins"), (4095, "maxs")):
        records = replace(
            made.records, **{name: getattr(made.records, name).copy(), "sums": made.records.sums.copy()}
        )
        at = int(np.argmax(made.records.sums[:, 0])) if wild == 0 else 30
        old = int(made.records.sums[at, 0]) // 166
        getattr(records, name)[at, 0] = wild
        records.sums[at, 0] = int(records.sums[at, 0]) + wild - old
        spoilt = review_capture(replace(made, records=records))
        for end in ("closed_v", "open_v"):
            moved = spoilt.judgement.quantities[end].value - clean.judgement.quantities[end].value
            assert abs(moved) < 1e-3
        plain = (spoilt.analysis.plain.min_v, spoilt.analysis.plain.max_v)
        before = (clean.analysis.plain.min_v, clean.analysis.plain.max_v)
        assert max(abs(a - b) for a, b in zip(plain, before, strict=True)) > 0.3
