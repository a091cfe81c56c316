"""The commands of the calibration on a scripted rig."""

from __future__ import annotations

import json
from contextlib import contextmanager
from pathlib import Path

import pytest
from typer.testing import CliRunner

from support.source_rig import GAIN, VOLTS, SourceRig, client_of
from sweeprig.bench.shop.places import find_places
from sweeprig.calibration.store import load_calibration
from sweeprig.cli.main import app
from sweeprig.errors import CalibrationError, FileError


@pytest.fixture
def on_source(monkeypatch: pytest.MonkeyPatch) -> SourceRig:
    rig = SourceRig(capabilities=["supply-switch", "monitor"])

    @contextmanager
    def opened(port: str):
        client = client_of(rig)
        client.hello()
        yield client

    monkeypatch.setattr("sweeprig.bench.board.rig.opened_rig", opened)
    return rig


CALIBRATE = ["calibrate", "--meter", "0.05%+3", "--count", "0.0001", "--json"]


def test_guided_calibration_is_stored_shown_and_verified(on_source: SourceRig):
    typed = "".join(f"{v}\n" for v in VOLTS)
    run = CliRunner().invoke(app, CALIBRATE, input=typed)
    assert run.exit_code == 0, run.output
    done = json.loads(run.stdout[run.stdout.index("{") :])  # the runner echoes what was typed before it
    assert done["calibration"]["rig_uid"] == "00ff"
    assert Path(done["file"]).exists()
    assert Path(done["points_file"]).exists()
    shown = CliRunner().invoke(app, ["calibrate", "show"])
    assert shown.exit_code == 0
    assert "signal A" in shown.stdout
    listed = json.loads(CliRunner().invoke(app, ["calibrate", "list", "--json"]).stdout)
    assert [row["rig"] for row in listed] == ["00ff"]
    on_source.volts = iter([2.5])
    checked = CliRunner().invoke(app, ["calibrate", "verify", "2.5", "--standard-u", "0.0005", "--json"])
    assert checked.exit_code == 0, checked.output
    assert json.loads(checked.stdout)["verdict"] == "pass"
    on_source.gain = GAIN * 1.01
    on_source.volts = iter([2.5])
    failed = CliRunner().invoke(app, ["calibrate", "verify", "2.5", "--standard-u", "0.0005"])
    assert failed.exit_code == 10
    assert "fail" in failed.stdout


def test_a_slipped_digit_stores_nothing_but_loses_nothing(on_source: SourceRig):
    typed = "0.2\n1.35\n2.05\n3.65\n4.8\n"
    run = CliRunner().invoke(app, CALIBRATE, input=typed)
    assert isinstance(run.exception, CalibrationError)
    assert "Point 3" in str(run.exception)
    places = find_places()
    assert load_calibration("00ff", folder=places.calibrations) is None
    points = list((places.calibrations / "points").glob("*.csv"))
    assert len(points) == 1
    text = points[0].read_text().replace("2.050000", "2.500000")
    points[0].write_text(text)
    again = CliRunner().invoke(app, [*CALIBRATE, "--points-file", str(points[0])])
    assert again.exit_code == 0, again.output
    assert load_calibration("00ff", folder=places.calibrations) is not None


def test_what_is_not_a_voltage_is_asked_again(on_source: SourceRig):
    run = CliRunner().invoke(app, CALIBRATE, input="two\n99\n" + "".join(f"{v}\n" for v in VOLTS))
    assert run.exit_code == 0, run.output


def test_a_calibration_by_the_monitor_from_the_command_line(on_source: SourceRig):
    assert CliRunner().invoke(app, CALIBRATE, input="".join(f"{v}\n" for v in VOLTS)).exit_code == 0
    on_source.volts = iter([0.25 + 0.2 * k for k in range(23)])
    run = CliRunner().invoke(app, ["calibrate", "--reference", "monitor", "--points", "20", "--json"])
    assert run.exit_code == 0, run.output
    assert json.loads(run.stdout)["calibration"]["reference"] == "monitor"


def test_a_ramp_from_the_command_line(on_source: SourceRig):
    assert CliRunner().invoke(app, CALIBRATE, input="".join(f"{v}\n" for v in VOLTS)).exit_code == 0
    run = CliRunner().invoke(app, ["calibrate", "ramp", "--seconds", "1", "--json"])
    assert run.exit_code == 0, run.output
    assert json.loads(run.stdout)["calibration"]["channels"][0]["linearity"]["method"] == "histogram"
    shown = CliRunner().invoke(app, ["calibrate", "show"])
    assert "a straight line and the converter's measured bend" in shown.stdout


def test_the_rigs_own_ramp_is_taken_and_a_forgotten_jumper_named(
    on_source: SourceRig, monkeypatch: pytest.MonkeyPatch
):
    from support.source_rig import counts_of

    assert CliRunner().invoke(app, CALIBRATE, input="".join(f"{v}\n" for v in VOLTS)).exit_code == 0
    none = CliRunner().invoke(app, ["calibrate", "ramp", "--source", "rig"])
    assert isinstance(none.exception, CalibrationError)
    assert "--source leads" in str(none.exception)
    on_source.hello["capabilities"].append("ramp")
    asked: list[float] = []
    monkeypatch.setattr(
        "sweeprig.bench.calibration.own_ramp.count_own_ramp",
        lambda client, *, seconds, progress: asked.append(seconds) or counts_of(),
    )
    for still_there in (True, False):
        monkeypatch.setattr(
            "sweeprig.bench.calibration.own_ramp.jumper_at_ramp", lambda client, there=still_there: there
        )
        run = CliRunner().invoke(app, ["calibrate", "ramp", "--json"])
        assert run.exit_code == 0, run.output
        assert ("still at RAMP" in run.stderr) is still_there
    assert asked == [60.0, 60.0]
    leads = CliRunner().invoke(app, ["calibrate", "ramp", "--seconds", "1", "--source", "leads"])
    assert leads.exit_code == 0, leads.output
    assert len(asked) == 2


def test_a_place_that_takes_no_calibration_is_said_before_the_first_question(on_source: SourceRig):
    places = find_places()
    places.calibrations.mkdir(parents=True, exist_ok=True)
    (places.calibrations / "points").write_text("a file where the folder belongs")
    run = CliRunner().invoke(app, CALIBRATE, input="".join(f"{v}\n" for v in VOLTS))
    assert isinstance(run.exception, FileError)
    assert "Calibrations cannot be written" in str(run.exception)
    assert "Point 1" not in run.output


def test_points_that_no_disk_takes_are_printed(on_source: SourceRig, monkeypatch: pytest.MonkeyPatch):
    def full(*_: object, **__: object) -> Path:
        raise CalibrationError("points.csv cannot be written.", next_step="free some space")

    monkeypatch.setattr("sweeprig.bench.calibration.calibrate.write_points", full)
    run = CliRunner().invoke(app, CALIBRATE, input="".join(f"{v}\n" for v in VOLTS))
    assert isinstance(run.exception, CalibrationError)
    assert run.output.count("codes ") == len(VOLTS)
    assert f"reading {VOLTS[0]} V" in run.output
