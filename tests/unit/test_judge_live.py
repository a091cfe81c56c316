"""The live reading against the rails, and what of the rig stands beside a verdict."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from support.outcomes import make_analysis, make_calibration, make_setup, make_trace
from sweeprig.calibration.age import age_days
from sweeprig.frontend import front_end
from sweeprig.judge.judge import flag_reading, judge
from sweeprig.judge.model import Verdict
from sweeprig.judge.profile import load_profile
from sweeprig.judge.rig import Rig
from sweeprig.judge.unseen import rig_marks

PROFILE = load_profile("adjustable-potentiometer")
MEASURED = replace(PROFILE, supply=replace(PROFILE.supply, ratiometric=False))


@pytest.mark.parametrize(
    ("value", "supply", "where"),
    [
        (2.5, 5.0, "clear"),
        (0.21, 5.0, "clear"),
        (0.19, 5.0, "near-lower"),
        (0.05, 5.0, "at-lower"),
        (-0.01, 5.0, "at-lower"),
        (4.79, 5.0, "clear"),
        (4.81, 5.0, "near-upper"),
        (4.95, 5.0, "at-upper"),
        (4.38, 4.6, "clear"),  # 4.76 V at nominal
        (4.45, 4.6, "near-upper"),  # 4.84 V at nominal
        (0.195, 4.6, "clear"),  # 0.212 V at nominal
        (4.81, None, "near-upper"),
        (4.79, None, "clear"),
    ],
)
def test_a_reading_is_flagged_at_the_rail_that_it_is_near(
    value: float, supply: float | None, where: str
) -> None:
    flag = flag_reading(value, supply, PROFILE)
    assert flag.where == where
    assert bool(flag.text) == (where != "clear")


def test_a_reading_of_a_sensor_with_its_own_reference() -> None:
    assert flag_reading(0.195, 4.6, MEASURED).where == "near-lower"
    assert flag_reading(4.41, 4.6, MEASURED).where == "near-upper"
    assert flag_reading(4.39, 4.6, MEASURED).where == "clear"


def test_a_dead_band_is_called_so() -> None:
    assert "dead band" in flag_reading(0.0, 5.0, PROFILE).text
    assert "0.150 V from ground, margin 0.200 V" in flag_reading(0.15, 5.0, PROFILE).text


@pytest.mark.parametrize(("value", "supply"), [(math.nan, 5.0), (2.5, math.nan), (2.5, 0.0), (2.5, -1.0)])
def test_no_reading_is_no_flag_and_no_error(value: float, supply: float) -> None:
    assert flag_reading(value, supply, PROFILE).text == "no reading to judge"


def test_marks_of_the_rig() -> None:
    taken = "2031-03-04T10:16:30+00:00"
    calibration = make_calibration()  # made 2031-02-20, good for 180 days
    assert rig_marks(calibration, taken_at=taken) == ()
    assert rig_marks(None, taken_at=taken) == ()
    old = rig_marks(calibration, taken_at="2031-09-01T00:00:00+00:00")
    assert len(old) == 1
    assert "193 days old, limit 180" in old[0]
    assert rig_marks(calibration, taken_at="2031-08-19T00:00:00+00:00") == ()
    assert "not calibrated" in rig_marks(make_calibration(kind="nominal"), taken_at=taken)[0]
    failed = make_calibration(verified=({"verdict": "pass"}, {"verdict": "fail"}))
    assert "failed its last verification" in rig_marks(failed, taken_at=taken)[0]
    assert rig_marks(make_calibration(remarks=("a slipped digit",)), taken_at=taken) == ("a slipped digit",)
    again = make_calibration(verified=({"verdict": "fail"}, {"verdict": "pass"}))
    assert rig_marks(again, taken_at=taken) == ()


def test_dates_that_do_not_read() -> None:
    assert age_days("", "2031-03-04T10:16:30+00:00") is None
    assert age_days("2031-03-04", "2031-03-04T10:16:30+00:00") is None  # only one has an offset
    assert age_days("2031-03-01T10:00:00+02:00", "2031-03-02T09:00:00+01:00") == pytest.approx(1.0)


def test_a_rig_that_failed_its_check_standard_passes_nothing() -> None:
    trace = make_trace(n=300)
    failed = make_calibration(verified=({"verdict": "fail"},))
    for calibration, verdict in ((failed, Verdict.UNDECIDED), (make_calibration(), Verdict.PASS)):
        j = judge(
            analysis=make_analysis(trace),
            trace=trace,
            setup=make_setup(),
            profile=PROFILE,
            rig=Rig(calibration, front_end("full")),
        )
        assert j.verdict is verdict
    # the failure stands first, before anything that is open as well
    assert (
        "last verification"
        in judge(
            analysis=replace(make_analysis(trace), strokes=()),
            trace=trace,
            setup=make_setup(),
            profile=PROFILE,
            rig=Rig(failed, front_end("full")),
        ).reason
    )
