"""One value against its limits."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sweeprig.judge.decide import decide, would_decide
from sweeprig.judge.model import BudgetLine, Verdict

PASS, FAIL, UNDECIDED = Verdict.PASS, Verdict.FAIL, Verdict.UNDECIDED


@pytest.mark.parametrize(
    ("value", "factor", "verdict"),
    [
        (0.45, 1.0, PASS),
        (0.4101, 1.0, PASS),
        (0.409, 1.0, UNDECIDED),
        (0.391, 1.0, UNDECIDED),
        (0.389, 1.0, FAIL),
        (0.511, 1.0, FAIL),
        (0.509, 1.0, UNDECIDED),
        (0.409, 0.0, PASS),
        (0.4, 0.0, PASS),
        (0.3999, 0.0, FAIL),
        (0.409, 0.83, PASS),
        (0.407, 0.83, UNDECIDED),
        (math.nan, 1.0, UNDECIDED),
    ],
)
def test_within_an_interval(value: float, factor: float, verdict: Verdict) -> None:
    assert decide(value, u95=0.01, low=0.4, high=0.5, guard_factor=factor) is verdict


def test_unknown_uncertainty_decides_nothing() -> None:
    assert decide(0.45, u95=math.nan, low=0.4, guard_factor=1.0) is UNDECIDED
    assert decide(0.45, u95=math.inf, low=0.4, guard_factor=1.0) is UNDECIDED


def test_interval_below_its_guard_bands_passes_nothing() -> None:
    assert decide(0.45, u95=0.06, low=0.4, high=0.5, guard_factor=1.0) is UNDECIDED
    text, _ = would_decide(0.45, u95=0.06, low=0.4, high=0.5, guard_factor=1.0)
    assert "0.1 V apart, too close together for a ± of 0.06 V" in text


@given(
    value=st.floats(-10, 10),
    u=st.floats(0, 2),
    low=st.floats(-5, 0),
    high=st.floats(0.01, 5),
    small=st.floats(0, 3),
    large=st.floats(0, 3),
)
def test_a_larger_guard_band_never_decides_more(
    *, value: float, u: float, low: float, high: float, small: float, large: float
) -> None:
    small, large = sorted((small, large))
    narrow = decide(value, u95=u, low=low, high=high, guard_factor=small)
    wide = decide(value, u95=u, low=low, high=high, guard_factor=large)
    assert wide in (narrow, UNDECIDED)


def test_what_would_decide_names_uncertainty_and_source() -> None:
    budget = (
        BudgetLine("level of the rests", "A", "t", 0.004, "V", 1.0, 3.0),
        BudgetLine("meter used for the calibration", "B", "rectangular", 0.001, "V", 1.0, math.inf),
    )
    text, step = would_decide(0.405, u95=0.01, low=0.4, high=0.5, guard_factor=1.0, budget=budget)
    assert "0.005 V inside its limit" in text
    assert "below 0.005 V" in text
    assert (
        "below 0.0025 V"
        in would_decide(0.405, u95=0.01, low=0.4, high=0.5, guard_factor=2.0, budget=budget)[0]
    )
    assert "hold the lever longer" in step
    _, step = would_decide(0.405, u95=0.01, low=0.4, high=0.5, guard_factor=1.0, budget=budget[1:])
    assert "more accurate meter" in step
    # a value that stands on its limit
    text, _ = would_decide(0.4001, u95=0.01, low=0.4, high=0.5, guard_factor=1.0, budget=budget)
    assert "no measurement can decide" in text


def test_a_rig_never_calibrated_is_to_be_calibrated() -> None:
    """More points and a better meter are no step for a rig that has no calibration."""
    budget = (BudgetLine("fit and reference of the calibration", "B", "normal", 0.004, "V", 1.0, 3.0),)
    near = {"u95": 0.01, "low": 0.4, "high": 0.5, "guard_factor": 1.0}
    assert "more points" in would_decide(0.405, budget=budget, **near)[1]
    step = would_decide(0.405, budget=budget, calibrated=False, **near)[1]
    assert step == "Calibrate the rig (`sweeprig calibrate`), then sweep again."


@given(offset=st.floats(0.001, 0.0099), factor=st.floats(1.0, 2.0))
def test_the_uncertainty_asked_for_would_indeed_decide(offset: float, factor: float) -> None:
    value, u95 = 0.4 + offset, 0.01
    assert decide(value, u95=u95, low=0.4, high=0.5, guard_factor=factor) is UNDECIDED
    needed = offset / factor * (1 - 1e-9)
    assert decide(value, u95=needed, low=0.4, high=0.5, guard_factor=factor) is PASS
