"""The emulator's USB, with a host that can leave the board's packets where they are."""

from __future__ import annotations

from rp2040py.peripherals import usb as chip_usb


class Link(chip_usb.RPUSBController):
    """The emulator's USB, with a host that can leave packets where they are."""

    held: dict[int, int]  # buffer control registers (offset -> value) whose packets wait for the host
    host_reads: bool

    def begin(self) -> None:
        """Let the host read."""
        self.held, self.host_reads = {}, True

    def dpram_updated(self, offset: int, value: int) -> None:
        """Take a packet from the board, or let it wait; what the board receives is never held up."""
        of_board = not offset & 4 and offset > chip_usb.EP0_IN_BUFFER_CONTROL
        if of_board and not self.host_reads and offset <= chip_usb.EP15_OUT_BUFFER_CONTROL:
            self.held[offset] = value
        else:
            super().dpram_updated(offset, value)

    def read_on(self) -> None:
        """Let the host take what waits and all that comes."""
        self.host_reads = True
        held, self.held = self.held, {}
        for offset, value in held.items():
            super().dpram_updated(offset, value)
