"""A series with a simulated rig: what is captured, kept and shown; the screen through a real pty."""

from __future__ import annotations

import json
import os
import pty
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pyte
import pytest

from support import outcomes
from sweeprig.bench.batch.series import Batch
from sweeprig.bench.sweep.run import cut_to
from sweeprig.capture.file import read_capture
from sweeprig.cli.views.desk import Desk
from sweeprig.link.messages import Gap, Mark
from sweeprig.records.store import open_store

COMMAND = [sys.executable, "-c", "from sweeprig.cli.main import run; run()"]
SERIES = [
    "sweep",
    "--series",
    "--port",
    "sim://good?pace=fast",
    "--batch",
    "trial",
    "--confirm",
    "plug-off",
    "--sheet",
    "none",
]


def test_a_capture_is_cut_to_what_the_trigger_keeps() -> None:
    trace = outcomes.make_trace()
    whole = outcomes.make_capture(trace, outcomes.make_setup(), snapshots=True)
    whole = replace(whole, gaps=(Gap(10, 3, 0), Gap(2000, 4, 0)), marks=(Mark(5, 0, 1), Mark(4000, 0, 2)))
    cut = cut_to(whole, 1500 * whole.window_s + 1e-9)
    assert cut.records.index[0] == 1500
    assert cut.records.sums.shape == (3500, 3)
    assert cut.setup.seconds == pytest.approx(3500 * whole.window_s, abs=1e-3)
    assert [g.index for g in cut.gaps] == [2000]
    assert [m.index for m in cut.marks] == [4000]
    assert cut.snapshots == ()  # it began before
    assert np.array_equal(cut_to(whole, -0.5).records.index, whole.records.index)


def test_a_series_of_two_sensors_from_a_list(tmp_path: Path) -> None:
    run = subprocess.run(
        [*COMMAND, *SERIES, "--json"],
        input="SN-1\n\n",
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert run.returncode == 0, run.stderr
    data = json.loads(run.stdout)
    assert [(e["serial"], e["verdict"], e["ended"]) for e in data["entries"]] == [
        ("SN-1", "pass", "strokes"),
        ("trial-001", "pass", "strokes"),
    ]
    assert data["summary"]["verdicts"] == {"pass": 2, "fail": 0, "undecided": 0}
    assert 0.4 < data["entries"][0]["closed_v"] < 0.5
    home = tmp_path / "home"
    with open_store(home / "records", create=False) as store:
        assert [r.serial for r in store.find(batch="trial")] == ["trial-001", "SN-1"]
    captures = [read_capture(p) for p in (home / "captures").glob("*.sweep")]
    assert {c.setup.serial for c in captures} == {"SN-1", "trial-001"}
    assert all(c.ended == "complete" for c in captures)
    assert all("full stroke" in " ".join(c.coaching) for c in captures)
    assert list((home / "captures").glob("*.journal*")) == []


class FewWords:
    """A client that notes commands and has one press of the button waiting."""

    def __init__(self, *capabilities: str) -> None:
        self.capabilities = capabilities
        self.sent: list[tuple[str, dict[str, Any]]] = []
        self.waiting: list[Any] = [[], [Mark(0, 0, 1)]]

    def hello(self) -> dict[str, Any]:
        return {"capabilities": list(self.capabilities)}

    def command(self, cmd: str, **args: Any) -> dict[str, Any]:
        self.sent.append((cmd, args))
        return {}

    def poll(self, _timeout_s: float) -> list[Any]:
        return self.waiting.pop(0) if self.waiting else []


@pytest.mark.parametrize(
    ("verdict", "tones"), [("pass", [80]), ("fail", [500, 500, 500]), ("undecided", [200, 200])]
)
def test_each_verdict_has_its_own_sound(verdict: str, tones: list[int]) -> None:
    client, slept = FewWords("buzzer"), []
    Desk(client, None, sleep=slept.append).sound(verdict)  # type: ignore[arg-type]
    assert client.sent == [("buzzer", {"ms": ms}) for ms in tones]
    assert len(slept) == len(tones) - 1
    assert all(s > tones[0] / 1000 for s in slept)  # the tones do not run into one another
    silent = FewWords()
    Desk(silent, None, sleep=slept.append).sound(verdict)  # type: ignore[arg-type]
    assert silent.sent == []


def test_the_rigs_button_repeats_the_sensor_on_the_bench(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys.stdin, "isatty", lambda: True, raising=False)
    monkeypatch.setattr("sweeprig.cli.views.screen.typed_keys", lambda: "")
    batch = Batch("B")
    batch.next_sensor("SN-3")
    client = FewWords()
    assert Desk(client, None, sleep=lambda _: None).wait(batch)  # type: ignore[arg-type]
    assert batch.serial == "SN-3"
    assert client.waiting == []


def test_the_verdict_fills_a_real_terminal() -> None:
    """Type a serial number, wait for the verdict, end with Ctrl-D; the screen is read back by a terminal emulator."""
    columns, rows = 100, 30
    env = {**os.environ, "TERM": "xterm", "COLUMNS": str(columns), "LINES": str(rows)}
    pid, handle = pty.fork()
    if pid == 0:
        os.execve(COMMAND[0], [*COMMAND, *SERIES], env)
    screen = pyte.Screen(columns, rows)
    stream = pyte.ByteStream(screen)
    typed, raw = "SN-7\r", b""
    seen_letters = False
    deadline = time.monotonic() + 240
    while time.monotonic() < deadline:
        try:
            data = os.read(handle, 4096)
        except OSError:  # Linux: the other side has closed
            break
        stream.feed(data)
        raw += data
        text = "\n".join(screen.display)
        if typed and "Ctrl-D ends" in text:
            os.write(handle, typed.encode())
            typed = ""
        elif not typed and "█" in text and "SN-7   closed" in text and "serial: _" in text:
            seen_letters = True
            os.write(handle, b"\x04")
            typed = ""
    _, status = os.waitpid(pid, 0)
    os.close(handle)
    assert seen_letters
    assert os.waitstatus_to_exitcode(status) == 0
    after = raw.rpartition(b"\x1b[?1049l")[2].decode()  # on the terminal's own screen again
    assert "Batch trial: 1 sensor, 1 sweep" in after
