"""The port of a board that runs inside the test: it is as fast as it is read."""

from __future__ import annotations

from sweeprig.twin.machines import Machine


class BoardPort:
    """A transport over one board."""

    name = "simulated"

    def __init__(self, board: Machine) -> None:
        self.board = board

    def read(self, timeout_s: float) -> bytes:
        """Return what the board has said, after one turn of it where it has said nothing."""
        if not self.board.out:
            self.board.pump(timeout_s)
        data = bytes(self.board.out)
        self.board.out.clear()
        return data

    def write(self, data: bytes) -> None:
        """Give it bytes."""
        self.board.write(data)

    def close(self) -> None:
        """Switch it off."""
        self.board.close()
