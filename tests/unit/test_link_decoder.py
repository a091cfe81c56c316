"""The decoder against the committed vectors, made by reference libraries, and against damaged streams."""

from __future__ import annotations

import json
import struct
import sys
from collections.abc import Callable
from dataclasses import fields
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from cobs import cobs
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.benchmarks.decoder_bench import ours, plain, stream

from sweepboard import wire
from sweeprig.link.decoder import Decoder
from sweeprig.link.messages import (
    BadFrame,
    BoardText,
    Gap,
    Hello,
    Histogram,
    Mark,
    Message,
    Records,
    Reply,
    SlowReading,
    Snapshot,
    Status,
)

VECTORS = json.loads((Path(__file__).parents[1] / "vectors" / "wire_vectors.json").read_text())
FRAMES: dict[str, dict[str, Any]] = {f["name"]: f for f in VECTORS["frames"]}
NAMES = list(FRAMES)
NOT_FOR_US = {"empty_payload": "kind", "no_zeros": "payload", "all_zeros": "payload"}
STREAM = b"".join(bytes.fromhex(FRAMES[name]["frame"]) for name in NAMES)


def frame_of(name: str) -> bytes:
    return bytes.fromhex(FRAMES[name]["frame"])


def payload_of(name: str) -> bytes:
    return bytes.fromhex(FRAMES[name]["payload"])


def flat(events: list[Message]) -> list[tuple[Any, ...]]:
    """Return events as plain tuples, records one by one: what must not depend on the cutting."""
    out: list[tuple[Any, ...]] = []
    for event in events:
        if isinstance(event, Records):
            columns = [getattr(event, f.name).tolist() for f in fields(event)]
            out += [("record", *row) for row in zip(*columns, strict=True)]
        else:
            values = [getattr(event, f.name) for f in fields(event)]
            out.append(
                (type(event).__name__, *[v.tolist() if isinstance(v, np.ndarray) else v for v in values])
            )
    return out


def fed(data: bytes, piece: int = 1 << 20) -> list[Message]:
    decoder = Decoder()
    events: list[Message] = []
    for at in range(0, len(data), piece):
        events += decoder.feed(data[at : at + piece])
    return events


def expected_records(name: str, first: int) -> list[tuple[Any, ...]]:
    """Return the records of a vector, unpacked one by one with struct."""
    rows = struct.iter_unpack(wire.RECORD_FORMAT, payload_of(name))
    return [
        ("record", first + i, [r[0], r[3], r[6]], [r[1], r[4], r[7]], [r[2], r[5], r[8]], r[9], r[10])
        for i, r in enumerate(rows)
    ]


def test_every_vector_comes_out_as_it_went_in() -> None:
    assert flat(fed(frame_of("two_records"))) == expected_records("two_records", 65536)
    hello, reply = fed(frame_of("hello") + frame_of("reply"))
    assert hello == Hello({"protocol": 1})
    assert reply == Reply(7, True, {"id": 7, "ok": True})
    assert fed(frame_of("slow")) == [SlowReading(500, 3, 0, 3_000_123), SlowReading(500, 6, 0, -5250)]
    assert fed(frame_of("gap")) == [Gap(777, 2008, wire.GAP_HOST_SLOW)]
    assert fed(frame_of("status")) == [Status(5000, 5000, 4990, 10, 3, 1, 2, 120000, True, 1)]
    assert fed(frame_of("mark")) == [Mark(42, 0, 1)]
    (snapshot,) = fed(frame_of("snapshot"))
    assert isinstance(snapshot, Snapshot)
    assert (snapshot.index, snapshot.first, snapshot.trigger, snapshot.channels) == (12345, 400, 30, 3)
    assert snapshot.codes.tolist() == [(7 * i) % 4096 for i in range(300)]
    (histogram,) = fed(frame_of("histogram"))
    assert isinstance(histogram, Histogram)
    assert (histogram.channel, histogram.first_code, histogram.n_windows) == (1, 3584, 1000)
    assert histogram.counts.tolist() == list(range(0, 6400, 100))


@pytest.mark.parametrize("name", NOT_FOR_US)
def test_a_good_frame_with_nothing_for_us_is_counted_as_bad(name: str) -> None:
    (event,) = fed(frame_of(name))
    assert isinstance(event, BadFrame)
    assert event.why == NOT_FOR_US[name]


@pytest.mark.parametrize("piece", [1, 2, 3, 7, 64, 461, 4096])
def test_the_cutting_of_the_stream_does_not_matter(piece: int) -> None:
    assert flat(fed(STREAM, piece)) == flat(fed(STREAM))


GARBAGE = [b"\xff\xfe\x80garbage\x90", b"boot: ready\r\n", b"\x01", b"\x05\x05\x05", b"\x00\x00\x00"]


