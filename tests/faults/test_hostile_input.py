"""Input that nobody meant well: any bytes, cut files, wrong types. One of our own errors, and nothing lost."""

from __future__ import annotations

import hashlib
import io
import json
import os
import random
import re
import subprocess
import sys
import zipfile
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fake_rig import HELLO, FakeRig, record
from sweepboard import wire
from sweeprig.bench.config import load_config
from sweeprig.bench.review import review_capture
from sweeprig.capture.csv_file import read_csv
from sweeprig.capture.file import pack, read_capture
from sweeprig.capture.journal import JournalHead
from sweeprig.capture.model import Capture, SweepSetup
from sweeprig.capture.sweep import recover
from sweeprig.errors import (
    BoardSilentError,
    CaptureFileError,
    ConfigError,
    CsvError,
    LinkError,
    ProfileError,
    SweeprigError,
)
from sweeprig.judge.profile import load_profile, profile_text
from sweeprig.link import payloads
from sweeprig.link.client import RigClient
from sweeprig.link.decoder import Decoder
from sweeprig.link.messages import BadFrame, BoardText, Event, Records
from sweeprig.report.sheet import sheet_html
from sweeprig.twin.capture import capture_of

FIRMWARE_PARTS = Path(__file__).parents[1] / "firmware" / "service_parts"
FIRMWARE = Path(__file__).parents[2] / "firmware"


@pytest.fixture(scope="module")
def capture() -> Capture:
    return capture_of("good", seconds=1.0)


def told(error: SweeprigError) -> None:
    """An error of ours says what it saw and what to do."""
    assert error.what
    assert error.seen
    assert error.next_step


def named(error: ProfileError) -> None:
    """An error of a profile names the line, and what was seen or what fits."""
    assert re.search(r"line \d+:", error.what)
    assert error.limit or error.seen


# --- the link

MESSAGES = st.builds(
    wire.encode,
    st.integers(0, 255),
    st.integers(0, 0xFFFF),
    st.integers(0, 0xFFFFFFFF),
    st.one_of(st.binary(max_size=300), st.builds(lambda n: bytes(wire.RECORD_SIZE * n), st.integers(1, 9))),
    st.sampled_from([wire.PROTOCOL, wire.PROTOCOL, wire.PROTOCOL, 2, 255]),
)
SAID = [b"boot\r\n", b">>> ", b"\xff" * 600, b"\x01" * 300, "\u00e4\n".encode(), b"\r", b"\xe2\x80\xa8\n"]
PIECES = st.one_of(
    MESSAGES,
    st.binary(max_size=300),
    st.sampled_from(SAID),
    st.builds(lambda m, at: m[: at % len(m)], MESSAGES, st.integers(0, 10**6)),
)


def plainly(events: list[Event]) -> list[object]:
    """Events one by one, records singly, so that only what they say counts."""
    found: list[object] = []
    for event in events:
        if isinstance(event, Records):
            rows = zip(event.index.tolist(), event.sums.tolist(), event.flags.tolist(), strict=True)
            found += [("record", *row) for row in rows]
        else:
            found.append({k: v.tolist() if hasattr(v, "tolist") else v for k, v in vars(event).items()})
    return found


