"""The client against a fake rig, on a clock that only the fake moves."""

from __future__ import annotations

import struct
from itertools import pairwise

import pytest

from support.fake_rig import Clock, FakeRig
from sweepboard import wire
from sweeprig.errors import (
    BoardRefusedError,
    BoardSilentError,
    NoFirmwareError,
    PortLostError,
    ProtocolVersionError,
)
from sweeprig.link.client import RigClient
from sweeprig.link.decoder import Decoder
from sweeprig.link.messages import BoardText, Mark, Records


def client_of(rig: FakeRig) -> RigClient:
    return RigClient(rig, clock=rig.clock)


def test_hello_is_asked_once_and_remembered() -> None:
    rig = FakeRig()
    client = client_of(rig)
    assert client.hello()["build"] == "full"
    assert client.hello() is client.hello()
    assert [c["cmd"] for c in rig.commands] == ["hello"]
    client.hello(again=True)
    assert len(rig.commands) == 2


def test_a_board_that_still_boots_is_asked_again() -> None:
    rig = FakeRig()
    rig.greets = False
    client = client_of(rig)
    read = rig.read

    def boots(timeout_s: float) -> bytes:
        rig.greets = rig.clock.now > 101.5
        return read(timeout_s)

    rig.read = boots  # type: ignore[method-assign]
    assert client.hello()["uid"] == "00ff"
    assert len(rig.commands) == 3


def test_silence_is_told_from_a_prompt_and_from_nonsense() -> None:
    silent = FakeRig()
    silent.greets = False
    with pytest.raises(BoardSilentError, match="No answer on fake"):
        client_of(silent).hello()
    assert 103.0 <= silent.clock.now < 103.2

    prompt = FakeRig()
    prompt.instead_of_hello = b"\r\n>>> "
    with pytest.raises(NoFirmwareError, match=r"runs MicroPython, but not .* sweeprig install"):
        client_of(prompt).hello()
    assert prompt.clock.now < 101.0  # a prompt is not waited out

    nonsense = FakeRig()
    nonsense.instead_of_hello = b"\xfe\xfd\xfc\x80" * 10
    with pytest.raises(NoFirmwareError, match=r"not a rig.*120 bytes"):
        client_of(nonsense).hello()


def test_a_traceback_instead_of_a_hello_is_shown() -> None:
    rig = FakeRig()
    rig.instead_of_hello = b"Traceback (most recent call last):\r\nMemoryError: \r\n"
    with pytest.raises(NoFirmwareError, match=r"sends text.*MemoryError"):
        client_of(rig).hello()


@pytest.mark.parametrize("version", [0, 2])
def test_another_version_of_the_wire_is_named(version: int) -> None:
    with pytest.raises(ProtocolVersionError, match=f"version {version}"):
        client_of(FakeRig(protocol=version)).hello()
    rig = FakeRig()
    rig.instead_of_hello = wire.encode(wire.HELLO, 0, 0, b"{}", protocol=version + 5)
    with pytest.raises(ProtocolVersionError, match=f"version {version + 5}"):
        client_of(rig).hello()


def test_a_hello_that_is_not_whole_is_refused() -> None:
    rig = FakeRig()
    del rig.hello["window"]
    with pytest.raises(NoFirmwareError, match="without window"):
        client_of(rig).hello()


def test_text_before_the_hello_is_kept_and_shown() -> None:
    rig = FakeRig()
    rig.says = b"sweeprig 1.0 ready\r\n"
    client = client_of(rig)
    client.hello()
    assert client.board_text == ["sweeprig 1.0 ready"]
    assert client.poll(0.0) == []


def test_commands_carry_arguments_and_refusals_their_reason() -> None:
    rig = FakeRig()
    rig.refuse["supply"] = ("refused", "tapped hookup")
    rig.refuse["new"] = ("unknown-command", "no such command")
    client = client_of(rig)
    assert client.command("bias", mode="up")["window"] == wire.WINDOW
    assert rig.commands[-1] == {"id": 1, "cmd": "bias", "mode": "up"}
    with pytest.raises(BoardRefusedError, match="supply: tapped hookup"):
        client.command("supply", on=True)
    with pytest.raises(BoardRefusedError, match="sweeprig install"):
        client.command("new")


