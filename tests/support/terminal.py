"""A command on a real pseudo-terminal, its screen kept by pyte. Nothing here waits for a length of time."""

from __future__ import annotations

import fcntl
import os
import pty
import select
import struct
import subprocess
import sys
import termios
import time
from collections.abc import Callable
from pathlib import Path

import pyte

LEAVES = b"\x1b[?1049l"
GIVE_UP_S = 300.0  # for a process that hangs; a good one never comes near it


# Makes standard input the controlling terminal, so that Ctrl-C reaches the process, heeds it even where the tests
# themselves were started without (a job in the background ignores it), then becomes the command.
_LEADER = (
    "import fcntl, os, signal, sys, termios; fcntl.ioctl(0, termios.TIOCSCTTY, 0);"
    " signal.signal(signal.SIGINT, signal.SIG_DFL);"
    " os.execv(sys.executable, [sys.executable, *sys.argv[1:]])"
)


class Terminal:
    """One process on a terminal of its own."""

    def __init__(
        self,
        *args: str,
        home: Path,
        columns: int = 80,
        rows: int = 24,
        colour: bool = False,
        give_up_s: float = GIVE_UP_S,
    ) -> None:
        self.screen = pyte.Screen(columns, rows)
        self._stream = pyte.ByteStream(self.screen)
        self.raw = b""
        self._master, slave = pty.openpty()
        fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
        self._before = termios.tcgetattr(slave)
        self._slave = slave
        env = {**os.environ, "SWEEPRIG_HOME": str(home), "TERM": "xterm-256color", "PYTHONUNBUFFERED": "1"}
        env.pop("COLUMNS", None)
        env.pop("LINES", None)
        env.pop("NO_COLOR", None)
        if not colour:
            env["NO_COLOR"] = "1"
        self.process = subprocess.Popen(
            [sys.executable, "-c", _LEADER, *args],
            stdin=slave,
            stdout=slave,
            stderr=slave,
            env=env,
            start_new_session=True,
        )
        self._deadline = time.monotonic() + give_up_s

    def until(self, found: Callable[[Terminal], bool]) -> Terminal:
        """Read until `found` says so; fail where the process ends or hangs before."""
        while not found(self):
            if not self._read():
                raise AssertionError(f"ended before: {self.text()!r}")
        return self

    def until_asked(self, question: str) -> Terminal:
        """Read until `question` is shown and the process waits in the read of its answer.

        A signal between the two only marks itself: Python's input() then sleeps until the next key.
        """
        self.until(lambda t: question in t.text())
        while not self._reads_input():
            self._read()
        return self

    def send(self, keys: str) -> None:
        os.write(self._master, keys.encode())

    def hang_up(self) -> int:
        """Close the terminal under the process; return its exit status."""
        os.close(self._master)
        self._master = -1
        return self.process.wait(GIVE_UP_S)

    def end(self) -> int:
        """Read to the end; return the exit status. The view's last frame stays on the screen."""
        while self._read():
            pass
        return self.process.wait(GIVE_UP_S)

    def text(self) -> str:
        return "\n".join(line.rstrip() for line in self.screen.display)

    @property
    def restored(self) -> bool:
        """Whether the terminal's settings are those it had before."""
        return termios.tcgetattr(self._slave)[:4] == self._before[:4]

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        if self._master >= 0:
            os.close(self._master)
        os.close(self._slave)

    def _reads_input(self) -> bool:
        """Whether the process is in a read of its standard input, or asleep where the system does not tell."""
        proc = Path("/proc", str(self.process.pid))
        try:
            return proc.joinpath("syscall").read_text().startswith("0 0x0 ")
        except PermissionError:
            return proc.joinpath("stat").read_text().rpartition(")")[2].split()[0] == "S"

    def _read(self) -> bool:
        if time.monotonic() > self._deadline:
            raise AssertionError(f"hangs: {self.text()!r}")
        ended = self.process.poll() is not None  # before the look: its last words may come between the two
        if not select.select([self._master], [], [], 0 if ended else 0.2)[0]:
            return not ended
        data = os.read(self._master, 65536)
        self.raw += data
        self._stream.feed(data.replace(LEAVES, b""))  # what follows may come in the same piece
        return bool(data)
