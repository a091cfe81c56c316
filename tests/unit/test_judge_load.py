"""The rig's own load on a track, and readings beyond the points of the calibration."""

from __future__ import annotations

import math
from typing import Any

import pytest

from support.judge_cases import ADJUSTABLE, given, seen
from support.outcomes import make_calibration, make_setup
from sweeprig.calibration.model import ChannelCalibration, Line
from sweeprig.frontend import front_end
from sweeprig.judge.load import rig_load
from sweeprig.judge.profile import load_profile
from sweeprig.words import Hookup

FULL = front_end("full")


def load_u(name: str = "open_v", **setup: Any) -> float:
    lines = given(seen(0.45, 4.5, supply=5.0), setup=make_setup(**setup)).quantities[name].budget
    return sum(b.contribution for b in lines if b.name == "load of the rig")


def test_an_unknown_track_leaves_the_shift_of_the_worst_one() -> None:
    """Loaded divider (references of the front end): r = x / (1 + x (1 - x) k), here k of 10 kohm and the burden."""
    k = 10_000 / FULL.load_ohm(burden_on=True)
    for name, r in (("closed_v", 0.09), ("open_v", 0.9)):
        u = load_u(name, track_ohm=None)
        x = r + u * math.sqrt(3) / 5.0  # the open-circuit ratio that half the interval reaches
        assert x / (1 + x * (1 - x) * k) == pytest.approx(r, rel=1e-4)
    assert load_u("open_v", track_ohm=None) > 0.02


def test_span_has_the_difference_of_both_ends_shifts() -> None:
    low, high = load_u("closed_v", track_ohm=None), load_u("open_v", track_ohm=None)
    assert load_u("span_v", track_ohm=None) == pytest.approx(high - low)
    assert high - low > 0.01
    assert load_u("span_v", track_ohm=5000.0) == 0.0


def test_no_load_line_where_it_was_taken_out_or_cannot_matter() -> None:
    assert load_u(track_ohm=5000.0) == 0.0  # the trace was corrected
    assert load_u(track_ohm=None, sensor_kind="hall") == 0.0
    assert rig_load(make_setup(track_ohm=None), ADJUSTABLE, None).track_ohm is None
    assert rig_load(make_setup(track_ohm=None, sensor_kind=""), load_profile("hall"), FULL).track_ohm is None


def test_tapped_shift_of_a_known_track_is_small() -> None:
    tapped = load_u(track_ohm=5000.0, hookup=Hookup.TAPPED)
    assert 0 < tapped < 0.1 * load_u(track_ohm=None)


def test_a_reading_beyond_the_calibrated_points_is_said() -> None:
    line = Line(-0.02, 3.3 / 0.6 / 4096, 1e-8, 0.0, 0.0)
    points = tuple((v * 745, v) for v in (0.5, 1.5, 2.5, 3.5, 4.6))
    calibration = make_calibration(
        channels=tuple(ChannelCalibration(c, line, points=points) for c in range(3))
    )
    assert not [
        t
        for t in given(seen(0.47, 4.5), calibration=calibration).not_shown
        if "at which the rig was calibrated" in t
    ]
    told = [
        t
        for t in given(seen(0.3, 4.5), calibration=calibration).not_shown
        if "at which the rig was calibrated" in t
    ]
    assert len(told) == 1
    assert told[0].startswith("The closed end at 0.300 V")
