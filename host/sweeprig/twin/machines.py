"""Runs the board's firmware for a simulated rig: under MicroPython's unix port in a process, or in this Python.

Both run only while the port is read (`pump`) and never ahead of it, so a simulated rig at fast pace gives the same
bytes on every machine, however slow.
"""

from __future__ import annotations

import json
import os
import select
import shutil
import struct
import subprocess
import sys
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Protocol

from sweeprig.errors import PortMissingError
from sweeprig.twin.feed import Feed

_HEAP = "16m"  # of the unix port; a board has less, tests of memory are made on an emulated one
_ENOUGH = 1 << 16  # bytes that wait to be read before the firmware is told that the port is full
_STEPS = 64  # cycles of the service in one pump


class Machine(Protocol):
    """A running board."""

    out: bytearray  # bytes from the board that nobody has read

    def pump(self, timeout_s: float) -> None:
        """Let the board run until it has sent something, at most `timeout_s` [s]."""
        ...

    def write(self, data: bytes) -> object:
        """Give bytes to the board."""
        ...

    def close(self) -> None:
        """Switch it off."""
        ...


def firmware_folder() -> Path:
    """Return the folder that holds the package sweepboard."""
    import sweepboard

    return Path(str(sweepboard.__file__)).resolve().parent.parent


def find_micropython() -> str | None:
    """Return MicroPython's unix port: beside this Python, else on the path."""
    beside = Path(sys.executable).with_name("micropython")
    return str(beside) if beside.exists() else shutil.which("micropython")


def start_machine(vm: str, feed: Feed, identity: Mapping[str, Any]) -> Machine:
    """Start a board. `vm` is auto, micropython or cpython. Raises PortMissingError."""
    program = find_micropython() if vm != "cpython" and os.name == "posix" else None
    if program:
        return Process(program, feed, identity)
    if vm == "micropython":
        raise PortMissingError(
            "The simulated rig cannot run under MicroPython.",
            seen="no command `micropython`",
            limit="MicroPython's unix port on the path",
            next_step="pip install 'sweeprig[micropython]', or leave vm=micropython out of the URL",
        )
    return InProcess(feed, identity)


def _answer(feed: Feed, kind: int, outputs: int, n: int) -> bytes:
    """Return the simulated rig's answer to a request of the board; b"" where no window is due."""
    from sweepboard import simulated_board, simulated_drive

    if kind == simulated_board.ASK_RAW:
        return feed.raw(outputs, n)
    if kind == simulated_drive.ASK_SHAFT:
        return feed.shaft(n)
    if kind == simulated_board.ASK_SLOW:
        return feed.slow(outputs)
    _tell(feed, kind, n)
    return b"\1"


def _tell(feed: Feed, kind: int, n: int) -> None:
    """Tell the simulated rig what the board does."""
    from sweepboard import command_table, simulated_board, simulated_drive

    if kind == simulated_board.ASK_START:
        feed.restart()
    elif kind == simulated_board.ASK_LIGHT:
        feed.show("light", command_table.LIGHT_MODES[n])
    elif kind == simulated_board.ASK_RAMP:
        feed.ramp(n)
    elif kind == simulated_board.ASK_BUZZER:
        feed.show("buzzer", n)
    elif kind == simulated_drive.ASK_TURN:
        feed.turn(n)


class InProcess:
    """The firmware in this Python, one step after another."""

    def __init__(self, feed: Feed, identity: Mapping[str, Any]) -> None:
        from sweepboard import simulated_board

        self.out = bytearray()
        self._inbox = bytearray()
        self._feed = feed
        about = {**identity, "python": sys.version.split()[0]}
        self._service = simulated_board.build(self, self._ask, about)
        self._look_every = simulated_board.STATE_EVERY_MS
        self._looked = self._service.clock.ms()

    def _ask(self, kind: int, outputs: int, n: int) -> bytes:
        return _answer(self._feed, kind, outputs, n)

    # --- the board's side of the port

    def read(self, n: int) -> bytes:
        """Return what the host sent, at most `n` bytes."""
        data = bytes(self._inbox[:n])
        del self._inbox[:n]
        return data

    def writable(self) -> int:
        """Return how many bytes fit."""
        return max(0, _ENOUGH - len(self.out))

    def take(self, data: memoryview) -> int:
        """Take bytes from the board."""
        self.out += data
        return len(data)

    # --- the host's side

    def write(self, data: bytes | memoryview) -> int:
        """Take bytes from either side; a memoryview comes from the board."""
        if isinstance(data, memoryview):
            return self.take(data)
        self._inbox += data
        return len(data)

    def pump(self, timeout_s: float) -> None:
        """Step the service until it has sent something."""
        until = time.monotonic() + timeout_s
        service = self._service
        while True:
            for _ in range(_STEPS):
                if not service.step():
                    self._idle()
                    break
                if self.out:
                    return
            self._look_now_and_then()
            if self.out or time.monotonic() >= until:
                return
            time.sleep(0.0005)

    def _idle(self) -> None:
        """Let the board's time pass while no stream does so."""
        if not self._service.stream.running:
            self._service.clock.sleep_ms(1)

    def _look_now_and_then(self) -> None:
        now = self._service.clock.ms()
        if self._service.stream.running and now - self._looked >= self._look_every:
            self._looked = now
            self._service.look()

    def close(self) -> None:
        """Forget the service."""
        self._inbox.clear()
        if self._service.keeper is not None:
            self._service.keeper.close()


