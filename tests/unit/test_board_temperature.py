"""The board's temperature: what no chip can have is left out and said."""

from __future__ import annotations

from dataclasses import replace

import pytest

from support import outcomes as oc
from sweepboard import wire
from sweeprig.bench.review.review import review_capture
from sweeprig.calibration.slow import board_temperature_c, impossible_temperatures
from sweeprig.capture.model import Capture
from sweeprig.link.messages import SlowReading


def measured(*millidegrees: int) -> Capture:
    capture = oc.outcome().capture
    assert capture is not None
    slow = tuple(SlowReading(10 * k, wire.SLOW_TEMPERATURE, 0, value) for k, value in enumerate(millidegrees))
    return replace(capture, slow=slow)


@pytest.mark.parametrize("wrong", [2**31 - 1, -(2**31), 10_000_000, -300_000, 130_000])
def test_an_impossible_temperature_is_left_out_and_said(wrong: int) -> None:
    capture = measured(25_000, wrong, 27_000)
    assert board_temperature_c(capture) == pytest.approx(26.0)
    assert impossible_temperatures(capture) == 1
    remarks = review_capture(capture).remarks
    assert any("1 reading of the board's temperature impossible" in r for r in remarks)


def test_where_none_is_possible_the_temperature_is_not_known() -> None:
    capture = measured(2**31 - 1)
    assert board_temperature_c(capture) is None
    review_capture(capture)


def test_usual_temperatures_are_taken_without_a_word() -> None:
    capture = measured(-20_000, 84_000)
    assert board_temperature_c(capture) == pytest.approx(32.0)
    assert not any("temperature" in r and "impossible" in r for r in review_capture(capture).remarks)
