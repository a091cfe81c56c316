"""What the firmware has to spare on boards whose heap has been used, and told of by `pytest -s`."""

from __future__ import annotations

import os
import random
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from tests.board.conftest import firmware_files, quiet
from tests.board.test_board_rig import (
    HEARD_S,
    IN_A_STREAM,
    SUPPLY_OFF,
    WITHIN_S,
    WORDS,
    in_a_flood,
    supply,
)

from sweepboard import wire

if TYPE_CHECKING:
    from tests.board.board_rig import BoardRig
    from tests.board.window_waits import Waits

pytestmark = [pytest.mark.board, pytest.mark.xdist_group("margin")]

Used = tuple["BoardRig", "Waits"]
MOST_WAITING = (
    20  # windows of the 31 that can wait: half of them, and what a larger heap may take to be collected
)
FLOODS = 3  # each begins elsewhere in the firmware's turns
STOP = b'{"id":702,"cmd":"stop"}'
STATUS = wire.encode(wire.COMMAND, 0, 0, b'{"id":700,"cmd":"status"}')


def use_the_heap(rig: BoardRig) -> None:
    """Leave a board's heap as much use does: streams of noise, an overrun, snapshots, counts, garbage, refusals."""
    rng = random.Random(29)
    rig.board.adc.codes = lambda channel, number, seconds: rng.randrange(4096)
    assert rig.command("start")["ok"]
    rig.board.adc.stall_at = 5 * WORDS + 251
    rig.run(0.1)
    assert rig.command("snapshots", spread=400, per_second=20)["on"]
    rig.run(0.3)
    assert rig.command("stop")["conversions_lost"]
    assert not rig.command("snapshots")["on"]
    rig.board.adc.codes = quiet
    for i in range(12):
        rig.board.write(bytes(rng.randrange(1, 256) for _ in range(100)) + b"\0")
        rig.command("nosuch" * i)
        rig.command("status" if i % 4 else "hello")
    for channel in range(2):
        assert rig.command("start")["ok"]
        assert rig.command("histogram", channel=channel, windows=12)["ok"]
        assert rig.run_until(lambda n=8 * (channel + 1): len(rig.of(wire.HISTOGRAM)) == n, within_s=0.5)
        assert rig.command("stop")["ok"]
    rig.messages.clear()
    rig.text.clear()


@pytest.fixture(
    scope="module", params=["SWEEPRIG_BOARD_IMAGE", "SWEEPRIG_BOARD_IMAGE_W"], ids=["pico", "pico_w"]
)
def board(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Used:
    from tests.board.board_rig import boot_rig
    from tests.board.conftest import FIRMWARE
    from tests.board.emulated_board import file_system, kind_of
    from tests.board.window_waits import Waits

    if not os.environ.get(request.param):
        pytest.skip(f"{request.param} is not set: no image of this board")
    image, folder = Path(os.environ[request.param]), tmp_path_factory.mktemp("margin")
    files = firmware_files(folder) | {"main.py": (FIRMWARE / "main.py").read_bytes()}
    rig = boot_rig(image, file_system(files, folder, kind_of(image)))
    rig.board.mcu.gpio[11].set_input_value(True)
    rig.board.adc.codes = quiet
    rig.command("hello", within_s=8.0)
    use_the_heap(rig)
    return rig, Waits(rig.board)


@pytest.fixture
def used(board: Used) -> Iterator[Used]:
    """A board with a used heap, at rest."""
    rig, _waits = board
    yield board
    rig.command("stop", within_s=5.0)
    rig.command("supply", on=False)
    rig.messages.clear()


def test_no_command_stops_the_reduction_on_a_used_heap(used: Used) -> None:
    rig, waits = used
    assert rig.command("start")["ok"]
    rig.run(0.05)
    waits.since()
    longest: dict[str, int] = {}
    for cmd, arguments in IN_A_STREAM:
        asked_s = rig.board.seconds
        rig.command(cmd, **arguments)
        assert rig.board.seconds - asked_s < WITHIN_S, cmd
        rig.run(0.02)
        longest[cmd] = max(longest.get(cmd, 0), waits.since())
    print(f"\nwindows that waited, of 31, by command: {longest}; the longest {max(longest.values())}")
    assert rig.gaps() == []
    assert rig.run_until(lambda: len(rig.of(wire.HISTOGRAM)) == 8, within_s=0.5)
    stop = rig.command("stop")
    assert (rig.gaps(), stop["windows_dropped"], stop["conversions_lost"]) == ([], 0, 0)
    assert max(longest.values()) <= MOST_WAITING


def test_stop_is_heard_in_each_flood_on_a_used_heap(used: Used) -> None:
    rig, waits = used
    rng = random.Random(5)
    piece = bytes(rng.randrange(1, 256) for _ in range(300)) + STATUS * 3

    def off() -> bool:
        return not supply(rig) and not rig.board.adc.cs & 1 << 3  # START_MANY: RP2040 datasheet 4.9.6

    took_s, longest = [], []
    for i in range(FLOODS):
        assert rig.command("supply", on=True)["ok"]
        assert rig.command("start")["ok"]
        rig.run(0.11 * i)
        waits.since()
        took_s.append(in_a_flood(rig, piece, SUPPLY_OFF, STOP, until=off))
        longest.append(waits.since())
        rig.run(0.1)
    print(f"\nstop in a flood took {[round(s, 3) for s in took_s]} s; windows that waited, of 31: {longest}")
    assert max(took_s) <= HEARD_S
    assert rig.gaps() == []


def test_supply_off_is_heard_in_a_flood_at_rest_on_a_used_heap(used: Used) -> None:
    rig, _waits = used
    assert rig.command("supply", on=True)["ok"]
    piece = (
        wire.encode(wire.COMMAND, 0, 0, b'{"id":700,"cmd":"hello"}') * 8
    )  # each takes longest: a self-check
    took_s = in_a_flood(rig, piece, SUPPLY_OFF, until=lambda: not supply(rig))
    print(f"\nsupply off in a flood at rest took {took_s:.3f} s")
    assert took_s <= HEARD_S
    rig.run(1.0)
