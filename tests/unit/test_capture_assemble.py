"""From the board's bytes to a capture: what is missing counts, what came twice or late is put right."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import pytest

from support.fake_rig import FakeRig, record
from sweepboard import wire
from sweeprig.calibration.nominal import nominal_calibration
from sweeprig.calibration.volts import to_trace
from sweeprig.capture.assemble import MOST_LINES, capture_of_bytes
from sweeprig.capture.file import read_capture, write_capture
from sweeprig.capture.journal import JournalHead
from sweeprig.capture.model import Capture, SweepSetup
from sweeprig.capture.sweep import run_sweep
from sweeprig.frontend import front_end
from sweeprig.link.client import RigClient
from sweeprig.link.messages import Message, Records

HEAD = JournalHead(
    "2026-01-01T00:00:00+00:00", {"build": "full"}, SweepSetup(), wire.WINDOW, wire.CONVERSION_HZ
)


def packet(number: int, *, other: int = 0) -> bytes:
    """One frame of 16 records; `other` makes their content another one."""
    payload = b"".join(record(number * 16 + i + other) for i in range(16))
    return wire.encode(wire.RECORDS, number, number * 16, payload)


def made(*frames: bytes, ended: str = "stopped", n_windows: int | None = None) -> Capture:
    head = JournalHead(**{**vars(HEAD), "n_windows": n_windows})
    return capture_of_bytes(head, b"".join(frames), ended=ended)


# --- what never came


def test_records_before_the_first_that_came_are_lost() -> None:
    capture = made(*(packet(i) for i in range(5, 20)))
    assert capture.n_lost == 80
    trace = to_trace(capture, calibration=nominal_calibration({"build": "full"}), front_end=front_end("full"))
    assert (trace.n_lost, trace.n_lost_before) == (80, 80)
    assert trace.t_s[0] == pytest.approx(80 * capture.window_s)


def test_a_capture_from_index_0_on_has_its_beginning() -> None:
    capture = made(*(packet(i) for i in range(4)))
    trace = to_trace(capture, calibration=nominal_calibration({"build": "full"}), front_end=front_end("full"))
    assert (capture.n_lost, trace.n_lost_before) == (0, 0)


def test_records_after_the_last_that_came_are_lost_as_well() -> None:
    capture = made(*(packet(i) for i in range(4)), packet(9), ended="complete", n_windows=100)
    assert len(capture.records) == 64
    assert capture.n_lost == 36


def test_a_sweep_whose_first_packets_never_arrive_tells_so(tmp_path: Path) -> None:
    rig = FakeRig()
    rig.drop = {0: 70}
    capture = run_sweep(
        RigClient(rig, clock=rig.clock), SweepSetup(seconds=2.0), folder=tmp_path, clock=rig.clock
    )
    assert capture.records.index[0] == capture.n_lost == 1120
    assert (
        capture.records.index[-1] == round(2.0 / capture.window_s) - 1
    )  # as long as was asked for, no longer
    write_capture(tmp_path / "a.sweep", capture)
    assert read_capture(tmp_path / "a.sweep").n_lost == 1120


# --- what came twice, late, or from another stream


def test_a_read_that_comes_twice_drops_nothing() -> None:
    frames = [packet(i) for i in range(12)]
    capture = made(*frames[:6], *frames[3:6], *frames[6:], ended="complete")
    assert capture.records.index.tolist() == list(range(192))
    assert (capture.ended, capture.n_lost) == ("complete", 0)
    assert capture.set_aside == {"records received twice": 48}


def test_reads_that_come_in_another_order_are_put_right() -> None:
    frames = [packet(i) for i in range(12)]
    capture = made(*frames[:3], *frames[6:9], *frames[3:6], *frames[9:])
    assert capture.records.index.tolist() == list(range(192))
    assert capture.records.sums[:, 0].tolist() == [i * wire.WINDOW for i in range(192)]
    assert capture.set_aside == {"records received late": 48}
    assert capture.ended == "stopped"


def test_reads_cut_inside_frames_and_swapped_keep_the_others() -> None:
    data = b"".join(packet(i) for i in range(40))
    a, b, c = data[:5000], data[5000:10000], data[10000:]
    capture = made(a, c[:3000], b, c[3000:])
    assert capture.ended == "stopped"
    assert len(capture.records) >= 640 - 4 * 16
    assert capture.n_lost == 640 - len(capture.records)


@pytest.mark.parametrize(
    "greeting", [b"MicroPython v1.22.0 on a board\r\n", wire.encode(wire.HELLO, 0, 0, b'{"uid": "00ff"}')]
)
def test_a_greeting_ends_the_capture(greeting: bytes) -> None:
    capture = made(*(packet(i) for i in range(5)), greeting, *(packet(i) for i in range(5, 9)))
    assert capture.ended == "restarted"
    assert len(capture.records) == 80


def test_two_records_of_one_index_that_differ_are_two_streams() -> None:
    capture = made(*(packet(i) for i in range(5)), *(packet(i, other=7) for i in range(9)))
    assert capture.ended == "restarted"
    assert capture.records.index.tolist() == list(range(80))
    assert capture.records.sums[:, 0].tolist() == [i * wire.WINDOW for i in range(80)]


def test_records_of_an_earlier_stream_do_not_come_in() -> None:
    reply = wire.encode(wire.REPLY, 0, 0, b'{"id": 2, "ok": true, "window": 166}')
    capture = made(packet(700), reply, *(packet(i) for i in range(4)))
    assert capture.records.index.tolist() == list(range(64))


def test_a_mangled_byte_that_looks_like_a_prompt_ends_nothing() -> None:
    capture = made(*(packet(i) for i in range(5)), b"\0> \r\n\0", *(packet(i) for i in range(5, 9)))
    assert (capture.ended, len(capture.records)) == ("stopped", 144)


def test_who_looks_on_sees_each_record_once_and_in_order(tmp_path: Path) -> None:
    class Twice(FakeRig):
        def read(self, timeout_s: float) -> bytes:
            data = super().read(timeout_s)
            return data * 2 if self._packet in (20, 40, 41) else data

    rig, seen = Twice(), [-1]

    def look(messages: list[Message]) -> None:
        for message in messages:
            if isinstance(message, Records):
                seen.extend(message.index.tolist())

    client = RigClient(rig, clock=rig.clock)
    capture = run_sweep(client, SweepSetup(seconds=1.0), folder=tmp_path, clock=rig.clock, on_messages=look)
    assert seen == list(range(-1, len(seen) - 1))
    assert (capture.ended, capture.n_lost) == ("complete", 0)
    assert capture.set_aside == {"records received twice": 48}


# --- what cannot be


def bad_record(index: int, code: int) -> bytes:
    values = [v for _ in range(3) for v in (2000 * wire.WINDOW, 1999, 2001)]
    values[2] = code
    return wire.encode(wire.RECORDS, 0, index, struct.pack(wire.RECORD_FORMAT, *values, wire.NO_POSITION, 0))


def test_one_impossible_record_among_many_is_set_aside(tmp_path: Path) -> None:
    capture = made(*(packet(i) for i in range(300)), bad_record(4800, 5000), packet(301))
    assert len(capture.records) == 4816
    assert capture.n_lost == 16  # with the 15 that stood behind it in no packet
    assert capture.set_aside == {"records with impossible codes": 1}
    write_capture(tmp_path / "a.sweep", capture)
    assert read_capture(tmp_path / "a.sweep").set_aside == capture.set_aside


def test_an_impossible_snapshot_is_set_aside(tmp_path: Path) -> None:
    shot = struct.pack(wire.SNAPSHOT_FORMAT, 0, 0, 3, 0, 2) + np.array([5000, 1], "<u2").tobytes()
    capture = made(packet(0), wire.encode(wire.SNAPSHOT, 1, 3, shot), packet(1))
    assert capture.set_aside == {"snapshots with impossible codes": 1}
    write_capture(tmp_path / "a.sweep", capture)
    assert read_capture(tmp_path / "a.sweep").snapshots == ()


def test_a_board_that_talks_without_end_is_remembered_in_part(tmp_path: Path) -> None:
    lines = [f"line {i}".encode() + 3000 * b"x" + b"\r\n" for i in range(3000)]
    capture = made(packet(0), *lines, packet(1))
    assert len(capture.records) == 32
    assert len(capture.board_text) == MOST_LINES
    assert capture.board_text[0].startswith("line 0x")
    assert capture.board_text[-1].startswith("line 2999x")
    assert capture.set_aside == {"lines of the board's text": 2000}
    write_capture(tmp_path / "a.sweep", capture)
    assert read_capture(tmp_path / "a.sweep").board_text == capture.board_text
