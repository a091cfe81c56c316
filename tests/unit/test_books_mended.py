"""Settings, calibrations and profiles that are wrong in one place: the place is named, and the rest goes on."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from sweeprig.bench.calibration.text import lines_of_calibration
from sweeprig.bench.calibration.verify import due
from sweeprig.bench.shop.config import load_config, set_value
from sweeprig.bench.shop.places import find_places
from sweeprig.calibration.model import Calibration
from sweeprig.calibration.nominal import nominal_calibration
from sweeprig.calibration.store import (
    calibration_from_dict,
    calibration_path,
    calibration_to_dict,
    update_calibration,
)
from sweeprig.cli.main import app
from sweeprig.errors import CalibrationFileError, ConfigError
from sweeprig.judge.profile import load_profile, profile_text
from sweeprig.judge.unseen import rig_marks

NOW = datetime.fromisoformat("2026-05-01T12:00:00+00:00")
BOM = b"\xef\xbb\xbf"


# --- settings


def test_a_setting_of_a_wrong_type_is_mended_by_setting_it(tmp_path: Path) -> None:
    path = tmp_path / "config.toml"
    path.write_text('# mine\noperator = 5\nworkshop = "W"\n')
    with pytest.raises(ConfigError, match="operator"):
        load_config(path)
    config = set_value(path, "operator", "A")
    assert (config.operator, config.workshop) == ("A", "W")
    assert path.read_text().startswith("# mine\n")


def test_another_wrong_setting_is_named_after_one_is_mended(tmp_path: Path) -> None:
    path = tmp_path / "config.toml"
    path.write_text("operator = 5\nbell = 3\n")
    with pytest.raises(ConfigError, match="bell"):
        set_value(path, "operator", "A")
    config = set_value(path, "bell", "no")
    assert (config.operator, config.bell) == ("A", False)


def test_what_is_no_toml_is_not_written_over(tmp_path: Path) -> None:
    path = tmp_path / "config.toml"
    path.write_text("[[[")
    with pytest.raises(ConfigError):
        set_value(path, "operator", "A")
    assert path.read_text() == "[[["


def test_settings_with_a_byte_order_mark_are_read(tmp_path: Path) -> None:
    path = tmp_path / "config.toml"
    path.write_bytes(BOM + b'operator = "A"\r\n')
    assert load_config(path).operator == "A"
    assert set_value(path, "workshop", "W").operator == "A"


def test_a_profile_with_a_byte_order_mark_is_read(tmp_path: Path) -> None:
    text, _ = profile_text("hall")
    path = tmp_path / "mine.toml"
    path.write_bytes(BOM + text.replace("\n", "\r\n").encode())
    assert load_profile(path).limits == load_profile("hall").limits
    assert load_profile(path).sha256 == load_profile("hall").sha256


# --- calibrations


def calibration(uid: str = "00ff", made_at: str = "2026-04-30T12:00:00+00:00") -> Calibration:
    nominal = nominal_calibration({"uid": uid, "build": "full", "chip": "rp2040"})
    return replace(nominal, kind="line", made_at=made_at)


@pytest.fixture
def folder() -> Path:
    return find_places().calibrations


def listed() -> list[dict[str, Any]]:
    run = CliRunner().invoke(app, ["calibrate", "list", "--json"])
    assert run.exit_code == 0, run.output
    rows: list[dict[str, Any]] = json.loads(run.stdout)
    return rows


def test_one_damaged_calibration_is_named_beside_the_others(folder: Path) -> None:
    for uid in ("0001", "0003"):
        update_calibration(calibration(uid), folder=folder)
    bad = calibration_path("0002", folder=folder)
    for text in ("{", "{}", json.dumps(calibration_to_dict(calibration("0002")) | {"channels": 5})):
        bad.write_text(text)
        rows = listed()
        assert [row["rig"] for row in rows] == ["0001", "0002", "0003"]
        assert [row["kind"] for row in rows] == ["line", "damaged", "line"]
        assert str(bad) in rows[1]["due"]
    shown = CliRunner().invoke(app, ["calibrate", "list"])
    assert "damaged" in shown.stdout


def test_a_calibration_of_another_rig_is_named_in_the_list(folder: Path) -> None:
    update_calibration(calibration("0001"), folder=folder)
    foreign = json.dumps(calibration_to_dict(calibration("0009")))
    calibration_path("0002", folder=folder).write_text(foreign)
    assert ["belongs to rig 0009" in row["due"] for row in listed()] == [False, True]


@pytest.mark.parametrize("gain_v", [-0.00135, -1e-9])
def test_a_gain_below_zero_is_refused(gain_v: float) -> None:
    data = json.loads(json.dumps(calibration_to_dict(calibration())))
    data["channels"][1]["line"]["gain_v"] = gain_v
    with pytest.raises(CalibrationFileError) as caught:
        calibration_from_dict(data)
    assert "gain_v is -" in caught.value.seen


@pytest.mark.parametrize("cov", [1.0, -1.0, 1e-3])
def test_a_covariance_beyond_its_variances_is_refused(cov: float) -> None:
    data = json.loads(json.dumps(calibration_to_dict(calibration())))
    data["channels"][0]["line"]["cov"] = cov
    with pytest.raises(CalibrationFileError) as caught:
        calibration_from_dict(data)
    assert f"cov is {cov:g}" in caught.value.seen


@pytest.mark.parametrize("made_at", ["", "yesterday", "2026-04-30T12:00:00"])
def test_a_calibration_without_its_date_is_due(made_at: str) -> None:
    undated = calibration(made_at=made_at)
    assert "date of the calibration is not known" in due(undated, now=NOW)
    assert any("unknown date" in line for line in lines_of_calibration(undated, now=NOW))
    (mark,) = rig_marks(undated, taken_at=NOW.isoformat())
    assert "date of the calibration is not known" in mark
    assert rig_marks(calibration(), taken_at=NOW.isoformat()) == ()
