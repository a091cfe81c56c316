"""The firmware on an emulated board with the parts of a driven build around it."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from sweepboard import pins, wire

if TYPE_CHECKING:
    from tests.board.board_rig import BoardRig
    from tests.board.emulated_board import EmulatedBoard

pytestmark = [pytest.mark.board, pytest.mark.xdist_group("driven")]  # one board for all: its boot takes long

SIO_GPIO_OUT = 0xD0000010  # RP2040 datasheet, section 2.3.1.7
BIAS_LIFTS = {0: 550, 1: 1090}  # codes: signal A is driven, signal B is open


def driven_rig(image: Path, disk: Path) -> BoardRig:
    """A board with pull-ups and parts on its bus, the powered lead plugged in."""
    from tests.board.board_bus import Bus, Converter16, Encoder
    from tests.board.board_rig import BoardRig
    from tests.board.emulated_board import EmulatedBoard

    board = EmulatedBoard(image, disk=disk)
    for gpio in (pins.SDA, pins.SCL, pins.BUTTON):
        board.mcu.gpio[gpio].set_input_value(True)
    for gpio in (pins.LINK, pins.HOME, pins.SUPPLY_FAULT):
        board.mcu.gpio[gpio].set_input_value(False)
    Bus(board.mcu.i2c[0], {0x48: Converter16(8000, 24000, -8, 16000), 0x36: Encoder(1234)})

    def codes(channel: int, number: int, seconds: float) -> int:
        lifted = board.register(SIO_GPIO_OUT) >> pins.BIAS_UP & 1
        return {3: 2068, 4: 876}.get(channel, 20 + lifted * BIAS_LIFTS.get(channel, 0))

    board.adc.codes = codes
    board.boot()
    return BoardRig(board)


PWM_SLICE_0 = 0x40050000  # GPIO16, STEP; RP2040 datasheet, section 4.5.3
CHIP_HZ = 125e6
STEPS_A_TURN = 3200


def step_counts_s(board: EmulatedBoard) -> float:
    """Return at how many counts a second the pins of the driver turn the shaft."""
    out = board.register(SIO_GPIO_OUT)
    if out >> pins.ENABLE & 1 or not board.register(PWM_SLICE_0 + 0x0C) & 0xFFFF:
        return 0.0
    divider, top = board.register(PWM_SLICE_0 + 0x04) / 16, board.register(PWM_SLICE_0 + 0x10)
    counts_s = CHIP_HZ / divider / (top + 1) * 4096 / STEPS_A_TURN
    return counts_s if out >> pins.DIR & 1 else -counts_s


def test_the_drive_turns_a_shaft_while_it_streams(image: Path, rig_disk: Path) -> None:
    from tests.board.board_bus import Bus, Converter16, Turned

    rig = driven_rig(image, rig_disk)
    board, way = rig.board, [1]
    shaft = Turned(1000, lambda: way[0] * step_counts_s(board), lambda: board.seconds)
    Bus(board.mcu.i2c[0], {0x48: Converter16(8000, 24000, -8, 16000), 0x36: shaft})
    rig.command("hello", within_s=4.0)
    assert rig.command("start", hookup="powered")["ok"]
    assert rig.command("drive", action="goto", position=1100, speed=1000)["state"] == "moving"
    rig.run(0.15)
    there = rig.command("drive", action="where")
    assert (there["state"], there["moving"]) == ("arrived", False)
    assert abs(there["position"] - 1100) <= 12
    way[0] = -1  # the motor turns round
    assert rig.command("drive", action="goto", position=1200, speed=1000)["ok"]
    rig.run(0.08)
    assert rig.command("drive", action="where")["state"] == "wrong way"
    assert board.register(SIO_GPIO_OUT) >> pins.ENABLE & 1, "the motor is without current"
    stop = rig.command("stop")
    assert rig.gaps() == []
    assert (stop["windows_dropped"], stop["conversions_lost"]) == (0, 0)
    records = rig.records()
    positions = [records[index][9] for index in sorted(records)]
    assert positions[0] == 1000
    assert 1090 < max(positions) <= 1112


@pytest.fixture(scope="module")
def booted(image: Path, rig_disk: Path) -> BoardRig:
    rig = driven_rig(image, rig_disk)
    rig.command("hello", within_s=4.0)
    return rig


@pytest.fixture
def driven(booted: BoardRig) -> Iterator[BoardRig]:
    """The same board with its powered lead plugged in, at rest, and everything off."""
    i2c = booted.board.mcu.i2c[0]
    connects = i2c.on_connect
    booted.board.mcu.gpio[pins.LINK].set_input_value(False)
    booted.command("hello")
    booted.messages.clear()
    yield booted
    i2c.on_connect = connects
    booted.command("stop")


def levels(rig: BoardRig) -> list[int]:
    """Return what supply, burden, bias up and bias down are driven to."""
    word = rig.board.register(SIO_GPIO_OUT)
    return [word >> gpio & 1 for gpio in (pins.SUPPLY_ON, pins.BURDEN_ON, pins.BIAS_UP, pins.BIAS_DOWN)]


def test_a_driven_rig_is_found_and_holds_to_its_lead(driven: BoardRig) -> None:
    rig = driven
    hello = rig.command("hello")
    assert (hello["build"], hello["hookups"]) == ("driven", ["powered", "tapped"])
    assert set(pins.CAPABILITIES["driven"]) <= set(hello["capabilities"])
    assert hello["self_check"]["wires"] == ["driven", "open"]
    assert levels(rig) == [0, 0, 0, 1]

    assert rig.command("slow", every_ms=50)["ok"]
    rig.run(0.12)
    slow = rig.of(wire.SLOW)
    readings = [struct.unpack_from(wire.SLOW_FORMAT, slow[0].payload, 8 * i) for i in range(4)]
    volts = {quantity: value for quantity, status, _, value in readings if status == 0}
    assert volts == {
        wire.SLOW_SIGNAL_A: 1_000_000,
        wire.SLOW_SUPPLY: 3_000_000,
        wire.SLOW_GROUND: -1000,
        wire.SLOW_BATTERY: 2_000_000,
    }  # 125 uV a code

    assert rig.command("start", hookup="tapped")["error"] == "refused"
    assert rig.command("supply", on=True)["ok"]
    assert rig.command("burden", on=True)["ok"]
    assert rig.command("start", hookup="powered")["ok"]
    assert rig.command("bias", mode="down")["ok"]
    rig.run(0.05)
    assert levels(rig) == [1, 1, 0, 0]
    assert rig.command("stop")["windows_dropped"] == 0
    records = rig.records()
    last = records[max(records)]
    assert last[9] == 1234
    assert last[10] == wire.FLAG_SUPPLY_ON | wire.FLAG_BURDEN_ON | wire.FLAG_BIAS_ON
    assert rig.command("drive", action="where")["position"] == 1234

    rig.board.mcu.gpio[pins.LINK].set_input_value(True)  # the tap lead instead
    assert rig.command("start", hookup="powered")["error"] == "refused"
    assert rig.command("start", hookup="tapped")["ok"]
    assert levels(rig) == [0, 0, 0, 1]
    for cmd, arguments in (("supply", {"on": True}), ("burden", {"on": True}), ("bias", {"mode": "up"})):
        assert rig.command(cmd, **arguments)["error"] == "refused"
    assert rig.command("drive", action="home")["error"] == "refused"
    rig.run(0.02)
    assert levels(rig) == [0, 0, 0, 1]
    assert rig.command("stop")["ok"]
    assert rig.said() == b""


WITHIN_S = 0.1  # a reply; a gap is told from 31 ms on
OF_A_DRIVEN_RIG: tuple[tuple[str, dict[str, Any]], ...] = (
    ("slow", {"every_ms": 50}),
    ("burden", {"on": True}),
    ("burden", {"on": False}),
    ("bias", {"mode": "up"}),
    ("bias", {"mode": "off"}),
    ("buzzer", {"ms": 20}),
    ("ramp", {"leg_ms": 500}),
    ("ramp", {"leg_ms": 0}),
    ("drive", {"action": "goto", "position": 1300}),
    ("drive", {"action": "where"}),
    ("drive", {"action": "home"}),
    ("drive", {"action": "free"}),
    ("slow", {"every_ms": 0}),
)


def test_no_command_of_a_driven_rig_stops_the_reduction(driven: BoardRig) -> None:
    assert driven.command("start", hookup="powered")["ok"]
    driven.run(0.05)
    for cmd, arguments in OF_A_DRIVEN_RIG:
        asked_s = driven.board.seconds
        assert driven.command(cmd, **arguments)["ok"], cmd
        assert driven.board.seconds - asked_s < WITHIN_S, cmd
        driven.run(0.02)
        assert driven.gaps() == [], cmd
    stop = driven.command("stop")
    assert driven.gaps() == []
    assert (stop["windows_dropped"], stop["conversions_lost"]) == (0, 0)
    assert sorted(driven.records()) == list(range(stop["index"]))


def test_a_stuck_bus_stops_no_window(driven: BoardRig) -> None:
    rig = driven
    assert rig.command("start", hookup="powered")["ok"]
    assert rig.command("slow", every_ms=50)["ok"]
    rig.run(0.06)
    rig.board.mcu.i2c[0].on_connect = lambda address, mode: None  # the clock line is held: nothing ever ends
    rig.run(0.4)
    assert rig.command("drive", action="where")["position"] == wire.NO_POSITION
    stop = rig.command("stop")
    assert rig.gaps() == []
    assert (stop["windows_dropped"], stop["conversions_lost"]) == (0, 0)
    last = [struct.unpack_from(wire.SLOW_FORMAT, rig.of(wire.SLOW)[-1].payload, 8 * i) for i in range(4)]
    assert [status for _quantity, status, *_ in last] == [1] * 4, "no answer"
