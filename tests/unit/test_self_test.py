"""`rigs --self-test`: what it tries, on a simulated rig and on one that does not do as it should."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from support.fake_rig import FakeRig
from sweepboard import wire
from sweeprig.bench.board.rig import opened_rig
from sweeprig.bench.connection.self_test import SelfTest, self_test
from sweeprig.cli.main import app
from sweeprig.link.client import RigClient

GOOD_CHECK = {"problems": [], "largest_block": 20_000, "free_bytes": 60_000, "temperature_c": 27.0}
FIGURES = {"windows_dropped": 0, "conversions_lost": 0, "conversions_in_error": 0}


class Board(FakeRig):
    """A fake rig with a self-check, and counts in its replies; it ends a stream by itself or not."""

    ends_alone = True

    def _reply(self, command: dict[str, object], **more: object) -> None:
        super()._reply(command, **FIGURES, **more)

    def rest(self, seconds: float) -> None:
        self.clock.now += seconds
        self.streaming = self.streaming and not self.ends_alone

    def _obey(self, name: str, command: dict[str, object]) -> None:
        if name == "status":
            fields = (5, 4, 3, 2, 1, 0, 99, self.streaming, 1, 0)
            self.send(wire.STATUS, wire.struct.pack(wire.STATUS_FORMAT, *fields), self._index)
            self._reply(command)
        else:
            super()._obey(name, command)


def tried(board: Board) -> SelfTest:
    return self_test(RigClient(board, clock=board.clock), clock=board.clock, sleep=board.rest)


def named(found: SelfTest, name: str) -> bool | None:
    return next(step.good for step in found.steps if step.name == name)


def test_a_good_board_has_nothing_wrong() -> None:
    found = tried(Board(self_check=GOOD_CHECK))
    assert [(step.name, step.good) for step in found.steps] == [
        ("self-check", True),
        ("memory", True),
        ("rate", True),
        ("losses", True),
        ("laptop stops talking", True),
    ]
    assert found.good
    assert found.lines()[-1] == "5 of 5 steps judged: no fault seen in them."


def test_each_thing_that_is_wrong_is_told() -> None:
    board = Board(self_check={**GOOD_CHECK, "problems": ["board supply 3.90 V"], "largest_block": 1024})
    board.ends_alone = False
    board.drop = {100: 2}
    found = tried(board)
    assert [step.name for step in found.steps if step.good is False] == [
        "self-check",
        "memory",
        "losses",
        "laptop stops talking",
    ]
    assert "board supply 3.90 V" in "\n".join(found.lines())


def test_a_board_whose_crystal_is_wrong_is_told() -> None:
    board = Board(self_check=GOOD_CHECK)
    slow = self_test(
        RigClient(board, clock=board.clock), clock=lambda: board.clock.now * 1.02, sleep=board.rest
    )
    assert named(slow, "rate") is False


def test_the_light_blinks_while_losses_are_counted() -> None:
    board = Board(self_check=GOOD_CHECK, capabilities=["light"])
    found = tried(board)
    words = [(command["cmd"], command.get("mode")) for command in board.commands]
    blinks, stops, off = (words.index(word) for word in (("light", "fast"), ("stop", None), ("light", "off")))
    assert words.index(("start", None)) < blinks < stops < off
    assert "made to blink" in "\n".join(found.lines())


@pytest.fixture
def short(monkeypatch: pytest.MonkeyPatch) -> None:
    """One second of a simulated rig is enough to count in."""
    monkeypatch.setattr("sweeprig.bench.connection.self_test.STREAM_S", 1.0)


@pytest.mark.usefixtures("short")
def test_the_simulated_rig_passes_and_counts() -> None:
    with opened_rig("sim://good?pace=fast") as client:
        found = self_test(client, simulated=True)
    assert named(found, "counting converter readings while measuring") is True
    assert named(found, "second converter (slow, precise)") is True
    assert named(found, "rate") is None
    assert found.good


def test_a_port_that_is_named_is_asked_which_rig_it_is() -> None:
    done = CliRunner().invoke(app, ["rigs", "--port", "sim://good?pace=fast"])
    assert done.exit_code == 0, done.output
    assert re.fullmatch(
        r"Rig \w+: simulated full build, firmware [\d.]+ on MicroPython \S+, built \S+, \d+ conversions a second\.\n",
        done.stdout,
    )


@pytest.mark.usefixtures("short")
@pytest.mark.parametrize(("more", "good"), [("", True), ("&magnet=no", False)])
def test_the_angle_encoder_of_a_driven_build_is_asked(more: str, good: bool) -> None:
    with opened_rig(f"sim://good?board=driven&pace=fast&vm=cpython{more}") as client:
        assert named(self_test(client, simulated=True), "angle encoder") is good


@pytest.mark.usefixtures("short")
def test_the_page_names_every_step_that_is_tried() -> None:
    page = (Path(__file__).parents[2] / "docs/reference/firmware.md").read_text()
    told = set(re.findall(r"step `([^`]+)`", page))
    with opened_rig("sim://good?board=driven&pace=fast&vm=cpython") as client:
        tried_here = [step.name for step in self_test(client, simulated=True).steps]
    assert tried_here[-1] == "laptop stops talking"  # the page calls it the last step
    assert {name.partition(" (")[0] for name in tried_here[:-1]} == told


@pytest.mark.usefixtures("short")
def test_the_report_as_json() -> None:
    done = CliRunner().invoke(app, ["rigs", "--self-test", "--port", "sim://good?pace=fast", "--json"])
    assert done.exit_code == 0, done.output
    report = json.loads(done.stdout)
    assert report["good"]
    assert {"hello", "steps"} <= set(report)
    assert pytest.approx(5, abs=2) == len(report["steps"])


def test_the_report_names_functions_and_invents_no_figures() -> None:
    report = "\n".join(tried(Board(capabilities=["light", "bias"])).lines())
    assert "It has: light, pull on open leads" in report
    assert "self-check: not judged. the board sent no self-check result; expected" in report
    assert "memory: not judged. the board sends no figures of its memory; expected" in report
