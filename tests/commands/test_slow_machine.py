"""A simulated run depends on no wall clock: on a machine forty times slower it comes to the same result."""

from __future__ import annotations

import json
import time
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from sweeprig.bench.board import rig
from sweeprig.cli.main import app
from sweeprig.errors import BoardSilentError
from sweeprig.link.client import RigClient

SIM = "sim://{}?pace=fast&vm=cpython&seed=3"
SLOWER = 40
SAME = ("verdict", "sense", "strokes", "data_blocks_lost", "ended")


def result(monkeypatch: pytest.MonkeyPatch, home: Path, *args: str, slower: float = 1) -> dict[str, Any]:
    monkeypatch.setenv("SWEEPRIG_HOME", str(home))
    clock = partial(lambda rate: rate * time.monotonic(), slower)
    monkeypatch.setattr(rig, "RigClient", partial(RigClient, clock=clock))
    done = CliRunner().invoke(app, [*args, "--json"])
    assert done.exit_code in {0, 10, 11}, done.output
    return dict(json.loads(done.stdout))


@pytest.mark.parametrize(
    "args",
    [
        ("sweep", "--port", SIM.format("worn")),
        ("wiggle", "--seconds", "3", "--port", SIM.format("loose-connector")),
    ],
    ids=["sweep", "wiggle"],
)
def test_the_same_comes_out_however_slow_the_machine(
    args: tuple[str, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fast = result(monkeypatch, tmp_path / "a", *args)
    slow = result(monkeypatch, tmp_path / "b", *args, slower=SLOWER)
    for key in SAME:
        assert slow[key] == fast[key]
    places = [[(f["code"], f["where_percent"]) for f in one["findings"]] for one in (slow, fast)]
    assert places[0] == places[1]
    for key in (
        "closed_v",
        "open_v",
        "supply_v",
    ):  # a sweep ends with a look, one of a few windows more or less
        assert slow[key]["value"] == (fast[key]["value"] and pytest.approx(fast[key]["value"], abs=1e-5))
    assert slow["seconds"] == pytest.approx(fast["seconds"], abs=0.1)


def test_a_slow_signal_does_not_make_the_rig_fall_silent(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    args = ("sweep", "--seconds", "2", "--countdown", "0", "--port", SIM.format("pwm"))
    assert result(monkeypatch, tmp_path, *args, slower=SLOWER)["verdict"] == "undecided"


class Deaf:
    """A port on which nothing ever comes; looking at it costs the time that is waited."""

    name = "deaf"

    def __init__(self) -> None:
        self.now_s = 0.0

    def read(self, timeout_s: float) -> bytes:
        self.now_s += timeout_s + 1e-3
        return b""

    def write(self, data: bytes) -> None:
        """Take what is sent."""

    def close(self) -> None:
        """Nothing is open."""


@pytest.mark.parametrize("patience", [1.0, 60.0])
def test_a_silent_board_is_given_up_after_its_patience(patience: float) -> None:
    port = Deaf()
    with pytest.raises(BoardSilentError):
        RigClient(port, clock=lambda: port.now_s, patience=patience).hello()
    assert port.now_s == pytest.approx(3.0 * patience, rel=0.05)
