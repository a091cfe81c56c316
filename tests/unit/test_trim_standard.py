"""What follows a trim: its check standard, when it is due, how it is printed, and a ramp."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from support.source_rig import NOW, RIG, counts_of, made, taken
from sweeprig.bench.trim import verify as tv
from sweeprig.bench.trim.ramp import straighten, without_rests
from sweeprig.bench.trim.text import drawn, trim_lines
from sweeprig.errors import TrimError
from sweeprig.trim.store import trim_from_dict, trim_to_dict


def test_a_check_standard_passes_and_a_moved_rig_fails():
    trim = made().trim
    point = taken((3.0,))[0]
    good = tv.check_standard(point, trim, RIG, reference_v=3.0, u95_reference_v=5e-4)
    assert {v.verdict for v in good} == {"pass"}
    assert [v.channel for v in good] == [0, 1, 2]
    moved = replace(point, codes=tuple(c * 1.005 for c in point.codes))
    bad = tv.check_standard(moved, trim, RIG, reference_v=3.0, u95_reference_v=5e-4)
    assert {v.verdict for v in bad} == {"fail"}
    kept = tv.kept(trim, bad, when=NOW, operator="A. Nobody", standard="cell 1")
    assert kept.verified[-1]["verdict"] == "fail"
    assert kept.verified[-1]["state"] == "as found"
    assert "trim" in tv.due(kept, now=NOW)
    assert trim_from_dict(trim_to_dict(kept)).verified == kept.verified


def test_what_is_due():
    trim = made().trim
    assert tv.due(trim, now=NOW) == ""
    assert "check standard" in tv.due(trim, now=NOW + timedelta(days=1))
    assert "days old" in tv.due(trim, now=NOW + timedelta(days=181))


def test_a_trim_of_this_moment_is_no_days_old():
    text = "\n".join(trim_lines(made().trim, now=NOW - timedelta(seconds=1)))
    assert ", 0 days old" in text


def test_a_moving_standard_is_not_judged():
    moving = replace(taken((3.0,))[0], moved=(2.0, 2.0, 2.0))
    with pytest.raises(TrimError, match="moved"):
        tv.check_standard(moving, made().trim, RIG, reference_v=3.0, u95_reference_v=5e-4)


def test_residuals_are_drawn():
    points = taken()
    points[2] = replace(points[2], reading_v=points[2].reading_v + 0.8e-3)
    lines = trim_lines(made(points).trim, now=NOW)
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
    done = straighten(replace(made().trim, chip="rp2040"), counts_of("rp2040-odd", 8), ramp_percent=0.005)
    assert done.worst_code in (511, 1535, 2559, 3583)
    assert done.worst_dnl_lsb > 6
    assert done.raw_lsb > 4
    assert done.left_lsb < 1.0 < done.nominal_lsb / 2  # single edges between those kept; DNL is up to 1 LSB
    assert done.nominal_lsb < done.raw_lsb
    assert done.trim.channels[0].linearity.method == "histogram"
    assert len(done.trim.channels[2].u_at) > 2


def test_resting_ends_are_left_out_and_wide_codes_kept():
    counts = counts_of()
    kept = without_rests(counts)
    assert counts.max() > 5000 > kept.max()
    assert kept[1535] == counts[1535]


def test_a_fast_ramp_is_refused():
    with pytest.raises(TrimError, match="too fast"):
        straighten(made().trim, counts_of() // 50, ramp_percent=0.005)
