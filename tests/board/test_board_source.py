"""The fast source on a whole emulated Pico: its DMA, timers and processor, and the codes that it got."""

from __future__ import annotations

import binascii
import json
import random
import struct
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from sweepboard import wire

if TYPE_CHECKING:
    from tests.board.emulated_board import EmulatedBoard

pytestmark = pytest.mark.board

WINDOW_S = 996e-6
PREPARE = """
import gc, json, time, micropython, binascii, struct
from sweepboard import rp2_adc
source = rp2_adc.FastSource()
gc.collect()
def take(n, pause_ms_at=-1, pause_ms=0):
    out = bytearray(24 * n)
    notes = []
    index = done = 0
    source.start()
    while done < n:
        ready = source.poll()
        gap = source.gap()
        if gap:
            notes.append(["gap", index, gap[0], gap[1]])
            index += gap[0]
        for _ in range(min(ready, n - done)):
            flags = source.take(out, 24 * done)
            notes.append(["record", index, flags])
            done += 1
            index += 1
        if done > pause_ms_at >= 0:
            time.sleep_ms(pause_ms)
            pause_ms_at = -1
    source.stop()
    print(json.dumps(notes))
    for i in range(n):
        print(binascii.hexlify(out[24 * i:24 * i + 24]).decode())
"""
Note = list[Any]


def taken(board: EmulatedBoard, call: str) -> tuple[list[Note], list[tuple[int, ...]]]:
    lines = board.execute(PREPARE + call).splitlines()
    rows = [struct.unpack("<IHHIHHIHH", binascii.unhexlify(line)) for line in lines[1:]]
    return json.loads(lines[0]), rows


def reduced(codes: list[int], windows: int) -> list[tuple[int, ...]]:
    """Reduce by numpy what the converter gave."""
    shaped = np.array(codes[: windows * 498]).reshape(windows, 166, 3)
    columns = np.stack([shaped.sum(1), shaped.min(1), shaped.max(1)], axis=2)
    return [tuple(int(value) for value in row.ravel()) for row in columns]


def in_order(values: tuple[int, ...]) -> bool:
    return values == (166000, 1000, 1000, 249000, 1500, 1500, 332000, 2000, 2000)