class Process:
    """The firmware under MicroPython's unix port, four pipes to it."""

    def __init__(self, program: str, feed: Feed, identity: Mapping[str, Any]) -> None:
        from sweepboard import simulated_board

        self.out = bytearray()
        self._pending = b""  # a request that waits for windows to be due
        self._feed = feed
        self._identity = json.dumps(dict(identity)).encode()
        self._codes = simulated_board
        self._n_ask = struct.calcsize(simulated_board.ASK_FORMAT)
        board_in, self._in = os.pipe()
        self._out, board_out = os.pipe()
        self._request, board_request = os.pipe()
        board_answer, self._answer = os.pipe()
        theirs = (board_in, board_out, board_request, board_answer)
        os.set_blocking(board_in, False)
        os.set_blocking(board_out, False)
        os.set_blocking(self._out, False)
        script = "from sweepboard import simulated_board; simulated_board.main()"
        self._process = subprocess.Popen(
            [program, "-X", f"heapsize={_HEAP}", "-c", script, *map(str, theirs)],
            cwd=firmware_folder(),  # MicroPython looks there first
            pass_fds=theirs,
            start_new_session=True,  # Ctrl-C is for the host, not for the board
            stdin=subprocess.DEVNULL,
            stdout=board_out,
            stderr=board_out,
        )
        for fd in theirs:
            os.close(fd)

    def write(self, data: bytes) -> None:
        """Give bytes to the board."""
        try:
            os.write(self._in, data)
        except BrokenPipeError:
            raise OSError("the simulated board has ended") from None

    def pump(self, timeout_s: float) -> None:
        """Serve the board's requests until it has sent something."""
        until = time.monotonic() + timeout_s
        asked = bool(self._pending)
        while not self.out:
            left = until - time.monotonic()
            watched = [self._out] if asked else [self._out, self._request]
            wait = min(left, max(0.0, self._feed.wait_s())) if asked else left
            ready, _, _ = select.select(watched, [], [], max(0.0, wait))
            if self._out in ready:
                self._hear()
                continue
            asked = self._serve(asked or self._request in ready)
            if left <= 0 and not ready:
                return

    def _hear(self) -> None:
        data = os.read(self._out, _ENOUGH)
        if not data:
            raise OSError("the simulated board has ended")
        self.out += data

    def _serve(self, asked: bool) -> bool:
        """Answer a waiting request; return whether another one waits."""
        if not asked:
            return False
        self._pending = self._pending or os.read(self._request, self._n_ask)
        if len(self._pending) < self._n_ask:
            raise OSError("the simulated board has ended")
        kind, outputs, n = struct.unpack(self._codes.ASK_FORMAT, self._pending)
        data = self._answer_to(kind, outputs, n)
        if not data:
            return True
        self._pending = b""
        self._send(struct.pack(self._codes.ANSWER_FORMAT, len(data)) + data)
        return False

    def _answer_to(self, kind: int, outputs: int, n: int) -> bytes:
        """Return the answer; b"" where no window is due."""
        if kind == self._codes.ASK_IDENTITY:
            return self._identity
        return _answer(self._feed, kind, outputs, n)

    def _send(self, data: bytes) -> None:
        view = memoryview(data)
        while view:
            view = view[os.write(self._answer, view) :]

    def close(self) -> None:
        """End the process."""
        for fd in (self._in, self._answer, self._request, self._out):
            os.close(fd)
        self._process.terminate()
        self._process.wait()
