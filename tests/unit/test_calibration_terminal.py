"""A calibration at the terminal and from a pipe: a moving voltage, an ended input, a whole one of a simulated rig."""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from support.fake_rig import FakeRig
from sweeprig.bench.calibration.points import MOST_TRIES, Measured
from sweeprig.bench.shop.places import find_places
from sweeprig.calibration.store import load_calibration
from sweeprig.cli.asking import answered
from sweeprig.cli.main import app
from sweeprig.errors import InputError
from sweeprig.link.client import RigClient

runner = CliRunner()
CALIBRATE = ["calibrate", "--meter", "0.05%+3", "--count", "0.0001", "--json"]
GAIN, ZERO = 1.335e-3, 15.0


def point(volts: float, moved: float) -> Measured:
    return Measured((volts / GAIN + ZERO,) * 3, (0.02,) * 3, (0.8,) * 3, (moved,) * 3)


@pytest.fixture
def looks(monkeypatch: pytest.MonkeyPatch) -> list[Measured]:
    """What the rig sees, one point after another."""
    seen: list[Measured] = []
    rig = FakeRig(chip="rp2350", smps="pwm")

    @contextmanager
    def opened(port: str) -> Iterator[RigClient]:
        client = RigClient(rig, clock=rig.clock)
        client.hello()
        yield client

    monkeypatch.setattr("sweeprig.bench.board.rig.opened_rig", opened)
    monkeypatch.setattr("sweeprig.bench.calibration.points.measure", lambda client, hookup: seen.pop(0))
    return seen


def test_a_voltage_that_moves_for_ever_ends_with_what_to_do(looks: list[Measured]) -> None:
    looks += [point(0.2, 0.1), *(point(1.35, 12.5) for _ in range(MOST_TRIES + 2))]
    run = runner.invoke(app, CALIBRATE, input="0.2\n1.35\n2.5\n3.65\n4.8\n")
    assert isinstance(run.exception, InputError)
    assert "12.5 codes, 3 times" in run.exception.seen
    assert "steady voltage" in run.exception.next_step
    assert len(looks) == 2  # no more than the limit was read
    (kept,) = (find_places().calibrations / "points").glob("*.csv")
    assert kept.read_text().splitlines()[1].startswith("0.200000,")  # what was typed before is not lost


def test_the_first_line_says_what_the_calibration_is_worth(looks: list[Measured]) -> None:
    volts = (0.2, 1.35, 2.5, 3.65, 4.8)
    looks += [point(v, 0.1) for v in volts]
    run = runner.invoke(app, CALIBRATE[:-1], input="".join(f"{v}\n" for v in volts))
    assert run.exit_code == 0, run.exception
    first = run.stdout.splitlines()[len(volts)]  # behind what was typed
    good = re.fullmatch(
        r"Calibration stored: signal A is good to ±(\d+\.\d) mV from 0\.5 to 4\.5 V \(95 %\)\.", first
    )
    assert good, first
    worths = [float(w) for w in re.findall(r"±(\d+\.\d) mV at", run.stdout)]
    assert float(good[1]) == max(worths)
    for raw in ("line+linearity", "chi-square", "regulator mode pwm"):
        assert raw not in run.stdout


def test_counts_left_out_of_a_meters_accuracy_are_told(looks: list[Measured]) -> None:
    volts = (0.2, 1.35, 2.5, 3.65, 4.8)
    looks += [point(v, 0.1) for v in volts]
    args = ["calibrate", "--meter", "0.05%", "--count", "0.0001", "--json"]
    run = runner.invoke(app, args, input="".join(f"{v}\n" for v in volts))
    assert run.stderr.startswith("No counts given for the meter: 0 is taken.")
    assert "0 is taken" not in runner.invoke(app, CALIBRATE, input="").stderr


def test_readings_from_a_pipe_stay_with_their_points(looks: list[Measured]) -> None:
    volts = (0.2, 1.35, 2.5, 3.65, 4.8)
    for v in volts:
        looks += [point(v, 5.0), point(v, 0.1)] if v in (1.35, 3.65) else [point(v, 0.1)]
    run = runner.invoke(app, CALIBRATE, input="".join(f"{v}\n" for v in volts))
    assert run.exit_code == 0, run.exception
    calibration = load_calibration(
        json.loads(run.stdout[run.stdout.index("{") :])["calibration"]["rig_uid"],
        folder=find_places().calibrations,
    )
    assert calibration is not None
    assert calibration.channels[0].line.gain_v == pytest.approx(GAIN, rel=1e-3)


@pytest.mark.parametrize(
    ("command", "text", "names"),
    [
        (["calibrate"], "", "--meter"),
        (CALIBRATE, "0.2\n", "--points-file"),
        (["pins"], "850\n", "sweeprig pins 1-2="),
    ],
)
def test_an_input_that_ends_names_what_answers(
    looks: list[Measured], command: list[str], text: str, names: str
) -> None:
    looks += [point(0.2, 0.1)]
    run = runner.invoke(app, command, input=text)
    assert isinstance(run.exception, InputError), run.output
    assert names in run.exception.next_step
    assert run.exception.exit_code == 2


# A plain build tells no temperature: 10 K since the calibration may have moved its clamps' leakage and its divider.
@pytest.mark.parametrize(("board", "narrow_v"), [("full", 5e-3), ("plain", 8e-3)])
def test_a_calibrated_simulated_rig_has_narrow_intervals(tmp_path: Path, board: str, narrow_v: float) -> None:
    rig = f"pace=fast&vm=cpython&seed=5&board={board}"
    volts = (0.5, 1.5, 2.5, 3.5, 4.5)
    port = f"sim://bench-voltage?{rig}&volts={','.join(map(str, volts))}"
    run = runner.invoke(app, [*CALIBRATE, "--port", port], input="".join(f"{v}\n" for v in volts))
    assert run.exit_code == 0, run.exception
    standard = f"sim://bench-voltage?{rig}&volts=3"
    verify = ["calibrate", "verify", "3.0", "--standard-u", "0.0005", "--json", "--port", standard]
    assert json.loads(runner.invoke(app, verify).stdout)["verdict"] == "pass"
    sweep = ["sweep", "--port", f"sim://good?{rig}", "--seconds", "3", "--json", "--sheet", "none"]
    more = ["--out", str(tmp_path), "--track-ohm", "5000", "--confirm", "cautions"]
    swept = runner.invoke(app, [*sweep, *more]).stdout
    data = json.loads(swept[swept.index("{") :])
    assert "never calibrated" not in swept
    assert data["calibration"] == "line+linearity"
    assert data["closed_v"]["u95"] < narrow_v
    assert data["open_v"]["u95"] < narrow_v


def test_the_end_of_input_leaves_the_line_of_the_prompt(capsys: pytest.CaptureFixture[str]) -> None:
    """The error stood behind the prompt: `Meter reads: sweeprig: No answer ...`."""

    def ends() -> str:
        print("Meter reads: ", end="", file=sys.stderr)
        raise typer.Abort

    with pytest.raises(InputError, match="end of input"):
        answered(ends)
    assert capsys.readouterr().err == "Meter reads: \n"
