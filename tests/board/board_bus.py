"""What hangs on the I2C bus of a driven build: a 16-bit converter at 0x48 and an angle encoder at 0x36.

Registers as in the data sheets of those classes of parts, from memory.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

CONVERSION, CONFIG = 0, 1
STATUS, RAW_ANGLE = 0x0B, 0x0C
MAGNET_FOUND = 0x20


class Converter16:
    """Four inputs; a single-shot conversion of the input asked for is there at once."""

    def __init__(self, *codes: int) -> None:
        self.codes = codes
        self.config = 0x8583

    def write(self, pointer: int, data: bytes) -> None:
        """Take a word for a register."""
        if pointer == CONFIG and len(data) == 2:
            self.config = int.from_bytes(data, "big")

    def read(self, pointer: int) -> bytes:
        """Return a register."""
        if pointer == CONFIG:
            return (self.config | 0x8000).to_bytes(2, "big")
        return (self.codes[(self.config >> 12 & 7) - 4] & 0xFFFF).to_bytes(2, "big")


class Encoder:
    """A shaft that stands at `counts` of 4096."""

    def __init__(self, counts: int) -> None:
        self.counts = counts

    def write(self, pointer: int, data: bytes) -> None:
        """Take nothing."""

    def read(self, pointer: int) -> bytes:
        """Return the registers from `pointer` on."""
        return bytes([MAGNET_FOUND]) if pointer == STATUS else self.counts.to_bytes(2, "big")


class Turned(Encoder):
    """A shaft that the stepper turns: `rate()` says at how many counts a second, `seconds()` is the board's time."""

    def __init__(self, counts: int, rate: Callable[[], float], seconds: Callable[[], float]) -> None:
        super().__init__(counts)
        self._rate, self._seconds = rate, seconds
        self._at, self._last_s = float(counts), seconds()

    def read(self, pointer: int) -> bytes:
        """Return the registers from `pointer` on; the shaft has turned since the last look."""
        now_s = self._seconds()
        self._at = (self._at + self._rate() * (now_s - self._last_s)) % 4096
        self._last_s, self.counts = now_s, int(self._at)
        return super().read(pointer)


class Bus:
    """Carries transfers between the emulated chip's I2C and the parts, by address."""

    def __init__(self, i2c: Any, parts: dict[int, Any]) -> None:
        self._i2c = i2c
        self._parts = parts
        self._pointer: dict[int, int] = {}
        self._address = 0
        self._written = bytearray()
        self._answer = bytearray()
        i2c.on_connect, i2c.on_write_byte = self._connect, self._write
        i2c.on_read_byte, i2c.on_stop = self._read, self._stop

    def _connect(self, address: int, mode: int) -> None:
        self._finish()
        self._address = address
        there = address in self._parts
        if there and mode == 1:
            self._answer = bytearray(self._parts[address].read(self._pointer.get(address, 0)))
        self._i2c.complete_connect(there)

    def _write(self, value: int) -> None:
        self._written.append(value)
        self._i2c.complete_write(True)

    def _read(self, ack: bool) -> None:
        self._i2c.complete_read(self._answer.pop(0) if self._answer else 0xFF)

    def _finish(self) -> None:
        if self._written:
            pointer, *data = self._written
            self._pointer[self._address] = pointer
            if data:
                self._parts[self._address].write(pointer, bytes(data))
        self._written = bytearray()

    def _stop(self) -> None:
        self._finish()
        self._i2c.complete_stop()
