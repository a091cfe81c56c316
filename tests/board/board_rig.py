"""A rig on an emulated board: speaks the wire to the firmware that runs there."""

from __future__ import annotations

import json
import struct
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

from tests.board.emulated_board import EmulatedBoard

from sweepboard import wire

ALIVE_S = wire.ALIVE_EVERY_MS / 1000
RECORD = struct.Struct(wire.RECORD_FORMAT)


class Message(NamedTuple):
    """One message from the board."""

    kind: int
    sequence: int
    index: int
    payload: bytes


class BoardRig:
    """Talks to the service on `board`, and keeps all that it sent."""

    def __init__(self, board: EmulatedBoard) -> None:
        self.board = board
        self.messages: list[Message] = []
        self.text = bytearray()  # what stood between frames
        self.n_bytes = 0
        self.keep_alive = True
        self._open = bytearray()
        self._inside = False
        self._sequence = 0
        self._next_id = 1
        self._spoke_s = -1.0

    def send(self, kind: int, payload: bytes = b"") -> None:
        """Send one message."""
        self._sequence += 1
        self.board.write(wire.encode(kind, self._sequence, 0, payload))
        self._spoke_s = self.board.seconds

    def _take_in(self) -> None:
        data = self.board.read()
        self.n_bytes += len(data)
        for run in self._runs(data):
            message = wire.open_message(run)
            if message is None:
                self.text += run
            else:
                kind, _protocol, sequence, index, payload = message
                self.messages.append(Message(kind, sequence, index, payload))

    def _runs(self, data: bytes) -> list[bytes]:
        self._open += data
        *done, rest = bytes(self._open).split(b"\0")
        self._open = bytearray(rest)
        return [run for run in done if run]

    def run(self, seconds: float, *, step_s: float = 5e-3) -> None:
        """Let emulated time pass, saying ALIVE as a host does."""
        self.run_until(lambda: False, within_s=seconds, step_s=step_s)

    def run_until(self, done: Callable[[], bool], *, within_s: float, step_s: float = 2e-3) -> bool:
        """Let time pass until `done()`; return whether it came to that."""
        end = self.board.seconds + within_s
        while self.board.seconds < end - 1e-9:
            if self.keep_alive and self.board.seconds - self._spoke_s >= ALIVE_S:
                self.send(wire.ALIVE)
            self.board.run(min(step_s, end - self.board.seconds))
            self._take_in()
            if done():
                return True
        return False

    def stall(self, seconds: float) -> None:
        """Let the host do nothing for a while, neither read nor speak; then it reads on."""
        self.board.link.host_reads = False
        self.board.run(seconds)
        self.board.link.read_on()

    def command(self, cmd: str, *, within_s: float = 2.0, **arguments: Any) -> dict[str, Any]:
        """Send a command and return its reply (for hello: the HELLO message)."""
        number = self._next_id
        self._next_id += 1
        self.send(wire.COMMAND, json.dumps({"id": number, "cmd": cmd, **arguments}).encode())
        found: list[dict[str, Any]] = []

        def answered() -> bool:
            for message in self.messages[::-1]:
                if message.kind in {wire.REPLY, wire.HELLO}:
                    reply = json.loads(message.payload)
                    if reply.get("id") == number:
                        found.append(reply)
                        return True
            return False

        assert self.run_until(answered, within_s=within_s), f"no reply to {cmd}; the board said {self.said()}"
        return found[0]

    def said(self) -> bytes:
        """Return what the board wrote outside frames."""
        return bytes(self.text) + bytes(self._open)

    def of(self, kind: int) -> list[Message]:
        """Return the messages of one kind."""
        return [message for message in self.messages if message.kind == kind]

    def records(self) -> dict[int, tuple[int, ...]]:
        """Return the records that came, by index."""
        found = {}
        for message in self.of(wire.RECORDS):
            for i, values in enumerate(RECORD.iter_unpack(message.payload)):
                found[message.index + i] = values
        return found

    def gaps(self) -> list[tuple[int, int, int]]:
        """Return (index, windows, reason) of each GAP."""
        return [(m.index, *struct.unpack(wire.GAP_FORMAT, m.payload)[:2]) for m in self.of(wire.GAP)]


def boot_rig(image: Path, disk: Path) -> BoardRig:
    """Boot a board whose main.py starts the service."""
    board = EmulatedBoard(image, disk=disk)
    board.boot()
    return BoardRig(board)
