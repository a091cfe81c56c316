"""The commands as a technician types them: results, exit codes, errors without a traceback."""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from sweeprig.bench.review.result import schema

SIM = "sim://{}?pace=fast&vm=cpython&seed=3"


def sweeprig(*args: str, home: Path, timeout: float = 600) -> subprocess.CompletedProcess[str]:
    env = {**os.environ, "SWEEPRIG_HOME": str(home), "NO_COLOR": "1"}
    done = subprocess.run(
        [sys.executable, "-m", "sweeprig", *args],
        capture_output=True, text=True, env=env, timeout=timeout, check=False, stdin=subprocess.DEVNULL,
    )  # fmt: skip
    assert "Traceback" not in done.stderr, done.stderr
    return done


def sweep(sensor: str, home: Path, *more: str) -> subprocess.CompletedProcess[str]:
    return sweeprig("sweep", "--port", SIM.format(sensor), *more, home=home)


def checked(text: str) -> dict[str, Any]:
    result = json.loads(text)
    jsonschema.validate(result, schema())
    return dict(result)


def test_a_good_sensor_passes_and_its_file_says_the_same(tmp_path: Path) -> None:
    done = sweep("good", tmp_path, "--json", "--label", "Shelf 3")
    assert done.returncode == 0, done.stderr
    result = checked(done.stdout)
    assert result["verdict"] == "pass"
    assert result["sense"] == "rising"
    assert result["findings"] == []
    assert "Shelf" not in result["capture_file"]
    page = Path(result["sheet_file"]).read_text("utf-8")
    assert "Shelf 3" in page
    again = checked(sweeprig("review", result["capture_file"], "--json", home=tmp_path).stdout)
    for key in ("verdict", "closed_v", "open_v", "margins", "strokes", "lowest_reading_v"):
        assert again[key] == result[key]


def test_a_worn_sensor_fails_with_its_place(tmp_path: Path) -> None:
    done = sweep("worn", tmp_path, "--json")
    assert done.returncode == 10
    result = checked(done.stdout)
    found = {f["code"]: f for f in result["findings"]}
    low, high = found["worn-spot"]["where_percent"]
    assert low <= 19
    assert high >= 17


def test_sensor_fed_elsewhere_is_refused_before_power(tmp_path: Path) -> None:
    done = sweep("over-range", tmp_path)
    assert done.returncode == 5
    assert "leads carry voltage while the rig's supply is off" in done.stderr
    assert "OFF the harness" in done.stderr
    assert "no overload" not in done.stderr + done.stdout
    assert not list(tmp_path.rglob("*.sweep"))


def test_the_sheet_has_the_first_power_of_both_lever_positions(tmp_path: Path) -> None:
    done = sweep("falling", tmp_path, "--json")
    page = Path(checked(done.stdout)["sheet_file"]).read_text("utf-8")
    assert "Supply at this lever position: 4." in page
    assert "Supply at the other lever position (signal 0.5" in page
    assert page.count("no overload") == 2


def test_no_rig_says_what_to_do(tmp_path: Path) -> None:
    done = sweeprig("sweep", "--port", str(tmp_path / "ttyNone"), home=tmp_path)
    assert done.returncode == 3
    assert "next:" in done.stderr


@pytest.mark.parametrize(
    ("args", "code", "said"),
    [
        (("sweep", "--port", "sim://gud"), 2, "simulated sensor"),
        (("sweep", "--port", "sim://good?pace=slow"), 2, "pace"),
        (("sweep", "--seconds", "-1"), 2, "seconds"),
        (("review", "none.sweep"), 4, "File not found"),
        (("review", "none.csv"), 4, "File not found"),
    ],
)
def test_wrong_input_is_named(tmp_path: Path, args: tuple[str, ...], code: int, said: str) -> None:
    done = sweeprig(*args, home=tmp_path)
    assert done.returncode == code, done.stderr
    assert said in done.stderr


def test_an_unplugged_rig_leaves_a_judged_capture(tmp_path: Path) -> None:
    done = sweeprig(
        "sweep",
        "--port",
        SIM.format("good") + "&unplug_after=2.5",
        "--json",
        home=tmp_path,
    )
    result = checked(done.stdout)
    assert result["ended"] == "unplugged"
    assert "kept in" in done.stderr
    assert Path(result["capture_file"]).exists()


def test_a_csv_is_judged_without_a_rig(tmp_path: Path) -> None:
    table = tmp_path / "trace.csv"
    noise = random.Random(4)
    rows = ["time_s,signal_v,supply_v"]
    for i in range(4000):
        at = i / 1000 % 2
        up = at < 1.25
        phase = min(max((at - 0.5 if up else 2 - at) / 0.5, 0.0), 1.0)
        wave = 0.45 + 3.9 * phase * phase * (3 - 2 * phase)
        rows.append(f"{i / 1000:.3f},{wave + noise.gauss(0, 4e-4):.5f},5.0")
    table.write_text("\n".join(rows), encoding="utf-8")
    result = checked(sweeprig("review", str(table), "--json", home=tmp_path).stdout)
    assert result["closed_v"]["value"] == pytest.approx(0.45, abs=0.002)
    assert result["open_v"]["value"] == pytest.approx(4.35, abs=0.002)
    assert result["strokes"] == 4


def test_a_bad_row_of_a_csv_is_named_by_its_line(tmp_path: Path) -> None:
    table = tmp_path / "bad.csv"
    table.write_text("time_s,signal_v\n0,1\n1,x\n", encoding="utf-8")
    done = sweeprig("review", str(table), home=tmp_path)
    assert done.returncode == 4
    assert "line 3" in done.stderr


def test_an_empty_capture_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "empty.sweep").write_bytes(b"")
    done = sweeprig("review", str(tmp_path / "empty.sweep"), home=tmp_path)
    assert done.returncode == 4
    assert "not a capture file" in done.stderr


def test_the_demo_ends_with_verdicts_and_sheets(tmp_path: Path) -> None:
    done = sweeprig("demo", "--fast", "--out", str(tmp_path / "demo"), home=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "FAIL: Worn spot" in done.stdout
    assert "PASS" in done.stdout
    assert len(list((tmp_path / "demo").glob("*.html"))) == 2


def test_the_demo_as_json_is_one_object(tmp_path: Path) -> None:
    done = sweeprig(
        "-q", "demo", "--fast", "--json", "--sensor", "good", "--out", str(tmp_path / "d"), home=tmp_path
    )
    (scene,) = json.loads(done.stdout)["scenes"]
    assert scene["verdict"] == "pass"
    assert Path(scene["sheet_file"]).exists()


def test_unwritable_folder_is_said_before_switching_on(tmp_path: Path) -> None:
    file = tmp_path / "file"
    file.write_text("", encoding="utf-8")
    done = sweep("good", tmp_path, "--out", str(file))
    assert done.returncode == 4
    assert "cannot be written" in done.stderr
    assert "no overload" not in done.stderr


def test_quiet_may_stand_behind_the_command(tmp_path: Path) -> None:
    done = sweeprig("demo", "--sensor", "list", "--json", "--quiet", home=tmp_path)
    assert done.returncode == 0
    assert done.stderr == ""
    assert "worn" in json.loads(done.stdout)
