"""Bytes that nobody meant well between host and board, to both ends: one of our own errors, and nothing lost."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from support.fake_rig import FakeRig
from support.pythons import micropython, printed
from support.whole_errors import says_all
from sweepboard import wire
from sweeprig.errors import BoardSilentError, LinkError
from sweeprig.link import payloads
from sweeprig.link.client import RigClient
from sweeprig.link.decoder import Decoder
from sweeprig.link.messages import BadFrame, BoardText, Message, Records

FIRMWARE_PARTS = Path(__file__).parents[1] / "firmware" / "service_parts"
FIRMWARE = Path(__file__).parents[2] / "firmware"


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


def plainly(events: list[Message]) -> list[object]:
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
    events: list[Message] = []
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
    says_all(caught.value)


@pytest.mark.parametrize("reply", [{"id": 99, "ok": True}, {"ok": True}, {"id": [], "ok": True}, {"id": "2"}])
def test_a_reply_with_another_id_is_no_answer(reply: dict[str, Any]) -> None:
    rig = FakeRig()
    client = RigClient(rig, clock=rig.clock)
    client.hello()
    rig._reply = lambda *_a, **_k: rig.send(wire.REPLY, json.dumps(reply).encode())
    with pytest.raises(BoardSilentError) as caught:
        client.command("buzzer", ms=1)
    says_all(caught.value)


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
            rig.clock.sleep_ms(5)  # a cycle takes time; after 0.1 s of it a flood is dropped
        assert len(rig.service.inbox._splitter._run) <= wire.MAX_MESSAGE + 65
rig.port.inp += b"\0"
for _ in range(60):  # what still waits at the port, 256 bytes a cycle
    rig.service.step()
    rig.clock.sleep_ms(5)
assert rig.ask("hello")["protocol"] == wire.PROTOCOL
rig.messages()
rig.port.room = 0
rig.port.inp += wire.encode(wire.COMMAND, 0, 0, b'{"id":1,"cmd":"status"}') * 60
for _ in range(200):
    rig.service.step()
assert len(rig.service.outbox) <= 28
rig.port.room = 1 << 20
for _ in range(80):  # one is heard in a cycle
    rig.service.step()
rig.messages()
assert rig.ask("hello")["protocol"] == wire.PROTOCOL
print("lives on")
"""


@pytest.mark.parametrize("python", ["cpython", pytest.param("micropython", marks=pytest.mark.micropython)])
def test_the_service_refuses_hostile_commands_and_lives_on(python: str, tmp_path: Path) -> None:
    program = sys.executable if python == "cpython" else micropython()
    script = tmp_path / "hostile.py"
    script.write_text(COMMANDS, encoding="utf-8")
    assert printed(program, script, beside=[FIRMWARE_PARTS]).strip() == "lives on"
