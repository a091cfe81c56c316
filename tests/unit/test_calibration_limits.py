"""A calibration that no rig can have is refused, whoever wrote it."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner

from sweeprig.bench.review.review import review_capture
from sweeprig.calibration.model import ChannelCalibration, Linearity
from sweeprig.calibration.nominal import nominal_calibration
from sweeprig.calibration.read import read_calibration
from sweeprig.calibration.store import calibration_to_dict, load_calibration, save_calibration
from sweeprig.capture.model import Capture
from sweeprig.cli.main import app
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


@pytest.mark.parametrize("temperature_c", [1e9, 1000.0, -300.0])
def test_a_temperature_at_which_no_chip_works_is_refused(temperature_c: float) -> None:
    base = nominal_calibration({"uid": "1", "build": "full", "chip": "rp2040"})
    data = calibration_to_dict(replace(base, temperature_c=temperature_c))
    with pytest.raises(ValueError, match="temperature_c"):
        read_calibration({k: v for k, v in data.items() if k not in HEADING})


@pytest.mark.parametrize(
    "changed", [{"temperature_c": 1e9}, {"max_age_days": 1e300}, {"max_age_days": math.inf}]
)
def test_nothing_is_stored_that_could_not_be_read_again(tmp_path: Path, changed: dict[str, float]) -> None:
    base = nominal_calibration({"uid": "00ff", "build": "full", "chip": "rp2040"})
    save_calibration(base, folder=tmp_path)
    with pytest.raises(CalibrationFileError, match="cannot be stored"):
        save_calibration(replace(base, **changed), folder=tmp_path)  # type: ignore[arg-type]
    assert load_calibration("00ff", folder=tmp_path) is not None
    assert not list(tmp_path.glob("before/*"))


def test_a_disk_that_is_full_keeps_the_calibration_of_before(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    base = nominal_calibration({"uid": "00ff", "build": "full", "chip": "rp2040"})
    file = save_calibration(replace(base, notes="first"), folder=tmp_path)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(CalibrationFileError, match="No space"):
        save_calibration(replace(base, notes="second"), folder=tmp_path)
    assert file.exists()
    kept = load_calibration("00ff", folder=tmp_path)
    assert kept is not None
    assert kept.notes == "first"


@pytest.mark.parametrize(
    "given",
    ["--range=inf", "--range=nan", "--temperature=nan", "--temperature=1e9", "--temperature=-300",
     "--max-age=inf", "--max-age=1e300", "--count=inf"],
)  # fmt: skip
def test_what_no_meter_or_rig_has_is_refused_at_once(given: str) -> None:
    done = CliRunner().invoke(app, ["calibrate", "--meter", "0.05%+3", given, "--port", "sim://none-such"])
    assert done.exit_code == 2
    assert given.partition("=")[0] in done.output
