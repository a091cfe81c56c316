"""What follows a calibration: its check standard, when it is due, how it is printed, and a ramp."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from support.source_rig import NOW, RIG, counts_of, made, taken
from sweeprig.bench.calibration import verify as tv
from sweeprig.bench.calibration.ramp import straighten, without_rests
from sweeprig.bench.calibration.text import drawn, lines_of_calibration
from sweeprig.calibration.store import calibration_from_dict, calibration_to_dict
from sweeprig.errors import CalibrationError


def test_a_check_standard_passes_and_a_moved_rig_fails():
    calibration = made().calibration
    point = taken((3.0,))[0]
    good = tv.check_standard(point, calibration, RIG, reference_v=3.0, u95_reference_v=5e-4)
    assert {v.verdict for v in good} == {"pass"}
    assert [v.channel for v in good] == [0, 1, 2]
    moved = replace(point, codes=tuple(c * 1.005 for c in point.codes))
    bad = tv.check_standard(moved, calibration, RIG, reference_v=3.0, u95_reference_v=5e-4)
    assert {v.verdict for v in bad} == {"fail"}
    kept = tv.kept(calibration, bad, when=NOW, operator="A. Nobody", standard="cell 1")
    assert kept.verified[-1]["verdict"] == "fail"
    assert kept.verified[-1]["state"] == "as found"
    assert "calibrate" in tv.due(kept, now=NOW)
    assert calibration_from_dict(calibration_to_dict(kept)).verified == kept.verified


def test_what_is_due():
    calibration = made().calibration
    assert tv.due(calibration, now=NOW) == ""
    assert "Not verified today" in tv.due(calibration, now=NOW + timedelta(days=1))
    assert "days old" in tv.due(calibration, now=NOW + timedelta(days=181))


def test_a_calibration_of_this_moment_is_no_days_old():
    text = "\n".join(lines_of_calibration(made().calibration, now=NOW - timedelta(seconds=1)))
    assert ", 0 days old" in text


def test_a_moving_standard_is_not_judged():
    moving = replace(taken((3.0,))[0], moved=(2.0, 2.0, 2.0))
    with pytest.raises(CalibrationError, match="not steady"):
        tv.check_standard(moving, made().calibration, RIG, reference_v=3.0, u95_reference_v=5e-4)


def test_residuals_are_drawn():
    points = taken()
    points[2] = replace(points[2], reading_v=points[2].reading_v + 0.8e-3)
    lines = lines_of_calibration(made(points).calibration, now=NOW)
    row = next(line for line in lines if "2.5008 V" in line)
    assert "+" in row.split()[2]
    assert 0 < row.index("|") < row.index("o")


def test_marks_stand_where_the_number_is():
    assert drawn(0.0).index("o") == 10
    assert drawn(-1.0).index("o") == 0
    assert drawn(1.0).index("o") == 20
    assert drawn(1.2)[-1] == ">"
    assert drawn(-9.0)[0] == "<"


def test_a_ramp_takes_out_what_the_usual_wide_codes_leave():
    done = straighten(
        replace(made().calibration, chip="rp2040"), counts_of("rp2040-odd", 8), ramp_percent=0.005
    )
    assert done.worst_code in (511, 1535, 2559, 3583)
    assert done.worst_dnl_lsb > 6
    assert done.raw_lsb > 4
    assert done.left_lsb < 1.0 < done.nominal_lsb / 2  # single edges between those kept; DNL is up to 1 LSB
    assert done.nominal_lsb < done.raw_lsb
    assert done.calibration.channels[0].linearity.method == "histogram"
    assert len(done.calibration.channels[2].u_at) > 2


def test_resting_ends_are_left_out_and_wide_codes_kept():
    counts = counts_of()
    kept = without_rests(counts)
    assert counts.max() > 5000 > kept.max()
    assert kept[1535] == counts[1535]


def test_a_fast_ramp_is_refused():
    with pytest.raises(CalibrationError, match="too fast"):
        straighten(made().calibration, counts_of() // 50, ramp_percent=0.005)
