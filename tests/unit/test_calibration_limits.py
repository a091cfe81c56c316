"""A calibration that no rig can have is refused, whoever wrote it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from sweeprig.bench.review.review import review_capture
from sweeprig.calibration.model import ChannelCalibration, Linearity
from sweeprig.calibration.nominal import nominal_calibration
from sweeprig.calibration.read import read_calibration
from sweeprig.calibration.store import calibration_to_dict
from sweeprig.capture.model import Capture
from sweeprig.errors import CalibrationFileError
from sweeprig.twin.capture import capture_of

HEADING = ("format", "version")
CAPTURE = capture_of("good", seconds=2.0)


def read_with(**changed: object) -> None:
    base = nominal_calibration({"uid": "1", "build": "full", "chip": "rp2040"})
    first = replace(base.channels[0], **changed)  # type: ignore[arg-type]
    data = calibration_to_dict(replace(base, channels=(first, *base.channels[1:])))
    read_calibration({k: v for k, v in data.items() if k not in HEADING})


def line_with(**changed: float) -> dict[str, object]:
    own: ChannelCalibration = nominal_calibration({"uid": "1", "build": "full", "chip": "rp2040"}).channels[0]
    return {"line": replace(own.line, **changed)}


@pytest.mark.parametrize("build", ["plain", "full", "driven"])
@pytest.mark.parametrize("chip", ["rp2040", "rp2350"])
def test_what_a_rig_has_is_read(build: str, chip: str) -> None:
    data = calibration_to_dict(nominal_calibration({"uid": "1", "build": build, "chip": chip}))
    read_calibration({k: v for k, v in data.items() if k not in HEADING})


@pytest.mark.parametrize("gain_v", [-1e-3, 0.0, 6e-4, 1.0])
def test_a_gain_that_no_divider_makes_is_refused(gain_v: float) -> None:
    with pytest.raises(ValueError, match="gain_v"):
        read_with(**line_with(gain_v=gain_v))


@pytest.mark.parametrize("offset_v", [-0.5, 0.3])
def test_an_offset_beyond_any_buffer_is_refused(offset_v: float) -> None:
    with pytest.raises(ValueError, match="offset_v"):
        read_with(**line_with(offset_v=offset_v))


@pytest.mark.parametrize("error_lsb", [-400.0, 150.0, 1e6])
def test_a_departure_beyond_any_converter_is_refused(error_lsb: float) -> None:
    bent = Linearity(np.array([0.0, 4095.0]), np.full(2, error_lsb), 1.0, "points")
    with pytest.raises(ValueError, match="linearity departs"):
        read_with(linearity=bent)


def capture_with(calibration: dict[str, Any] | None) -> Capture:
    return replace(CAPTURE, calibration=calibration, path="shelf.sweep")


def test_a_capture_with_an_impossible_calibration_is_not_judged() -> None:
    data = calibration_to_dict(nominal_calibration(capture_with(None).rig))
    data["channels"][0]["line"]["gain_v"] = 0.44
    with pytest.raises(
        CalibrationFileError, match=r"in shelf\.sweep is damaged.*gain_v of signal A is 0\.44"
    ):
        review_capture(capture_with(data))


def test_an_empty_calibration_of_a_capture_is_told() -> None:
    assert [t for t in review_capture(capture_with({})).remarks if "is empty" in t]
    assert not [t for t in review_capture(capture_with(None)).remarks if "is empty" in t]


def test_only_the_channels_are_held_to_a_dividers_gain() -> None:
    base = nominal_calibration({"uid": "1", "build": "full", "chip": "rp2040"})
    own = base.channels[0]
    monitor = replace(own, line=replace(own.line, gain_v=1.667, offset_v=0.5), linearity=None)
    data = calibration_to_dict(replace(base, monitor=monitor))
    read_calibration({k: v for k, v in data.items() if k not in HEADING})
