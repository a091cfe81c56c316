"""Sweeps kept by one button on a whole emulated Pico, whose flash takes its time; then the power goes.

Sent and collected by the host's own code. What comes home is compared with what the converter gave, and with what a
host gets of the same sensor live, to the bit.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from sweepboard import pack, pins, wire

if TYPE_CHECKING:
    from tests.board.emulated_board import EmulatedBoard

    from sweeprig.bench.field.collect import Collected
    from sweeprig.bench.field.kept import Kept
    from sweeprig.bench.sweep.sweep import SweepOrder
    from sweeprig.link.client import RigClient

pytestmark = pytest.mark.board
of_the_trip = pytest.mark.xdist_group("trip")  # all in one process: the trip takes long

WORDS = wire.WINDOW * wire.CHANNELS
SIO_GPIO_OUT = 0xD0000010
QSPI_SS = 1  # BOOTSEL pulls the flash's select low
BLOCKS = 28
REST_S, STROKE_S = 1.2, 0.5
LONGEST_S = 2.0
SWEEP_S = 2.9  # from the press on: still, armed, one stroke, a rest, the end written
CUT_S = 1.8  # from the press on: in the stroke
CLOSED, OPEN, SUPPLY = 270, 2580, 3000  # codes


def supply_of(board: EmulatedBoard) -> int:
    """Return what the supply's switch is driven to."""
    return int(board.register(SIO_GPIO_OUT) >> pins.SUPPLY_ON & 1)


class Lever:
    """Codes of a sensor that is fed by the board's own supply switch, moved once from each start of sampling on."""

    def __init__(self, board: EmulatedBoard) -> None:
        self._board = board
        self._fed = 0

    def __call__(self, channel: int, number: int, seconds: float) -> int:
        if channel > 2:
            return {3: 2068, 4: 876}[channel]
        if number % WORDS == 0:
            self._fed = supply_of(self._board)
        if not self._fed or channel == 1:
            return 12 + channel
        if channel == 2:
            return SUPPLY + number % 2
        share = min(1.0, max(0.0, (number / 500_000 - REST_S) / STROKE_S))
        return CLOSED + int((OPEN - CLOSED) * share) + number % 5


@dataclass
class Line:
    """The port of an emulated board, whose time passes while the host waits for it."""

    board: EmulatedBoard
    name: str = "emulated board"

    def read(self, timeout_s: float) -> bytes:
        until = self.board.seconds + timeout_s
        data = self.board.read()
        while not data and self.board.seconds < until:
            self.board.run(2e-3)
            data = self.board.read()
        return data

    def write(self, data: bytes) -> None:
        self.board.write(data)

    def close(self) -> None:
        """Say nothing any more."""


@contextmanager
def host(board: EmulatedBoard) -> Iterator[RigClient]:
    """Give the host's client, by the board's time."""
    from sweeprig.link.client import RigClient

    client = RigClient(Line(board), clock=lambda: board.seconds)
    client.hello(timeout_s=6.0)
    yield client
    client.close()


def booted(image: Path, disk: Path, flash: bytes = b"") -> EmulatedBoard:
    """Return a board that runs the service, its flash as another one left it."""
    from tests.board.emulated_board import EmulatedBoard
    from tests.board.emulated_flash import slow_flash

    board = EmulatedBoard(image, disk=disk)
    board.mcu.flash[: len(flash)] = flash
    slow_flash(board)
    board.mcu.gpio[pins.BUTTON].set_input_value(True)
    board.adc.codes = Lever(board)
    board.boot()
    return board


def press(board: EmulatedBoard, then_s: float) -> None:
    """Press the button with no host there, and let time pass."""
    button = board.mcu.gpio[pins.BUTTON]
    button.set_input_value(False)
    board.run(0.1)
    button.set_input_value(True)
    board.run(then_s)


def profile_in(folder: Path) -> str:
    """Write a profile that asks for one stroke; return its path."""
    from sweeprig.judge.profile import load_profile

    text = load_profile("adjustable-potentiometer").text
    for section in ("limits", "series"):
        text = text.replace(f"[{section}.strokes]\nvalue = 3", f"[{section}.strokes]\nvalue = 1")
    path = folder / "one-stroke.toml"
    path.write_text(text)
    return str(path)


def sent(board: EmulatedBoard, folder: Path) -> Any:
    """Send an order, as `send` does; return it."""
    from sweeprig.bench.field import send as sending
    from sweeprig.bench.hookup.cautions import Unattended
    from sweeprig.capture.model import Hookup, SweepSetup

    setup = SweepSetup(
        hookup=Hookup.POWERED,
        setting="vehicle",
        job="0417",
        vehicle_drive="combustion",
        profile=profile_in(folder),
    )
    flash: Any = board.mcu.ssi
    flash.erase_s = flash.program_s = 0.0  # making the place for sweeps is not what is looked at here
    with host(board) as client, pytest.MonkeyPatch().context() as patch:
        patch.setattr(sending, "BLOCKS", (BLOCKS,))
        done = sending.send(
            client, setup, Unattended(("cautions", "plug-off")), sweeps=3, seconds=LONGEST_S, sleep=board.run
        )
    flash.erase_s, flash.program_s = 0.045, 0.0004
    return done.order