def test_no_reply_is_an_error_after_its_time() -> None:
    rig = FakeRig()
    rig.answers = False
    with pytest.raises(BoardSilentError, match="does not answer the command stop"):
        client_of(rig).command("stop", timeout_s=0.5)
    assert 100.5 <= rig.clock.now < 100.6


def test_events_beside_a_reply_are_not_lost() -> None:
    rig = FakeRig()
    client = client_of(rig)
    client.start()
    rig.says = b"warm\r\n"
    client.command("light", mode="busy")
    events = client.poll(1.0)
    assert BoardText("warm") in events
    assert any(isinstance(e, Records) for e in events + client.poll(1.0))


def test_status_returns_the_counts() -> None:
    client = client_of(FakeRig())
    status = client.status()
    assert (status.n_made, status.n_sent, status.n_dropped, status.reset_cause) == (5, 4, 3, 1)


def test_poll_waits_no_longer_than_told() -> None:
    rig = FakeRig()
    client = client_of(rig)
    client.hello()
    before = rig.clock.now
    assert client.poll(0.3) == []
    assert 0.3 <= rig.clock.now - before < 0.36


def test_the_host_speaks_up_while_it_waits_and_while_it_streams() -> None:
    rig = FakeRig()
    client = client_of(rig)
    client.hello()
    client.poll(10.0)
    assert rig.n_alive >= 10.0 / 0.56
    assert max(b - a for a, b in pairwise(rig.alive_at)) < wire.KEEP_ALIVE_MS / 1000 / 3


def test_rest_is_as_long_as_told_and_keeps_speaking() -> None:
    rig = FakeRig()
    client = client_of(rig)
    client.hello()
    before, spoken = rig.clock.now, len(rig.alive_at)
    rig.send(wire.MARK, struct.pack(wire.MARK_FORMAT, 0, 0, 1))
    client.rest(30.0)
    assert 30.0 <= rig.clock.now - before < 30.1
    assert max(b - a for a, b in pairwise(rig.alive_at[spoken:])) < wire.KEEP_ALIVE_MS / 1000 / 3
    assert [type(event) for event in client.poll(0.0)] == [Mark]


def test_fast_board_hears_us_by_its_own_time() -> None:
    """A simulated rig runs through seconds in no time: what counts is the board's clock, the record index."""
    rig = FakeRig()
    client = RigClient(rig, clock=Clock())  # a clock that stands still
    client.hello()
    client.start()
    at = []
    while rig._index < 5 * 1004:
        n = rig.n_alive
        client.poll(1.0)
        at += [rig._index] if rig.n_alive > n else []
    assert max(b - a for a, b in pairwise([0, *at])) * client.window_s < wire.KEEP_ALIVE_MS / 1000 / 3


def test_bytes_go_to_the_hook_before_anything_is_made_of_them() -> None:
    rig = FakeRig()
    client = client_of(rig)
    client.hello()
    seen = bytearray()
    client.on_bytes = seen.extend
    rig.says = b"\xff\x80junk that is not ours"
    client.start()
    while not any(isinstance(e, Records) for e in client.poll(1.0)):
        pass
    assert seen.startswith(b"\xff\x80junk that is not ours\x00")
    assert any(isinstance(e, Records) for e in Decoder().feed(seen))


def test_second_start_begins_at_zero() -> None:
    rig = FakeRig()
    client = client_of(rig)
    client.start()
    for _ in range(5):
        client.poll(1.0)
    client.command("light", mode="off")  # records wait beside its reply
    client.start()
    first = next(e for _ in range(5) for e in client.poll(1.0) if isinstance(e, Records))
    assert first.index[0] == 0


def test_a_board_that_went_away_is_an_error_of_ours() -> None:
    rig = FakeRig()
    rig.lost_after = 3
    client = client_of(rig)
    client.start()
    for _ in range(3):
        assert client.poll(1.0)
    with pytest.raises(PortLostError):
        client.poll(1.0)


def test_closing_lets_the_port_go() -> None:
    rig = FakeRig()
    client_of(rig).close()
    assert rig.closed
