"""How long windows wait on an emulated board before the firmware looks for them."""

from __future__ import annotations

from tests.board.emulated_board import EmulatedBoard

from sweepboard import wire

WORDS = wire.WINDOW * wire.CHANNELS
MOST = 31  # whole windows that can wait: one buffer is being filled


class Waits:
    """Counts, at each look of the firmware for windows, those that were filled since the look before."""

    def __init__(self, board: EmulatedBoard) -> None:
        self._adc = board.adc
        self._run: list[int] = []
        self._seen = self.longest = 0
        board.mcu.dma.looked = self._look

    def _look(self) -> None:
        run = self._adc.run
        if run is not self._run:
            self._run, self._seen = run, 0
        filled = len(run) // WORDS
        self.longest = max(self.longest, filled - self._seen)
        self._seen = filled

    def since(self) -> int:
        """Return the longest wait since the last call [windows]."""
        longest, self.longest = self.longest, 0
        return longest