def base(folder: Path) -> SweepOrder:
    from sweeprig.bench.sweep.sweep import SweepOrder
    from sweeprig.capture.model import SweepSetup

    return SweepOrder(
        SweepSetup(), folder / "captures", folder / "calibrations", records_url=str(folder / "records")
    )


def live(board: EmulatedBoard, spread: int) -> bytes:
    """Return what a host gets that streams the same sensor for as long as a sweep takes."""
    came = bytearray()
    with host(board) as client:
        client.command("snapshots", spread=spread, jump=spread)
        client.on_bytes = came.extend
        client.start("powered")
        client.command("supply", on=True)
        client.rest(SWEEP_S)
        client.stop()
    return bytes(came)


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


@dataclass
class Trip:
    """What came of it."""

    home: list[Collected]
    codes: list[list[int]]  # what the converter gave in each sweep
    erased: int  # blocks, while sweeps were kept
    supply: tuple[int, int]  # when the power went, and after the new start
    live: bytes

    def whole(self) -> list[Collected]:
        """Return the two sweeps that were kept to their end."""
        assert len(self.home) == 3, self.home
        return self.home[:2]


@pytest.fixture(scope="module")
def trip(image: Path, rig_disk: Path, tmp_path_factory: pytest.TempPathFactory) -> Trip:
    """Send, unplug, press, sweep, press, sweep, the power goes in the third, plug in, collect."""
    from sweeprig.bench.field.collect import collect

    folder = tmp_path_factory.mktemp("trip")
    board = booted(image, rig_disk)
    order = sent(board, folder)
    flash: Any = board.mcu.ssi
    board.run(wire.KEEP_ALIVE_MS / 1000 + 0.2)
    board.adc.runs.clear()
    flash.erased.clear()
    press(board, SWEEP_S)
    press(board, SWEEP_S)
    erased = len(flash.erased)
    press(board, CUT_S)
    supply = supply_of(board)
    codes = [run for _, run in board.adc.runs if len(run) > 500 * WORDS]
    again = booted(image, rig_disk, bytes(board.mcu.flash[: 2 << 20]))
    supplies = (supply, supply_of(again))
    with host(again) as client:
        home = list(collect(client, base(folder)))
    return Trip(home, codes, erased, supplies, live(again, order.rules["spread"]))


@of_the_trip
def test_two_sweeps_come_home_whole_and_one_is_cut(trip: Trip) -> None:
    assert [one.kept.word for one in trip.home] == ["kept", "kept", "cut"]
    assert [one.problem for one in trip.home] == ["", "", ""]
    assert trip.supply == (1, 0)  # it fed the sensor when the power went


@of_the_trip
def test_every_kept_record_is_what_the_converter_gave(trip: Trip) -> None:
    assert len(trip.codes) == 3
    for one, codes in zip(trip.home, trip.codes, strict=True):
        records = records_of(one.kept)
        first, last = min(records), max(records)
        assert sorted(records) == list(range(first, last + 1))  # no gap
        assert len(records) > 500
        assert [records[i][:9] for i in sorted(records)] == given(codes, first, last)
        assert all(values[10] & wire.FLAG_SUPPLY_ON for values in records.values())


@of_the_trip
def test_kept_sweeps_are_byte_for_byte_what_a_live_host_gets(trip: Trip) -> None:
    from tests.support.kept_live import kept_content, live_content

    for one in trip.whole():
        assert len(kept_content(one.kept)) > 50_000
        assert kept_content(one.kept) == live_content(trip.live, one.kept)


@of_the_trip
def test_verdict_and_findings_are_those_of_the_live_sweep(trip: Trip) -> None:
    from tests.support.kept_live import judged, judged_live

    for one in trip.whole():
        assert one.done is not None
        assert judged(one.done.outcome) == judged(judged_live(trip.live, one))


@of_the_trip
def test_nothing_is_lost_or_erased_while_a_sweep_is_kept(trip: Trip) -> None:
    assert trip.erased == 0
    for one in trip.whole():
        end = one.kept.end
        assert end is not None
        assert (end["windows_dropped"], end["conversions_lost"]) == (0, 0)
        assert end["strokes"] == 1


def test_bootsel_or_a_wire_is_the_button_of_a_plain_build(at_prompt: EmulatedBoard) -> None:
    board, seen = at_prompt, []
    board.mcu.gpio[pins.BUTTON].set_input_value(True)
    board.execute("from sweepboard.rp2_keeping import BoardKeeping as K; plain, full = K('plain'), K('full')")
    for wire_open, bootsel_open in ((True, True), (False, True), (True, False)):
        board.mcu.gpio[pins.BUTTON].set_input_value(wire_open)
        board.mcu.qspi[QSPI_SS].set_input_value(bootsel_open)
        seen.append(board.execute("print(plain.button(), full.button())").split())
    assert seen == [["False", "False"], ["True", "True"], ["True", "False"]]
