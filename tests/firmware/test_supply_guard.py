"""In whatever order a host commands and leads are swapped: no sensor is fed twice, no tapped one at all."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from support.pythons import CASES, micropython, path_of

PARTS = CASES / "service_parts"

Step = tuple[str, Any]


def say(cmd: str, **arguments: Any) -> Step:
    return ("say", (cmd, arguments))


COMMANDS = (
    *(say("supply", on=on) for on in (True, True, True, False)),
    *(say("start", hookup=hookup) for hookup in ("powered", "powered", "tapped")),
    *(say("burden", on=on) for on in (True, False)),
    *(say("bias", mode=mode) for mode in ("up", "down", "off")),
    *(say("ramp", leg_ms=leg_ms) for leg_ms in (0, 1000)),
    *(say(name) for name in ("stop", "hello", "selfcheck", "status", "prompt")),
    say("histogram", channel=0, windows=3),
    say("snapshots", spread=100),
    say("drive", action="goto", position=5),
)
STEPS = st.one_of(
    st.sampled_from(COMMANDS),
    st.sampled_from(COMMANDS),
    st.tuples(st.just("go"), st.sampled_from((1, 2, 5, 30))),
    st.tuples(st.just("silent"), st.sampled_from((1, 30, 700))),
    st.tuples(st.just("lead"), st.sampled_from(("powered", "tap", "none"))),
    st.tuples(st.just("harness"), st.booleans()),
    st.tuples(st.just("converts"), st.booleans()),
)
PROGRAMS = st.lists(STEPS, max_size=14)
FED_AT_ONCE = [("harness", True), say("start"), say("supply", on=True), ("go", 5)]


class Player:
    """A Python that plays programs, one after another."""

    def __init__(self, python: str) -> None:
        self._process = subprocess.Popen(
            [python, str(PARTS / "supply_program.py")],
            env=path_of([PARTS]),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def play(self, program: list[Step]) -> list[str]:
        assert self._process.stdin
        assert self._process.stdout
        self._process.stdin.write(json.dumps(program) + "\n")
        self._process.stdin.flush()
        answer: list[str] = json.loads(self._process.stdout.readline())
        return answer

    def close(self) -> None:
        self._process.communicate()
        assert self._process.returncode == 0


@pytest.fixture(
    scope="module", params=["cpython", pytest.param("micropython", marks=pytest.mark.micropython)]
)
def player(request: pytest.FixtureRequest) -> Iterator[Player]:
    python = sys.executable if request.param == "cpython" else micropython()
    made = Player(python)
    yield made
    made.close()


def test_start_and_supply_in_one_write_feed_no_fed_sensor(player: Player) -> None:
    assert player.play(FED_AT_ONCE) == []


def test_a_converter_that_stands_still_feeds_nobody(player: Player) -> None:
    assert player.play([("converts", False), say("supply", on=True), ("go", 5)]) == []
    dead = [say("start"), ("go", 5), ("converts", False), ("go", 300), say("supply", on=True), ("go", 5)]
    assert player.play(dead) == []


def test_a_lead_that_is_pulled_is_fed_no_more(player: Player) -> None:
    for streams in ([], [say("start")]):
        swapped = [*streams, say("supply", on=True), ("go", 5), ("lead", "tap"), ("go", 200)]
        assert player.play(swapped) == []


def test_a_packet_that_went_out_early_hides_no_feed(player: Player) -> None:
    for n in range(15, 25):  # the packet goes out 100 ms after its first record, in the cycle of the command
        waits = [
            say("start"),
            ("go", 37),
            ("converts", False),
            ("go", n),
            ("harness", True),
            ("converts", True),
        ]
        assert player.play([*waits, say("supply", on=True), ("go", 3)]) == []


@settings(max_examples=200, deadline=None)
@given(program=PROGRAMS)
def test_no_order_of_commands_feeds_a_sensor_twice(player: Player, program: list[Step]) -> None:
    assert player.play(program) == []
