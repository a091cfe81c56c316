"""Live views and prompts on a real pseudo-terminal, with the simulated rig behind them."""

from __future__ import annotations

import json
import os
import re
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from support.terminal import Terminal
from sweeprig.errors import SafetyError

SIM = "sim://{}?pace=fast&vm=cpython&seed=3"
Run = Callable[..., Terminal]


def test_watch_shows_it_large_and_restores_the_terminal(run: Run) -> None:
    t = run("watch", "--port", SIM.format("good"), "--seconds", "12", "--starts", "closed")
    assert t.end() == 0
    text = t.text()
    rows = [r for r in text.splitlines() if r.count("█") > 10 and "┤" not in r]
    assert len(rows) >= 5
    for words in ("ground ┤", "supply 4.", "sense: rising", "lever: follows", "q or Ctrl-C ends"):
        assert words in text
    assert t.restored
    assert b"\x1b[?25h" in t.raw, "the cursor is shown again"
    assert b"\x1b[?1049l" in t.raw, "the other screen is left"
    assert not re.search(rb"\x1b\[[0-9;]*m", t.raw), "NO_COLOR: no colour at all"


def test_watch_ends_with_q_at_once(run: Run) -> None:
    t = run("watch", "--port", SIM.format("good"))
    t.until(lambda t: "ground ┤" in t.text())
    t.send("q")
    assert t.end() == 0
    assert t.restored


def test_watch_ends_with_ctrl_c_and_puts_the_terminal_back(run: Run) -> None:
    t = run("watch", "--port", SIM.format("good"))
    t.until(lambda t: "ground ┤" in t.text())
    t.send("\x03")
    assert t.end() == 0
    assert t.restored


def test_colour_is_used_where_it_is_wanted(run: Run) -> None:
    t = run("watch", "--port", SIM.format("near-lower-rail"), "--seconds", "3", colour=True)
    assert t.end() == 0
    assert b"\x1b[1;33m" in t.raw


@pytest.mark.parametrize(("columns", "rows"), [(40, 10), (30, 6), (132, 43)])
def test_watch_fits_any_window(run: Run, columns: int, rows: int) -> None:
    t = run("watch", "--port", SIM.format("good"), "--seconds", "4", columns=columns, rows=rows)
    t.until(lambda t: b"\x1b[?1049h" in t.raw)
    assert t.end() == 0
    frames = t.raw.split(b"\x1b[H")[1:]
    assert frames
    for frame in frames:
        lines = frame.split(b"\x1b[J")[0].replace(b"\x1b[K", b"").decode().split("\n")
        assert len(lines) <= rows
        assert max(len(line.rstrip("\r")) for line in lines) <= columns


def test_watch_streams_json_lines_where_it_is_asked_to(tmp_path: Path) -> None:
    done = _piped("watch", "--port", SIM.format("good"), "--seconds", "3", "--json", home=tmp_path)
    lines = [json.loads(line) for line in done.stdout.splitlines()]
    assert len(lines) >= 20
    assert lines[-1]["seconds"] >= 2.9
    assert {"signal_v", "supply_v", "ratio", "flag", "follows"} <= lines[0].keys()
    assert "\x1b" not in done.stdout


def test_watch_without_a_terminal_prints_plain_lines(tmp_path: Path) -> None:
    done = _piped("watch", "--port", SIM.format("near-upper-rail"), "--seconds", "8", home=tmp_path)
    assert "NEAR THE SUPPLY" in done.stdout
    assert "\x1b" not in done.stdout


def _piped(*args: str, home: Path) -> subprocess.CompletedProcess[str]:
    import os
    import sys

    env = {**os.environ, "SWEEPRIG_HOME": str(home)}
    env.pop("NO_COLOR", None)
    return subprocess.run(
        [sys.executable, "-m", "sweeprig", *args],
        capture_output=True, text=True, env=env, timeout=90, check=False, stdin=subprocess.DEVNULL,
    )  # fmt: skip


def test_wiggle_counts_rings_and_marks_by_key(run: Run, tmp_path: Path) -> None:
    t = run(
        "wiggle", "--port", SIM.format("loose-connector") + "&hand=still", "--seconds", "120",
        "--sheet", "none", "--out", str(tmp_path),
    )  # fmt: skip
    t.until(lambda t: "last event" in t.text())
    t.send("2")
    t.until(lambda t: "now: bulkhead" in t.text())
    t.until(lambda t: re.search(r"(?m)^ *bulkhead +[1-9]\d*$", t.text()) is not None)
    t.send("q")
    assert t.end() == 10
    assert b"\a" in t.raw
    assert t.restored
    assert "cause connection" in t.raw.decode()
    kept = next(tmp_path.glob("wiggle-*.sweep"))
    again = _piped("review", str(kept), "--json", home=tmp_path)
    assert any("at bulkhead" in f["evidence"] for f in json.loads(again.stdout)["findings"])