@settings(max_examples=150, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(st.lists(PIECES, max_size=10), st.sampled_from([1, 2, 3, 7, 64, 500]))
def test_any_bytes_in_any_pieces_give_the_same_events_and_counts(pieces: list[bytes], step: int) -> None:
    data = b"".join(pieces)
    once, cut = Decoder(), Decoder()
    expected = plainly(once.feed(data) + once.flush_text())
    events: list[Event] = []
    for at in range(0, len(data), step):
        events += cut.feed(data[at : at + step])
    assert plainly(events + cut.flush_text()) == expected
    assert cut.counts == once.counts


@pytest.mark.parametrize("n", [0, 1, 7, 8, 29, 100])
def test_no_payload_of_any_kind_raises(n: int) -> None:
    for kind in range(256):
        events = Decoder().feed(wire.encode(kind, 0xFFFF, 0xFFFFFFFF, b"\xff" * n))
        assert all(isinstance(e, BadFrame | BoardText) or kind in payloads.KINDS for e in events)


@pytest.mark.parametrize(
    "payload",
    [b"[" * 3900, b'{"id":' + b"9" * 3900, b"[]", b"1", b"\xff", b"", b'{"id":1e999}', b'{"id":{}}'],
)
def test_a_hostile_hello_is_no_rig(payload: bytes) -> None:
    rig = FakeRig()
    rig.instead_of_hello = wire.encode(wire.HELLO, 0, 0, payload)
    with pytest.raises(LinkError) as caught:
        RigClient(rig, clock=rig.clock).hello()
    told(caught.value)


@pytest.mark.parametrize("reply", [{"id": 99, "ok": True}, {"ok": True}, {"id": [], "ok": True}, {"id": "2"}])
def test_a_reply_with_another_id_is_no_answer(reply: dict[str, Any]) -> None:
    rig = FakeRig()
    client = RigClient(rig, clock=rig.clock)
    client.hello()
    rig._reply = lambda *_a, **_k: rig.send(wire.REPLY, json.dumps(reply).encode())
    with pytest.raises(BoardSilentError) as caught:
        client.command("buzzer", ms=1)
    told(caught.value)


def test_a_run_that_never_ends_takes_no_memory() -> None:
    decoder = Decoder()
    for _ in range(64):
        assert decoder.feed(b"\x07" * 65536) == []
        assert len(decoder._pending) < 10000
    bad = decoder.feed(b"\0")
    assert bad == [BadFrame(64 * 65536, "length")]


# --- the firmware's command parser

COMMANDS = r"""
from harness import Rig
from sweepboard import wire
deep = b"[" * 1500
payloads = (
    deep, b'{"a":' * 300, b'{"id":1,"cmd":' + b"[" * 200 + b"]" * 200 + b"}", b'{"id":' + b"9" * 1500 + b',"cmd":"x"}',
    b'{"id":1,"cmd":"buzzer","ms":1e400}', b'{"id":[],"cmd":"hello"}', b'{"id":1,"cmd":{}}', b'{"id":1,"cmd":"\xff"}',
    b'{"id":1,"cmd":"hello","' + b"k" * 1500 + b'":1}', b"", b"[]", b"1", b'{"id":1,"cmd":"start","self":1}',
    b'{"id":1,"cmd":"bias","mode":"' + b"\\u0001" * 200 + b'"}', bytes(1000),
)
rig = Rig()
for payload in payloads:
    rig.send(wire.COMMAND, payload)
    for _ in range(40):
        rig.service.step()
    replies = [m[2] for m in rig.messages() if m[0] == wire.REPLY]
    assert len(replies) == 1 and b'"ok": false' in replies[0], (payload[:40], replies)
for flood in (b"\x07" * 500, b"\xff" * 500, b"\x05\0" * 250, wire.encode(wire.COMMAND, 0, 0, b'{"id":1}')[:-5]):
    for _ in range(20):
        rig.port.inp += flood
        for _ in range(6):
            rig.service.step()
        assert len(rig.service._splitter._run) <= wire.MAX_MESSAGE + 65
rig.port.inp += b"\0"
assert rig.ask("hello")["protocol"] == wire.PROTOCOL
rig.messages()
rig.port.room = 0
rig.port.inp += wire.encode(wire.COMMAND, 0, 0, b'{"id":1,"cmd":"status"}') * 60
for _ in range(200):
    rig.service.step()
assert len(rig.service.outbox) <= 28
rig.port.room = 1 << 20
assert rig.ask("hello")["protocol"] == wire.PROTOCOL
print("lives on")
"""


@pytest.mark.parametrize("python", ["cpython", pytest.param("micropython", marks=pytest.mark.micropython)])
def test_the_service_refuses_hostile_commands_and_lives_on(python: str, tmp_path: Path) -> None:
    program = sys.executable if python == "cpython" else str(Path(sys.executable).with_name("micropython"))
    script = tmp_path / "hostile.py"
    script.write_text(COMMANDS, encoding="utf-8")
    path = f"{FIRMWARE}:{FIRMWARE_PARTS}"
    done = subprocess.run(
        [program, str(script)],
        env=os.environ | {"MICROPYPATH": path, "PYTHONPATH": path},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.stdout.strip() == "lives on", done.stdout + done.stderr


# --- capture files


def crafted(capture: Capture, arrays: dict[str, Any], **meta: Any) -> bytes:
    """A capture file with other arrays and other entries, all digests right."""
    with zipfile.ZipFile(io.BytesIO(pack(capture))) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    plain = json.loads(members.pop("capture.json")) | meta
    for name, array in arrays.items():
        out = io.BytesIO()
        np.lib.format.write_array(out, np.asarray(array), allow_pickle=True)
        members[f"{name}.npy"] = out.getvalue()
    plain["sha256"] = {name: hashlib.sha256(data).hexdigest() for name, data in members.items()}
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, data in {"capture.json": json.dumps(plain).encode(), **members}.items():
            archive.writestr(name, data)
    return out.getvalue()


def test_a_capture_cut_anywhere_is_told_of(tmp_path: Path, capture: Capture) -> None:
    whole = pack(capture)
    path = tmp_path / "a.sweep"
    for i in range(200):
        path.write_bytes(whole[: len(whole) * i // 200])
        with pytest.raises(CaptureFileError) as caught:
            read_capture(path)
        told(caught.value)


def test_a_flipped_bit_is_told_of_or_changes_nothing(tmp_path: Path, capture: Capture) -> None:
    whole, path, draw = pack(capture), tmp_path / "a.sweep", random.Random(1)
    for _ in range(200):
        data = bytearray(whole)
        data[draw.randrange(len(data))] ^= 1 << draw.randrange(8)
        path.write_bytes(data)
        try:
            read = read_capture(path)
        except CaptureFileError as error:
            told(error)
        else:
            assert pack(read) == whole


@pytest.mark.parametrize(
    ("arrays", "meta"),
    [
        ({"index": np.array(5)}, {}),
        ({"index": np.array([{}], object)}, {}),
        ({"index": np.array([3, 2, 1])}, {}),
        ({"sums": np.zeros((4, 2), np.uint32)}, {}),
        ({"sums": np.zeros((4, 3), np.float64)}, {}),
        ({"flags": np.zeros(1, np.uint16)}, {}),
        ({"snapshots": np.array([[1, 1, 1, 3, 0, 7]])}, {}),
        ({}, {"setup": []}),
        ({}, {"setup": None}),
        ({}, {"setup": {"hookup": "elsewhere"}}),
        ({}, {"setup": {"hookup": []}}),
        ({}, {"window": float("inf")}),
        ({}, {"board_text": 5}),
        ({}, {"bad_frames": float("inf")}),
        ({}, {"versions": "ab"}),
        ({}, {"version": 2}),
    ],
)
def test_a_well_formed_capture_that_does_not_fit_is_told_of(
    tmp_path: Path, capture: Capture, arrays: dict[str, Any], meta: dict[str, Any]
) -> None:
    path = tmp_path / "a.sweep"
    path.write_bytes(crafted(capture, arrays, **meta))
    with pytest.raises(CaptureFileError) as caught:
        read_capture(path)
    told(caught.value)


# --- journals


def journal_bytes() -> tuple[bytes, int]:
    head = JournalHead(
        "2026-01-01T00:00:00+00:00", HELLO, SweepSetup(), wire.WINDOW, wire.CONVERSION_HZ, n_windows=160
    )
    n = wire.RECORDS_PER_PACKET
    packets = (
        wire.encode(wire.RECORDS, i, i * n, b"".join(record(i * n + j) for j in range(n))) for i in range(10)
    )
    return head.to_line() + b"boot\r\n" + b"".join(packets), len(head.to_line())


def test_a_journal_cut_at_any_byte_keeps_its_whole_packets(tmp_path: Path) -> None:
    whole, n_head = journal_bytes()
    packet = (len(whole) - n_head) // 10
    for at in range(0, len(whole), 37):
        folder = tmp_path / str(at)
        folder.mkdir()
        (folder / "a.journal").write_bytes(whole[:at])
        found = recover(folder)
        kept = len(read_capture(found[0]).records) if found else 0
        assert kept >= max(0, (at - n_head) // (packet + 1) - 1) * wire.RECORDS_PER_PACKET
        if not found:
            assert (folder / "a.journal-unusable").read_bytes() == whole[:at]


def test_junk_inside_a_journal_costs_its_packets_only(tmp_path: Path) -> None:
    whole, n_head = journal_bytes()
    draw = random.Random(2)
    for i in range(60):
        folder = tmp_path / str(i)
        folder.mkdir()
        data = bytearray(whole)
        data[draw.randrange(n_head, len(data))] = draw.randrange(256)
        (folder / "a.journal").write_bytes(data)
        (path,) = recover(folder)
        assert len(read_capture(path).records) >= 8 * wire.RECORDS_PER_PACKET


# --- text files

ROWS = "time_s,signal_v\n"


@pytest.mark.parametrize(
    "text",
    [
        b"",
        b"\xef\xbb\xbf",
        b"sep=;\n",
        ROWS.encode() + b"0,\xed\xa0\x80\n1,2\n",
        (ROWS + "0,1\n1,2\n").encode("utf-32"),
        (ROWS + "0,1\n1,2\n").encode("utf-16")[:-1],
        (ROWS + "0,1\0\n1,2\n").encode(),
        (ROWS + "0,\n1,2\n").encode(),
        (ROWS + '0,"1\n1,2\n').encode(),
        (ROWS + "0," + "1" * 140000 + "\n1,2\n").encode(),
        (ROWS + "0," + "9" * 4000 + "\n1,2\n").encode(),
        (ROWS + "0,1e999\n1,2\n").encode(),
        (ROWS + "0,nan\n1,2\n").encode(),
        (ROWS + "0,inf\n1,2\n").encode(),
        (ROWS + "=1+1,2\n1,2\n").encode(),
        (ROWS + "0,0x10\n1,2\n").encode(),
        (ROWS + "0,1_0\n1,2\n").encode(),
        (ROWS + "0,1\u2028 1,2\n").encode(),
        (ROWS + "x,y\n" * 2000).encode(),
        b"time_s,signal_v,signal_v\n0,1,1\n1,2,2\n",
        ("time_s,signal_v," + ",".join(f"c{i}" for i in range(5000)) + "\n0,1\n").encode(),
    ],
)
def test_a_hostile_csv_is_told_of(tmp_path: Path, text: bytes) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(text)
    with pytest.raises(CsvError) as caught:
        read_csv(path)
    assert caught.value.next_step
    assert len(str(caught.value)) < 2000


VALUES = ["1e308", "-1e308", "nan", "inf", '"x"', "true", "[]", "{}", "2020-01-01", '"<script>"', "-1"]


def test_no_wrong_value_in_a_profile_gives_more_than_its_error(tmp_path: Path) -> None:
    text, _ = profile_text("adjustable-potentiometer")
    lines, path, refused = text.splitlines(), tmp_path / "p.toml", 0
    for i, line in enumerate(lines):
        entry = re.match(r"(\w+ = )", line)
        for value in VALUES if entry else []:
            path.write_text("\n".join([*lines[:i], entry[1] + value if entry else "", *lines[i + 1 :]]))
            try:
                load_profile(path)
            except ProfileError as error:
                refused += 1
                named(error)
    assert refused > 300


@pytest.mark.parametrize(
    "text",
    [b"port=1", b"bell=1", b"zzz=1", b'""=1', b"[port]", b"port.x=1", b"port=2020-01-01", b"\xff", b"=["],
)
def test_a_hostile_configuration_is_told_of(tmp_path: Path, text: bytes) -> None:
    path = tmp_path / "config.toml"
    path.write_bytes(text)
    with pytest.raises(ConfigError) as caught:
        load_config(path)
    assert caught.value.next_step


# --- the sheet

EVIL = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>\u202e\x00\x07"


def test_what_an_operator_or_a_board_says_stays_text_on_the_sheet(capture: Capture) -> None:
    words: dict[str, Any] = dict.fromkeys(
        ("operator", "job", "sensor_label", "part", "serial", "notes", "override"), EVIL
    )
    hostile = replace(
        capture,
        setup=replace(capture.setup, confirmed=(EVIL,), prepared=(EVIL,), **words),
        board_text=(EVIL,),
        coaching=(EVIL,),
        ended=EVIL,
        rig={**capture.rig, "board": EVIL, "uid": EVIL, "firmware": EVIL, "reset_cause": EVIL},
    )
    page = sheet_html(review_capture(hostile, made_at="2026-01-01T00:00:00+00:00"))
    assert "&lt;script&gt;" in page
    assert "<script" not in page
    assert "<img" not in page
    assert not {"\u202e", "\x00", "\x07"} & set(page)


def test_notes_of_any_length_leave_the_sheet_small(capture: Capture) -> None:
    page = sheet_html(review_capture(capture))
    for notes in ("w" * 100000, "a\n" * 50000):
        setup = replace(capture.setup, notes=notes, operator=notes, sensor_label=notes)
        long = sheet_html(review_capture(replace(capture, setup=setup)))
        assert len(long) < len(page) + 20000
