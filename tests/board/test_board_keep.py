"""Sweeps kept by one button on a whole emulated Pico, whose flash takes its time; then the power goes.

What comes home is compared with what the converter gave, to the bit.
"""

from __future__ import annotations

import json
import struct
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from sweepboard import flash_page, pack, pins, wire

if TYPE_CHECKING:
    from tests.board.board_rig import BoardRig

    from sweeprig.bench.field.kept import Kept

pytestmark = pytest.mark.board

WORDS = wire.WINDOW * wire.CHANNELS
BOOT_S = 3.0
SIO_GPIO_OUT = 0xD0000010
BLOCKS = 24
REST_S, STROKE_S = 0.5, 0.35
SWEEP_S = 1.6  # from the press on: still, armed, one stroke, a rest, the end written
RULES = {
    "id": "abcd", "build": "plain", "task": "sweep", "hookup": "powered", "plug_off": True, "sweeps": 6, "hours": 24,
    "least": 100 * 332, "span": 2000 * 332, "strokes": 1, "hold": 60, "lead": 250, "longest": 1200, "fast": 100,
    "low": 0, "high": 0, "short": 600, "settle": 100, "battery_uv": 0, "spread": 150, "more": None,
}  # fmt: skip


def supply_of(board: Any) -> int:
    """Return what the supply's switch is driven to."""
    return int(board.register(SIO_GPIO_OUT) >> pins.SUPPLY_ON & 1)


class Lever:
    """Codes of a sensor that is fed by the board's own supply switch, moved once from each start of sampling on."""

    def __init__(self, rig: BoardRig) -> None:
        self._board = rig.board
        self._fed = 0

    def __call__(self, channel: int, number: int, seconds: float) -> int:
        if channel > 2:
            return {3: 2068, 4: 876}[channel]
        if number % WORDS == 0:
            self._fed = supply_of(self._board)
        if not self._fed or channel == 1:
            return 12 + channel
        if channel == 2:
            return 3000 + number % 2
        share = min(1.0, max(0.0, (number / 500_000 - REST_S) / STROKE_S))
        return 500 + int(3000 * share) + number % 5


def booted(image: Path, disk: Path, flash: bytes | None = None) -> BoardRig:
    """Return a board that runs the service, its flash as another one left it."""
    from tests.board.board_rig import BoardRig
    from tests.board.emulated_board import EmulatedBoard
    from tests.board.emulated_flash import slow_flash

    board = EmulatedBoard(image, disk=disk)
    if flash is not None:
        board.mcu.flash[: len(flash)] = flash
    slow_flash(board)
    board.mcu.gpio[pins.BUTTON].set_input_value(True)
    board.boot()
    rig = BoardRig(board)
    board.adc.codes = Lever(rig)
    return rig


def press(rig: BoardRig, then_s: float) -> None:
    """Press the button with no host there, and let time pass."""
    button = rig.board.mcu.gpio[pins.BUTTON]
    button.set_input_value(False)
    rig.board.run(0.1)
    button.set_input_value(True)
    rig.board.run(then_s)


def fetched(rig: BoardRig, number: int) -> Kept:
    """Return a kept sweep as a host collects it."""
    from sweeprig.bench.field.kept import read_pages

    about = rig.command("kept_about", within_s=5.0, number=number)
    pages: list[bytes] = []
    while len(pages) < about["pages"]:
        rig.messages.clear()
        assert rig.command("kept_pages", within_s=5.0, number=number, first=len(pages))["ok"]
        rig.run_until(lambda: bool(rig.of(wire.KEPT)), within_s=5.0)
        payload = rig.of(wire.KEPT)[0].payload
        pages += [payload[at : at + flash_page.PAGE] for at in range(0, len(payload), flash_page.PAGE)]
    return read_pages(number, pages)