@pytest.mark.parametrize("junk", GARBAGE)
@pytest.mark.parametrize("piece", [1, 1 << 20])
def test_garbage_before_between_and_after_costs_no_message(junk: bytes, piece: int) -> None:
    data = junk + b"".join(frame_of(name) + junk for name in NAMES)
    found = [e for e in flat(fed(data, piece)) if e[0] not in ("BadFrame", "BoardText")]
    assert found == [e for e in flat(fed(STREAM)) if e[0] != "BadFrame"]


@pytest.mark.parametrize("name", ["two_records", "slow", "reply", "gap"])
def test_each_byte_damaged_in_turn_never_gives_a_wrong_message(name: str) -> None:
    whole = frame_of(name)
    after = frame_of("mark")
    good = flat(fed(whole))
    for at in range(len(whole)):
        for flip in (0x01, 0x80, 0xFF):
            damaged = bytearray(whole)
            damaged[at] ^= flip
            events = flat(fed(bytes(damaged) + after))
            assert events[-1] == ("Mark", 42, 0, 1)
            kept = [e for e in events[:-1] if e[0] not in ("BadFrame", "BoardText")]
            assert kept in ([], good) if at in (0, len(whole) - 1) else kept == []


def test_a_damaged_code_byte_that_would_still_decode_is_refused() -> None:
    """The last code byte made larger points beyond its run: the bytes would be right, the frame is not."""
    whole = bytearray(frame_of("mark"))
    run = whole[1:-1]
    at = 0
    while at + run[at] < len(run):
        at += run[at]
    whole[1 + at] += 1
    (event,) = fed(bytes(whole))
    assert event == BadFrame(len(run), "stuffing")


def test_the_index_goes_on_past_its_wrap() -> None:
    payload = payload_of("two_records")
    data = frame_of("sixteen_records")  # ends at 2**32 - 1
    data += wire.encode(wire.RECORDS, 0, 0, payload) + wire.encode(
        wire.GAP, 1, 2, struct.pack("<IBBH", 5, 1, 0, 0)
    )
    data += wire.encode(wire.RECORDS, 2, 7, payload)
    decoder = Decoder()
    decoder.feed(wire.encode(wire.RECORDS, 65534, 0x7FFFFFFF, payload))
    rows = flat(decoder.feed(data))
    assert [r[1] for r in rows] == [*range(2**32 - 16, 2**32 + 2), 2**32 + 2, 2**32 + 7, 2**32 + 8]
    assert decoder.counts.n_sequence_lost == 0


def test_missing_messages_are_counted_by_sequence() -> None:
    payload = payload_of("two_records")
    decoder = Decoder()
    for sequence in (65533, 65534, 2, 3, 9, 0):
        decoder.feed(wire.encode(wire.RECORDS, sequence, 0, payload))
    assert decoder.counts.n_sequence_lost == 3 + 5
    assert decoder.counts.n_sequence_restarts == 1
    assert decoder.counts.n_messages == 6


def test_a_new_start_begins_at_zero_again() -> None:
    decoder = Decoder()
    for index in (0, 0x7000_0000, 0xD000_0000):
        decoder.feed(wire.encode(wire.RECORDS, 0, index, payload_of("two_records")))
    decoder.restart_index()
    (records,) = decoder.feed(wire.encode(wire.RECORDS, 1, 0, payload_of("two_records")))
    assert isinstance(records, Records)
    assert records.index.tolist() == [0, 1]


def test_text_comes_out_line_by_line_and_a_prompt_when_asked() -> None:
    decoder = Decoder()
    traceback = (
        b'Traceback (most recent call last):\r\n  File "main.py", line 3\r\nOSError: 5 \xc2\xb0C\r\n>>> '
    )
    assert decoder.feed(traceback) == [
        BoardText("Traceback (most recent call last):"),
        BoardText('  File "main.py", line 3'),
        BoardText("OSError: 5 °C"),
    ]
    assert decoder.flush_text() == [BoardText(">>>")]
    assert decoder.flush_text() == []
    assert decoder.feed(frame_of("mark")) == [Mark(42, 0, 1)]


def test_flushing_text_leaves_an_unfinished_frame_alone() -> None:
    decoder = Decoder()
    whole = frame_of("hello")
    for at in range(1, len(whole) - 1):
        decoder = Decoder()
        assert decoder.feed(whole[:at]) == []
        assert decoder.flush_text() == []
        assert decoder.feed(whole[at:]) == [Hello({"protocol": 1})]


def test_text_inside_a_frame_loses_that_frame_only() -> None:
    whole = frame_of("two_records")
    events = fed(whole[:20] + b"oops\r\n" + whole[20:] + frame_of("mark"))
    assert [type(e).__name__ for e in events] == ["BadFrame", "Mark"]