def test_wiggle_as_json_has_events_with_places(tmp_path: Path) -> None:
    done = _piped(
        "wiggle", "--port", SIM.format("loose-connector") + "&hand=still", "--seconds", "15",
        "--marks", "0:plug,8:controller end", "--json", "--sheet", "none", "--out", str(tmp_path), home=tmp_path,
    )  # fmt: skip
    assert done.returncode == 10, done.stderr
    found = json.loads(done.stdout)["wiggle"]
    assert found["result"] == "reproduced"
    assert set(found["per_place"]) == {"plug", "controller end"}
    assert sum(found["per_place"].values()) == found["n_events"] == len(found["events"])


def test_wiggle_without_an_event_is_undecided(tmp_path: Path) -> None:
    done = _piped(
        "wiggle", "--port", SIM.format("good") + "&hand=still", "--seconds", "10", "--sheet", "none",
        "--out", str(tmp_path), home=tmp_path,
    )  # fmt: skip
    assert done.returncode == 11, done.stderr
    assert "NOT REPRODUCED" in done.stdout


def test_idle_needs_override_and_confirmation(tmp_path: Path) -> None:
    args = ("wiggle", "--port", SIM.format("good"), "--at-idle", "--seconds", "2")
    bare = _piped(*args, home=tmp_path)
    assert bare.returncode == SafetyError.exit_code
    assert "--override" in bare.stderr
    half = _piped(*args, "--override", "fault only at idle", home=tmp_path)
    assert half.returncode == SafetyError.exit_code
    assert "no hands near" in half.stderr


def test_cautions_are_asked_at_the_terminal_and_refused_with_n(run: Run, tmp_path: Path) -> None:
    args = (
        "sweep", "--port", SIM.format("good"), "--setting", "vehicle", "--drive", "combustion", "--job", "J-7",
        "--countdown", "0", "--sheet", "none", "--seconds", "2", "--out", str(tmp_path),
    )  # fmt: skip
    no = run(*args, rows=60)
    no.until(lambda t: "Confirm:" in t.text())
    no.send("n\n")
    assert no.end() == SafetyError.exit_code
    yes = run(*args, rows=60)
    yes.until(lambda t: "Confirm:" in t.text())
    yes.send("y\n")
    assert yes.end() in (0, 10, 11)
    assert b"Interlock: engine" in yes.raw
    again = run(*args, rows=60)
    assert again.end() in (0, 10, 11)
    assert b"Confirmed for this job" in again.raw
    assert b"CAUTION" not in again.raw


def test_aim_asks_for_the_mount_and_refuses_one_without_slots(run: Run) -> None:
    t = run("aim", "--port", SIM.format("badly-mounted"))
    t.until_asked("sit in slots")
    t.send("n\n")
    assert t.end() == SafetyError.exit_code
    assert "This mount cannot be adjusted" in t.text()


def test_aim_brings_a_badly_mounted_sensor_to_a_pass(tmp_path: Path) -> None:
    port = SIM.format("badly-mounted")
    done = _piped(
        "aim", "--port", port, "--mount", "slotted", "--json", "--out", str(tmp_path), "--sheet", "none",
        home=tmp_path,
    )  # fmt: skip
    result = json.loads(done.stdout)
    assert result["plan"]["possible"]
    assert result["after"]["verdict"] == "pass"
    foretold, measured = result["plan"]["predicted_open_v"], result["after"]["open_v"]["value"]
    assert measured == pytest.approx(foretold, abs=0.03)


def test_aim_says_where_no_position_will_do(tmp_path: Path) -> None:
    done = _piped(
        "aim", "--port", SIM.format("near-upper-rail"), "--mount", "slotted", "--plan", home=tmp_path
    )
    plan_ok = done.returncode == 0
    assert plan_ok or "No position is within limits" in done.stdout


@pytest.fixture
def turned(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Run]:
    tests = str(Path(__file__).parents[1])
    monkeypatch.setenv("PYTHONPATH", tests, prepend=os.pathsep)
    opened: list[Terminal] = []

    def start(*volts: str) -> Terminal:
        opened.append(Terminal("-m", "support.aim_child", *volts, home=tmp_path))
        return opened[-1]

    yield start
    for terminal in opened:
        terminal.close()


def test_aim_shows_the_way_and_ends_when_it_is_reached(turned: Run) -> None:
    t = turned("0.12", "0.45")
    t.until(lambda t: "UP: turn so that the reading rises" in t.text())
    assert re.search(r"by 0\.\d{3} V, \d+\.\d degrees", t.text())
    assert "▽" in t.text()
    assert t.end() == 0
    assert b"INSIDE the window" in t.raw
    assert b"Inside the window." in t.raw
    assert t.restored


def test_aim_that_is_not_reached_says_so(turned: Run) -> None:
    t = turned("0.80", "0.60")
    t.until(lambda t: "DOWN: turn so that the reading falls" in t.text())
    t.send("q")
    assert t.end() == 0
    assert b"Left outside the window." in t.raw


def test_aim_ends_with_ctrl_c_while_the_sensor_is_turned(turned: Run) -> None:
    t = turned("0.80", "0.60")
    t.until(lambda t: "DOWN: turn so that the reading falls" in t.text())
    t.send("\x03")
    assert t.end() != 0
    assert b"KeyboardInterrupt" in t.raw, "sweeprig.cli.main turns it into a line; the child here does not"
    assert b"outside the window." not in t.raw
    assert t.restored
