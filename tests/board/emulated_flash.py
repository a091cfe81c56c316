"""The emulated board's flash takes its time.

The emulator erases and programs at once. A chip of this class takes 45 ms for a sector (400 ms at most) and 0.4 ms for
a page (3 ms at most): W25Q16JV data sheet, from memory. Until then its status says busy and the processor waits.
"""

from __future__ import annotations

from typing import Any

from rp2040py.peripherals import ssi

ERASE_S = 0.045
PROGRAM_S = 0.0004
BUSY = 0x01  # of status register 1


class Flash(ssi.RPSSI):
    """The emulator's flash, slow as a chip; it remembers when what was erased and programmed."""

    erase_s: float = ERASE_S
    program_s: float = PROGRAM_S

    def begin(self) -> None:
        """Start counting."""
        self.busy_until = 0.0
        self.erased: list[tuple[float, int]] = []  # (seconds, sector)
        self.programmed: list[tuple[float, int]] = []  # (seconds, page)

    def _seconds(self) -> float:
        return float(self.rp2040.clock.nanos) / 1e9

    def _shift_byte(self, byte_out: int) -> int:
        answer = int(super()._shift_byte(byte_out))
        if self._tx_buffer[0] == ssi.CMD_READ_STATUS_1 and len(self._tx_buffer) > 1:
            return answer | (BUSY if self._seconds() < self.busy_until else 0)
        return answer

    def _apply_command(self) -> None:
        now, command = self._seconds(), bytes(self._tx_buffer[:4])
        works = self._write_enabled and len(command) == 4
        if works and command[0] in (ssi.CMD_SECTOR_ERASE, ssi.CMD_BLOCK_ERASE):
            self.busy_until = now + self.erase_s
            self.erased.append((now, self._address_from_buffer() // 4096))
        elif works and command[0] == ssi.CMD_PAGE_PROGRAM:
            self.busy_until = now + self.program_s
            self.programmed.append((now, self._address_from_buffer() // 256))
        super()._apply_command()


def slow_flash(board: Any) -> Flash:
    """Give an EmulatedBoard a flash that takes its time."""
    flash: Any = board.mcu.ssi
    flash.__class__ = Flash
    flash.begin()
    return flash  # type: ignore[no-any-return]