def test_another_protocol_is_named() -> None:
    (event,) = fed(wire.encode(wire.HELLO, 0, 0, b"{}", protocol=2))
    assert isinstance(event, BadFrame)
    assert (event.why, event.protocol) == ("protocol", 2)


@pytest.mark.parametrize("payload", [b"", b"x" * 27, b"x" * 29])
def test_records_that_are_not_whole_are_bad(payload: bytes) -> None:
    (event,) = fed(wire.encode(wire.RECORDS, 0, 0, payload))
    assert event == BadFrame(len(payload), "payload")


@pytest.mark.parametrize("payload", [b"", b"[1]", b"{", b"\xff\xff", b"[" * 3000])
def test_json_that_is_none_is_bad(payload: bytes) -> None:
    (event,) = fed(wire.encode(wire.REPLY, 0, 0, payload))
    assert event == BadFrame(len(payload), "payload")


@pytest.mark.parametrize("piece", [1, 1000, 1 << 20])
def test_a_run_that_never_ends_is_given_up_without_holding_it(piece: int) -> None:
    data = b"\x80" * 50_000
    decoder = Decoder()
    events: list[Message] = []
    for at in range(0, len(data), piece):
        events += decoder.feed(data[at : at + piece])
    assert len(decoder._pending) <= wire.MAX_MESSAGE + 64
    events += decoder.feed(frame_of("mark"))
    assert events == [BadFrame(50_000, "length"), Mark(42, 0, 1)]


def test_records_of_mixed_packet_sizes_keep_their_order() -> None:
    data = b""
    index = 0
    for sequence, n in enumerate((1, 16, 16, 3, 1, 16)):
        payload = b"".join(struct.pack(wire.RECORD_FORMAT, *[index + i] * 11) for i in range(n))
        data += wire.encode(wire.RECORDS, sequence, index, payload)
        index += n
    (records,) = fed(data)
    assert isinstance(records, Records)
    assert records.index.tolist() == list(range(53))
    for column in (*records.sums.T, *records.mins.T, *records.maxs.T, records.position, records.flags):
        assert column.tolist() == list(range(53))


@given(
    messages=st.lists(
        st.tuples(
            st.integers(0, 0xFFFFFFFF), st.lists(st.binary(min_size=28, max_size=28), min_size=1, max_size=40)
        ),
        max_size=8,
    ),
    cuts=st.lists(st.integers(1, 600), min_size=1, max_size=30),
)
@settings(max_examples=60, deadline=None)
def test_any_records_cut_anywhere(messages: Any, cuts: list[int]) -> None:
    """The frames are made with the `cobs` package, not with our own code; 0xFF runs included."""
    data = b""
    for sequence, (index, rows) in enumerate(messages):
        body = struct.pack(wire.HEADER_FORMAT, wire.RECORDS, wire.PROTOCOL, sequence, index) + b"".join(rows)
        body += struct.pack("<I", wire.crc32(body))
        data += b"\0" + cobs.encode(body) + b"\0"
    decoder = Decoder()
    events: list[Message] = []
    at = turn = 0
    while at < len(data):
        step = cuts[turn % len(cuts)]
        events += decoder.feed(data[at : at + step])
        at, turn = at + step, turn + 1
    rows = flat(events)
    assert [r[1] & 0xFFFFFFFF for r in rows] == [
        (index + i) & 0xFFFFFFFF for index, part in messages for i in range(len(part))
    ]
    repacked = [
        struct.pack(wire.RECORD_FORMAT, *[v for c in zip(*r[2:5], strict=True) for v in c], *r[5:])
        for r in rows
    ]
    assert repacked == [raw for _, part in messages for raw in part]


@given(data=st.binary(max_size=3000), cuts=st.lists(st.integers(1, 300), min_size=1, max_size=20))
@settings(max_examples=100, deadline=None)
def test_any_bytes_never_raise_in_any_cutting(data: bytes, cuts: list[int]) -> None:
    decoder = Decoder()
    events: list[Message] = []
    at = turn = 0
    while at < len(data):
        step = cuts[turn % len(cuts)]
        events += decoder.feed(data[at : at + step])
        at, turn = at + step, turn + 1
    assert flat(events) == flat(fed(data))


def calls(work: Callable[[], object]) -> int:
    """Return how many functions are called, those in C too: a measure of work that no clock disturbs."""
    n = 0

    def count(_frame: object, event: str, _arg: object) -> None:
        nonlocal n
        n += event in ("call", "c_call")

    sys.setprofile(count)
    try:
        work()
    finally:
        sys.setprofile(None)
    return n


def test_a_piece_of_shipped_size_takes_half_of_plain_calls() -> None:
    data = stream(30, wire.RECORDS_PER_PACKET)
    assert ours(data, 4096) == plain(data, 4096) == 30 * wire.RECORDS_PER_PACKET
    assert 2 * calls(lambda: ours(data, 4096)) <= calls(lambda: plain(data, 4096))