def records_of(kept: Kept) -> dict[int, tuple[int, ...]]:
    found = {}
    for kind, index, payload in pack.entries(kept.data, wire.WINDOW):
        if kind == wire.RECORDS:
            for i, values in enumerate(struct.iter_unpack(wire.RECORD_FORMAT, payload)):
                found[index + i] = values
    return found


def given(codes: list[int], first: int, last: int) -> list[tuple[int, ...]]:
    """Reduce by numpy what the converter gave from one window to another."""
    shaped = np.array(codes[first * WORDS : (last + 1) * WORDS]).reshape(-1, wire.WINDOW, 3)
    columns = np.stack([shaped.sum(1), shaped.min(1), shaped.max(1)], axis=2)
    return [tuple(int(value) for value in row.ravel()) for row in columns]


def out(rig: BoardRig) -> Any:
    """Send an order and leave; return what hello said."""
    flash: Any = rig.board.mcu.ssi
    hello = rig.command("hello", within_s=BOOT_S)
    flash.erase_s = flash.program_s = 0.0  # making the place for sweeps is not what is looked at here
    while rig.command("keep_area", within_s=10.0, blocks=BLOCKS)["blocks"] < BLOCKS:
        pass
    flash.erase_s, flash.program_s = 0.045, 0.0004
    answer = rig.command("keep_order", within_s=5.0, text=json.dumps({**RULES, "uid": hello["uid"]}))
    assert answer["ok"], answer
    rig.keep_alive = False
    rig.board.run(wire.KEEP_ALIVE_MS / 1000 + 0.1)
    return hello


@pytest.fixture(scope="module")
def out_and_home(image: Path, rig_disk: Path) -> dict[str, Any]:
    """Send, leave, press, sweep, press, sweep, power cut in the third, a new start."""
    rig = booted(image, rig_disk)
    hello, flash = out(rig), rig.board.mcu.ssi
    rig.board.adc.runs.clear()
    flash.erased.clear()
    press(rig, SWEEP_S)
    press(rig, SWEEP_S)
    erased = len(flash.erased)
    press(rig, 1.0)
    supply = supply_of(rig.board)
    runs = [codes for _, codes in rig.board.adc.runs]
    again = booted(image, rig_disk, bytes(rig.board.mcu.flash[: 2 << 20]))
    off = supply_of(again.board)
    state = again.command("kept", within_s=BOOT_S + 5.0)
    numbers = [n for n in state["numbers"] if n != state["order"]]
    sweeps = [fetched(again, number) for number in numbers]
    return {
        "sweeps": sweeps,
        "runs": runs,
        "erased": erased,
        "supply": supply,
        "off": off,
        "hello": hello,
    }


def test_two_sweeps_come_home_whole_and_one_is_cut(out_and_home: dict[str, Any]) -> None:
    assert "keep" in out_and_home["hello"]["capabilities"]
    assert [one.word for one in out_and_home["sweeps"]] == ["kept", "kept", "cut"]
    assert (out_and_home["supply"], out_and_home["off"]) == (1, 0)  # it fed the sensor when the power went


def test_every_kept_record_is_what_the_converter_gave(out_and_home: dict[str, Any]) -> None:
    runs = [codes for codes in out_and_home["runs"] if len(codes) > 500 * WORDS]
    assert len(runs) == 3
    for one, codes in zip(out_and_home["sweeps"], runs, strict=True):
        records = records_of(one)
        first, last = min(records), max(records)
        assert sorted(records) == list(range(first, last + 1))  # no gap
        assert len(records) > 300
        assert [records[i][:9] for i in sorted(records)] == given(codes, first, last)
        assert all(values[10] & wire.FLAG_SUPPLY_ON for values in records.values())


def test_nothing_is_lost_or_erased_while_a_sweep_is_kept(out_and_home: dict[str, Any]) -> None:
    assert out_and_home["erased"] == 0
    for one in out_and_home["sweeps"][:2]:
        end = one.end
        assert end is not None
        assert (end["windows_dropped"], end["conversions_lost"]) == (0, 0)
        assert end["strokes"] == 1
