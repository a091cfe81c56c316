"""What the day's commands refuse before a rig is opened, and what they say where nobody answers."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from support.terminal import Terminal
from sweeprig.errors import FileError, InputError

SIM = "sim://{}?pace=fast&vm=cpython&seed=3"
NO_RIG = "sim://no-such-sensor"  # opening it fails: what is refused with another message came before
Run = Callable[..., Terminal]


def piped(*args: str, home: Path) -> subprocess.CompletedProcess[str]:
    env = {**os.environ, "SWEEPRIG_HOME": str(home)}
    return subprocess.run(
        [sys.executable, "-m", "sweeprig", *args],
        capture_output=True, text=True, env=env, timeout=90, check=False, stdin=subprocess.DEVNULL,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("options", "what"),
    [
        (("--target", "nan"), "target for the closed end is out of range"),
        (("--target", "9"), "target for the closed end is out of range"),
        (("--volts-per-degree", "0"), "volts per degree are out of range"),
        (("--volts-per-degree", "nan"), "volts per degree are out of range"),
        (("--angle", "0=nan", "--angle", "5=0.5"), "not an angle"),
        (("--angle", "0=0.1", "--angle", "1=4.1"), "volts per degree are out of range"),
    ],
)
def test_aim_refuses_numbers_before_a_sweep(options: tuple[str, ...], what: str, tmp_path: Path) -> None:
    done = piped("aim", "--port", NO_RIG, "--mount", "slotted", *options, home=tmp_path)
    assert done.returncode == InputError.exit_code, done.stderr
    assert what in done.stderr
    for word in ("seen:", "expected:", "next:"):
        assert word in done.stderr
    assert "CAUTION" not in done.stderr


@pytest.mark.parametrize("command", [("aim", "--mount", "slotted"), ("wiggle", "--seconds", "2")])
def test_folder_is_looked_at_before_a_rig(command: tuple[str, ...], tmp_path: Path) -> None:
    file = tmp_path / "taken"
    file.write_text("no folder", encoding="utf-8")
    done = piped(*command, "--port", NO_RIG, "--out", str(file), home=tmp_path / "home")
    assert done.returncode == FileError.exit_code, done.stderr
    assert "Traceback" not in done.stderr
    assert str(file) in done.stderr


def test_aim_says_once_that_no_position_will_do(tmp_path: Path) -> None:
    done = piped(
        "aim", "--port", SIM.format("good"), "--mount", "slotted", "--plan", "--target", "4.6",
        home=tmp_path,
    )  # fmt: skip
    assert done.returncode == 10, done.stderr
    assert (done.stdout + done.stderr).count("No position is within limits") == 1


def test_aim_ends_with_ctrl_c_in_its_first_sweep(run: Run) -> None:
    t = run("aim", "--port", SIM.format("badly-mounted"), "--mount", "slotted", "--plan", "--seconds", "3000")
    t.until(lambda t: re.search(rb"[1-9]\d*\.\d of 3000 s", t.raw) is not None)  # enough to analyse
    t.send("\x03")
    assert t.end() == 130
    assert b"Now: closed" not in t.raw


@pytest.mark.parametrize(
    ("command", "asked", "option"),
    [
        (("check", "--setting", "vehicle"), "What drives the vehicle", "--drive"),
        (("aim",), "sit in slots", "--mount"),
        (("wiggle", "--setting", "vehicle", "--drive", "combustion"), "Confirm:", "--confirm cautions"),
    ],
)
def test_end_of_input_names_the_option_that_answers(
    run: Run, command: tuple[str, ...], asked: str, option: str
) -> None:
    t = run(*command, "--port", SIM.format("good"), rows=60)
    t.until(lambda t: asked in t.text())
    t.send("\x04")
    assert t.end() == InputError.exit_code
    assert "Aborted" not in t.text()
    assert re.search(rf"next: .*{option}", t.text())


def test_ctrl_c_at_a_question_stops(run: Run) -> None:
    t = run("aim", "--port", SIM.format("good"))
    t.until_asked("sit in slots")
    t.send("\x03")
    assert t.end() == 130


@pytest.mark.parametrize("drive", [(), ("--drive", "steam")])
@pytest.mark.parametrize("command", ["check", "watch", "wiggle", "sweep"])
def test_drive_is_asked_for_before_the_cautions(command: str, drive: tuple[str, ...], tmp_path: Path) -> None:
    done = piped(command, "--setting", "vehicle", *drive, "--port", NO_RIG, home=tmp_path)
    assert done.returncode == InputError.exit_code, done.stderr
    assert "--drive combustion" in done.stderr
    assert "CAUTION" not in done.stderr


def test_wiggle_shows_its_result_where_no_record_can_be_kept(tmp_path: Path) -> None:
    broken = tmp_path / "records.toml"
    broken.write_text("no database" * 200, encoding="utf-8")
    env = {**os.environ, "SWEEPRIG_HOME": str(tmp_path / "home")}
    told = [sys.executable, "-m", "sweeprig", "config", "set", "records_url", f"sqlite:///{broken}"]
    subprocess.run(told, env=env, check=True, capture_output=True)
    done = piped(
        "wiggle", "--port", SIM.format("good") + "&hand=still", "--seconds", "5", "--sheet", "none",
        "--out", str(tmp_path), home=tmp_path / "home",
    )  # fmt: skip
    assert done.returncode == 11, done.stderr
    assert "NOT REPRODUCED" in done.stdout
    assert "NO RECORD IS SAVED" in done.stderr