def test_records_are_exactly_what_the_converter_gave(at_prompt: EmulatedBoard) -> None:
    rng = random.Random(8)
    at_prompt.adc.codes = lambda channel, number, seconds: (
        rng.randrange(4096) if number % 5 else (0, 4095)[number // 5 % 2]
    )
    notes, rows = taken(at_prompt, "take(70)")
    (run,) = [codes for _start, codes in at_prompt.adc.runs]
    assert rows == reduced(run, 70)
    assert notes == [["record", i, wire.FLAG_SPLICE if i == 0 else 0] for i in range(70)]


def test_channel_order_is_that_of_the_pins(at_prompt: EmulatedBoard) -> None:
    _notes, rows = taken(at_prompt, "take(3)")
    assert all(in_order(row) for row in rows)


def test_conversions_follow_each_other_in_2_us(at_prompt: EmulatedBoard) -> None:
    times: list[float] = []

    def codes(channel: int, number: int, seconds: float) -> int:
        times.append(seconds)
        return 7

    at_prompt.adc.codes = codes
    taken(at_prompt, "take(10)")
    assert (times[4979] - times[0]) / 4979 == pytest.approx(2e-6, rel=1e-9)


def test_an_overrun_starts_again_in_order_and_true_to_time(at_prompt: EmulatedBoard) -> None:
    adc = at_prompt.adc
    adc.stall_at = 3 * 498 + 250  # one word is lost in the fourth window
    began: list[float] = []

    def codes(channel: int, number: int, seconds: float) -> int:
        if not began and adc.runs:
            began.append(seconds)
        return int((seconds - began[0]) / WINDOW_S + 0.05) if channel == 0 and began else 100 + channel

    adc.codes = codes
    notes, rows = taken(at_prompt, "take(12)")
    gaps = [note for note in notes if note[0] == "gap"]
    assert [gap[3] for gap in gaps] == [wire.GAP_OVERRUN]
    assert len(adc.runs) == 2
    records = [note for note in notes if note[0] == "record"]
    for (_, index, _flags), row in zip(records, rows, strict=True):
        assert row[3:] == (166 * 101, 101, 101, 166 * 102, 102, 102)
        assert abs(row[1] - index) <= 1
        assert row[0] / 166 == pytest.approx(index, abs=0.2)
    assert records[-1][1] == 11 + gaps[0][2]


def test_a_late_host_of_the_buffers_is_a_gap(at_prompt: EmulatedBoard) -> None:
    notes, rows = taken(at_prompt, "take(8, pause_ms_at=3, pause_ms=60)")
    gaps = [note for note in notes if note[0] == "gap"]
    assert [gap[3] for gap in gaps] == [wire.GAP_DMA_LATE]
    assert 58 <= gaps[0][2] <= 64
    assert all(in_order(row) for row in rows)


def test_a_pause_shorter_than_the_buffers_loses_nothing(at_prompt: EmulatedBoard) -> None:
    notes, _rows = taken(at_prompt, "take(60, pause_ms_at=3, pause_ms=25)")
    assert [note[0] for note in notes] == ["record"] * 60


def test_bad_conversions_are_counted_and_masked(at_prompt: EmulatedBoard) -> None:
    at_prompt.adc.errors_at = frozenset({498, 499, 1000})
    notes, rows = taken(at_prompt, "take(4)\nprint('00' * 24 if source.conversions_in_error == 3 else 'no')")
    flags = [note[2] for note in notes]
    bad = wire.FLAG_CONVERSION_ERROR
    assert flags == [wire.FLAG_SPLICE, bad, bad, 0]
    assert all(in_order(row) for row in rows[:4])


def test_nothing_is_allocated_while_sampling(at_prompt: EmulatedBoard) -> None:
    script = """
def locked():
    buf = bytearray(28)
    taken = 0
    source.start()
    micropython.heap_lock()
    while taken < 40:
        for _ in range(source.poll()):
            source.take(buf, 4)
            source.raw()
            taken += 1
        source.gap()
    micropython.heap_unlock()
    source.stop()
    print(taken >= 40)
locked()
"""
    assert at_prompt.execute(PREPARE + script).split() == ["True"]


def test_analogue_pads_are_bare(at_prompt: EmulatedBoard) -> None:
    printed = at_prompt.execute(PREPARE + "source.start()\nprint(source.pads())\nsource.stop()")
    assert printed.strip() == "[True, True, True]"
    for gpio in (26, 27, 28):  # PADS_BANK0: RP2040 datasheet, section 2.19.6.3
        assert at_prompt.register(0x4001C000 + 4 + 4 * gpio) & (1 << 2 | 1 << 3 | 1 << 6) == 0


def test_20_dropouts_of_12_us_are_all_seen(at_prompt: EmulatedBoard) -> None:
    rng = random.Random(12)
    level, spacing = 2000, 3 * 498
    places = [trial * spacing + rng.randrange(spacing - 6) for trial in range(20)]
    hit = {place + i for place in places for i in range(6)}
    at_prompt.adc.codes = lambda channel, number, seconds: 0 if number in hit else level + channel
    notes, rows = taken(at_prompt, "take(60)")
    assert [note[0] for note in notes] == ["record"] * 60
    for trial in range(20):
        own = rows[3 * trial : 3 * trial + 3]
        assert [min(row[3 * channel + 1] for row in own) for channel in range(3)] == [0, 0, 0]


def test_thumb_code_and_the_plain_loop_agree(at_prompt: EmulatedBoard) -> None:
    script = """
from array import array
from sweepboard import windows
from sweepboard.rp2_thumb import reduce_three
import random
random.seed(4)
def agree():
    for kind in range(6):
        codes = array("H", bytes(996))
        for i in range(498):
            codes[i] = (0, 4095, i, 4095 - i, random.getrandbits(12), 4095 if i % 3 == 1 else 0)[kind]
        a, b = bytearray(27), bytearray(27)
        largest = reduce_three(codes, a, 3, 166)
        windows.reduce_plain(codes, 0, 3, 166, b, 3)
        print(a == b, largest == max(codes))
    codes[300] |= 0x8000
    print(reduce_three(codes, a, 3, 166) > 4095)
agree()
"""
    assert at_prompt.execute(script).split() == ["True"] * 13


def test_facts_of_the_board(at_prompt: EmulatedBoard) -> None:
    at_prompt.adc.codes = lambda channel, number, seconds: {3: 2048, 4: 876}.get(channel, 0)
    printed = at_prompt.execute(
        "from sweepboard import rp2_board\n"
        "print(rp2_board.temperature_c(), rp2_board.vsys_v(), rp2_board.smps(), rp2_board.set_smps('pwm'))"
    )
    temperature, vsys, before, _after = printed.split()
    assert float(temperature) == pytest.approx(27.0, abs=0.3)  # 0.706 V: RP2040 datasheet, section 4.9.5
    assert float(vsys) == pytest.approx(3 * 3.3 * 2048 / 4096, rel=1e-3)
    assert before == "psm"
    # The emulator does not lead a driven pin's level back to its input; on the board it reads back.
    assert at_prompt.register(0xD0000010) >> 23 & 1 == 1  # SIO GPIO_OUT: RP2040 datasheet, section 2.3.1.7
    at_prompt.mcu.gpio[23].set_input_value(True)
    printed = at_prompt.execute("from sweepboard import rp2_board\nprint(rp2_board.smps())")
    assert printed.split() == ["pwm"]
