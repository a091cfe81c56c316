"""What the firmware on an emulated Pico does about a host that stalls, and about one that is gone."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from sweepboard import pins, wire

if TYPE_CHECKING:
    from tests.board.board_rig import BoardRig

# One board for all that share it, and one order: what a test measures depends on what the heap holds by then.
pytestmark = [pytest.mark.board, pytest.mark.xdist_group("rig")]

WORDS = wire.WINDOW * wire.CHANNELS
WINDOW_S = WORDS / wire.CONVERSION_HZ
STALL_S = 2.0
KEEP_ALIVE_S = wire.KEEP_ALIVE_MS / 1000
SIO_GPIO_OUT = 0xD0000010  # RP2040 datasheet, section 2.3.1.7
START_MANY = 1 << 3  # of the converter's CS: it runs freely (RP2040 datasheet, section 4.9.6)


def counting(channel: int, number: int, seconds: float) -> int:
    """Return codes that tell a window from every other for eight seconds: channel 0 counts windows."""
    window = number // WORDS
    return {0: window & 0xFFF, 1: 100 + (window >> 12), 2: 20 + number % 3, 3: 2068}.get(channel, 876)


def runs_freely(rig: BoardRig) -> bool:
    return bool(rig.board.adc.cs & START_MANY)


def supply_is_on(rig: BoardRig) -> bool:
    return bool(rig.board.register(SIO_GPIO_OUT) >> pins.SUPPLY_ON & 1)


def test_host_stalled_2_s_leaves_every_record_accounted_for(rig: BoardRig) -> None:
    rig.board.adc.codes = counting
    assert rig.command("start")["ok"]
    rig.run(0.1)
    n_before = len(rig.records())
    assert n_before > 50
    rig.stall(STALL_S)
    rig.run(0.3)
    stop = rig.command("stop", within_s=5.0)

    records, gaps = rig.records(), rig.gaps()
    missing = {i for index, n, _reason in gaps for i in range(index, index + n)}
    assert set(records).isdisjoint(missing)
    assert set(records) | missing == set(range(stop["index"]))
    assert {reason for *_, reason in gaps} == {wire.GAP_HOST_SLOW}
    assert len(missing) == stop["windows_dropped"]
    assert stop["windows_sent"] == len(records)
    assert stop["windows_made"] == len(records) + len(missing)
    assert stop["conversions_lost"] == 0
    # half a second and more of records waits on the board; the rest of the stall is lost, as whole packets
    assert 1000 < len(missing) < STALL_S / WINDOW_S
    assert len(missing) % wire.RECORDS_PER_PACKET == 0
    # the index is the time: each record stands where its conversions were made, those after the stall too
    assert max(records) > max(missing) > n_before
    assert [v[1] + 4096 * (v[4] - 100) for v in records.values()] == list(records)
    assert [v[0] for v in records.values()] == [wire.WINDOW * v[1] for v in records.values()]
    (_start, run) = rig.board.adc.runs[-1]
    assert stop["index"] == pytest.approx(len(run) / WORDS, abs=20)
    sequence = np.diff([m.sequence for m in rig.messages]) % (1 << 16)
    assert (sequence == 1).all(), "a message that was begun was not finished, or one was dropped unsaid"
    assert rig.said() == b""


def test_nothing_streams_without_a_keep_alive(rig: BoardRig) -> None:
    assert rig.command("supply", on=True)["ok"]
    assert rig.command("start")["ok"]
    rig.run(0.6)  # it lives on one word
    assert runs_freely(rig)
    rig.keep_alive = False
    spoken_s = rig.board.seconds
    rig.send(wire.ALIVE)
    rig.run(KEEP_ALIVE_S - 0.1, step_s=0.05)
    assert runs_freely(rig)
    assert supply_is_on(rig)
    assert rig.run_until(lambda: not runs_freely(rig), within_s=0.2)
    assert rig.board.seconds - spoken_s == pytest.approx(KEEP_ALIVE_S, abs=0.05)
    assert rig.run_until(lambda: not supply_is_on(rig), within_s=0.01)
    rig.run(0.2)  # what was on its way
    n = len(rig.messages)
    n_bytes = rig.n_bytes
    rig.run(5.0, step_s=0.1)  # longer than the watchdog's 4 s
    assert (len(rig.messages), rig.n_bytes) == (n, n_bytes)
    assert rig.board.resets == 0
    records = rig.records()
    assert sorted(records) == list(range(len(records)))
    assert len(records) * WINDOW_S == pytest.approx(0.6 + KEEP_ALIVE_S, abs=0.2)
    figures = rig.command("status")
    assert figures["windows_sent"] == len(records)
    assert figures["windows_made"] == figures["windows_sent"] + figures["windows_dropped"]
    assert rig.said() == b""


def test_without_a_stream_the_supply_goes_off_in_10_s(rig: BoardRig) -> None:
    assert rig.command("supply", on=True)["ok"]
    rig.keep_alive = False
    spoken_s = rig.board.seconds
    rig.send(wire.ALIVE)
    assert rig.run_until(lambda: not supply_is_on(rig), within_s=15.0, step_s=0.1)
    assert 9.8 < rig.board.seconds - spoken_s < 10.2
    assert rig.board.resets == 0
