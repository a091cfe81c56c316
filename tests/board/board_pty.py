"""An emulated board behind a pseudo-terminal, so that host programs open it as they open a real one."""

from __future__ import annotations

import os
import select
import threading
import tty
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.board.emulated_board import EmulatedBoard

STEP_S = 1e-3


class BoardOnPty:
    """Runs a board in a thread and carries its bytes; `path` is what a host opens."""

    def __init__(self, board: EmulatedBoard) -> None:
        self.board = board
        self.failed: BaseException | None = None
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        self.path = os.ttyname(self._slave)
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def clock(self) -> float:
        """Return the board's time [s]."""
        return self.board.seconds

    def start(self) -> None:
        """Let the board's time run."""
        self._thread.start()

    def wait_for_reset(self, within_s: float = 10.0) -> None:
        """Wait until the board has begun anew: until then it would take a host's bytes for the prompt's."""
        end = self.board.seconds + within_s
        while self.board.resets < 1 and self.board.seconds < end and self.failed is None:
            self._ending.wait(0.01)
        assert self.board.resets >= 1, "the board was not reset"

    def stop(self) -> None:
        """Stop the board's time and take the terminal away."""
        self._ending.set()
        self._thread.join(timeout=60)
        os.close(self._master)
        os.close(self._slave)

    def _run(self) -> None:
        try:
            while not self._ending.is_set():
                if select.select([self._master], [], [], 0)[0]:
                    self.board.write(os.read(self._master, 4096))
                self.board.run(STEP_S)
                data = self.board.read()
                while data:
                    data = data[os.write(self._master, data) :]
        except BaseException as exc:
            self.failed = exc
            raise


@contextmanager
def on_pty(image: Path, disk: Path) -> Iterator[BoardOnPty]:
    """Boot a board behind a pseudo-terminal."""
    board = EmulatedBoard(image, disk=disk)
    board.boot()
    link = BoardOnPty(board)
    link.start()
    try:
        yield link
    finally:
        link.stop()
