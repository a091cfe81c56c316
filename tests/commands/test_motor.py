"""The commands of a driven build, on a simulated one."""

from __future__ import annotations

import json
import re
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from support.terminal import Terminal
from sweeprig.bench.drive import course
from sweeprig.bench.readings.limits import limit
from sweeprig.cli.main import app
from sweeprig.errors import HookupError, InputError

PORT = "sim://good?board=driven&pace=fast&vm=cpython"
FASTER = {"driven.stroke_s": 1.5, "driven.search_deg_s": 60.0, "driven.hold_s": 0.6}


@pytest.fixture(autouse=True)
def _home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SWEEPRIG_HOME", str(tmp_path / "home"))
    monkeypatch.setattr(course, "limit", lambda key: FASTER.get(key, limit(key)))


def invoke(*args: str) -> Result:
    return CliRunner().invoke(app, list(args))


def test_the_first_check_of_a_motor_is_a_small_step_each_way() -> None:
    done = invoke("motor", "--port", PORT)
    assert done.exit_code == 0, done.output
    assert "opening: asked +5.0 degrees" in done.output
    assert "closing: asked -5.0 degrees" in done.output
    assert "Motor, belt and encoder work together." in done.output


def test_a_motor_that_does_not_turn_is_told_with_what_to_do() -> None:
    done = invoke("motor", "--port", f"{PORT}&motor=stuck", "--json")
    found = json.loads(done.stdout)
    assert done.exit_code == 10
    assert not found["good"]
    assert "S3" in found["next_step"]
    assert found["steps"][0]["moved_deg"] == 0


def test_the_angle_is_shown_with_the_motor_off() -> None:
    done = invoke("motor", "--angle", "--port", PORT)
    assert "is at 35.2 degrees; the motor is without current" in done.output
    missing = invoke("motor", "--angle", "--port", f"{PORT}&magnet=no")
    assert "look at encoder, cable and magnet" in missing.output


def test_a_driven_sweep_ends_with_card_sheet_and_record(tmp_path: Path) -> None:
    done = invoke("sweep", "--driven", "--travel", "60", "--port", PORT, "--out", str(tmp_path))
    assert done.exit_code == 0, done.output
    said = " ".join(done.output.split())
    for words in ("HANDS OFF", "Looking for the closed stop", "Opening, stroke 3 of 3", "3 full strokes"):
        assert words in said
    assert said.count("inearity and hysteresis 0.") == 2  # after the strokes, and on the card
    assert re.search(r"% of supply over (59\.[5-9]|60\.[0-4]) degrees", said)
    (sheet,) = tmp_path.glob("*.html")
    assert "Hysteresis" in sheet.read_text()
    shown = invoke("records", "show", "1", "--json")
    assert shown.exit_code == 0
    (capture,) = tmp_path.glob("*.sweep")
    result = json.loads(invoke("review", str(capture), "--json").stdout)
    assert result["linearity"]["travel_deg"] == pytest.approx(60, abs=0.6)
    assert result["linearity"]["hysteresis_percent"] < 0.5


@pytest.mark.parametrize(
    "more",
    [["--seconds", "9"], ["--series"], ["--starts", "open"], ["--hookup", "tapped"], ["--travel", "3"]],
)
def test_what_does_not_go_with_a_motor_is_refused(more: list[str]) -> None:
    why = invoke("sweep", "--driven", "--port", PORT, *more).exception
    assert isinstance(why, InputError | HookupError)
    assert "motor" in why.what


def test_a_travel_without_the_motor_is_refused() -> None:
    why = invoke("sweep", "--travel", "60", "--port", PORT).exception
    assert "add --driven" in str(why)


def test_a_rig_without_a_motor_says_so() -> None:
    why = invoke("motor", "--port", "sim://good?pace=fast&vm=cpython").exception
    assert isinstance(why, HookupError)
    assert "no motor" in str(why)


@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
def test_fingers_are_asked_for_and_ctrl_c_lets_the_motor_go(tmp_path: Path) -> None:
    args = ("sweep", "--driven", "--port", f"{PORT}&rehearse=yes", "--confirm", "plug-off")
    made = Terminal("-m", "sweeprig", *args, home=tmp_path / "home", columns=80, rows=24)
    try:
        made.until_asked("pinches")
        made.send("y\n")
        made.until(lambda t: "Looking for the open stop" in t.text())
        made.send("\x03")
        assert made.end() == 130, made.text()
        assert "nothing was saved" in made.text()
    finally:
        made.close()
