"""An emulated Pico that is advanced by exact emulated time, with chosen codes at its converter.

It drives PyPI `rp2040py` 0.3.6 and mends what that version does otherwise than the chip:

- the converter's round robin went back to channel 0 whatever the mask said (RP2040 datasheet, 4.9.2.1);
- the DMA's CHAN_ABORT could not be read, where the chip shows what is still being aborted (2.5.5.3);
- the converter's request to the DMA stayed as it was when FCS was written: the next transfer took zeros;
- a host with nothing to send answered every OUT token with an empty packet instead of NAK, so that a waiting
  board never slept;
- it took every packet of the board at once: here it can also answer IN tokens with nothing, as the controller of a
  host does while nobody reads and its buffers are full (USB 2.0, 5.8 and 8.5.1: the device keeps the packet).

Nothing here stands in for the processor, the DMA, the timers or MicroPython: those run as they are.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from rp2040py.boards import BOARDS, resolve_firmware
from rp2040py.device import MicroPythonDevice
from rp2040py.memory_map import FLASH_START_ADDRESS
from tests.board.emulated_converter import Converter, Mover
from tests.board.emulated_usb import Link

BLOCK = 4096  # of the flash's file system


def kind_of(image: str | Path) -> str:
    """Return which board an image is for, by its name."""
    return "pico_w" if "PICO_W" in Path(image).name else "pico"


def file_system(files: Mapping[str, bytes], folder: Path, kind: str = "pico") -> Path:
    """Write a littlefs image with `files` (path on the board -> content) and return its path."""
    from littlefs import LittleFS, UserContext

    blocks = int(BOARDS[kind].firmware["micropython"].layout["fs_blockcount"])
    context = UserContext(buffsize=BLOCK * blocks)
    disk = LittleFS(
        context=context, block_size=BLOCK, block_count=blocks, prog_size=256, disk_version=0x00020000
    )
    for name, content in files.items():
        if "/" in name:
            disk.makedirs(name.rsplit("/", 1)[0], exist_ok=True)
        with disk.open(name, "wb") as file:
            file.write(content)
    disk.unmount()
    path = folder / "board.littlefs"
    path.write_bytes(bytes(context.buffer))
    return path


class Resting(list[Any]):
    """State machines that nothing starts: there by number, and none where each instruction gives all of them a turn."""

    def __init__(self, machines: Sequence[Any]) -> None:
        super().__init__()
        self._machines = list(machines)

    def __getitem__(self, number: Any) -> Any:
        """Return a machine by its number."""
        return self._machines[number]

    def started(self) -> bool:
        """Return whether one was started all the same."""
        return not all(machine.stopped for machine in self._machines)


class EmulatedBoard:
    """A Pico with an image in its flash. Time stands still except in run() and what calls it."""

    def __init__(self, image: str | Path, *, disk: Path | None = None) -> None:
        self.device = MicroPythonDevice(
            board=resolve_firmware(BOARDS[kind_of(image)], "micropython", str(image)), filesystem=disk
        )
        self.mcu, self.simulator = self.device.mcu, self.device.simulator
        if kind_of(image) == "pico":
            self.mcu.pio = Resting(self.mcu.pio)  # only a radio's board uses them
        self.clock = self.mcu.clock
        self.adc: Any = self.mcu.adc
        self.adc.__class__ = Converter
        self.adc.begin()
        self.mcu.dma.__class__ = Mover
        self.link: Any = self.device.cdc.usb
        self.link.__class__ = Link
        self.link.begin()
        self.resets = -1  # the first enumeration is no reset
        self.received = bytearray()
        self._out = bytearray()
        self._wire_up()
        self.mcu.core.pc = FLASH_START_ADDRESS

    def _wire_up(self) -> None:
        cdc, usb = self.device.cdc, self.device.cdc.usb
        cdc.on_serial_data = self.received.extend
        cdc.on_device_connected = self._connected
        self._read_endpoint, self._usb_reset = usb.on_endpoint_read, usb.on_reset
        self._asked: int | None = None  # bytes that the board's OUT endpoint waits for
        usb.on_endpoint_read, usb.on_reset = self._on_endpoint_read, self._on_usb_reset
        self._feed_alarm = self.clock.create_alarm(self._feed)
        self._stop_alarm = self.clock.create_alarm(self._stop)

    def _connected(self) -> None:
        self.resets += 1

    def _stop(self) -> None:
        self.simulator.stopped = True

    def _on_usb_reset(self) -> None:
        self._asked = None
        self._usb_reset()

    def _on_endpoint_read(self, endpoint: int, size: int) -> None:
        if endpoint != self.device.cdc._out_endpoint:
            self._read_endpoint(endpoint, size)
            return
        self._asked = size
        self._feed()

    def _feed(self) -> None:
        fifo = self.device.cdc.tx_fifo
        room = min(fifo.size - fifo.item_count, len(self._out))
        for byte in self._out[:room]:
            fifo.push(byte)
        del self._out[:room]
        if self._asked is not None and not fifo.empty:
            size, self._asked = self._asked, None
            self._read_endpoint(self.device.cdc._out_endpoint, size)
            if self._out:
                self._feed_alarm.schedule(1000)

    @property
    def seconds(self) -> float:
        """Emulated time since power-on."""
        return float(self.clock.nanos) / 1e9

    def run(self, seconds: float) -> None:
        """Advance by `seconds` of emulated time, to within one instruction."""
        self.simulator.stopped = False
        self._stop_alarm.schedule(seconds * 1e9)
        while not self.simulator.stopped:
            self.simulator._execute_batch()
        assert not (isinstance(self.mcu.pio, Resting) and self.mcu.pio.started()), (
            "a PIO runs, and gets no turn"
        )

    def run_until(self, done: Callable[[], object], *, within_s: float, step_s: float = 1e-3) -> None:
        """Advance until `done()`; TimeoutError after `within_s` of emulated time."""
        end = self.seconds + within_s
        while not done():
            if self.seconds > end:
                raise TimeoutError(
                    f"nothing after {within_s} s; the board said {bytes(self.received[-300:])!r}"
                )
            self.run(step_s)

    def boot(self) -> None:
        """Run until the board's serial port is there."""
        self.run_until(lambda: self.resets >= 0, within_s=3.0)
        self.run(0.01)

    def write(self, data: bytes) -> None:
        """Send bytes to the board; they arrive as time goes on."""
        self._out += data
        self._feed_alarm.schedule(0)

    def read(self) -> bytes:
        """Return what the board has sent since the last read."""
        data = bytes(self.received)
        self.received.clear()
        return data

    def _read_to(self, token: bytes, within_s: float) -> bytes:
        self.run_until(lambda: token in self.received, within_s=within_s)
        end = self.received.index(token) + len(token)
        data = bytes(self.received[:end])
        del self.received[:end]
        return data

    def execute(self, source: str, *, within_s: float = 10.0) -> str:
        """Run `source` at the raw prompt and return what it printed; AssertionError where it raised."""
        self.write(b"\r\x03\x03")
        self.run(5e-3)
        self.read()
        self.write(b"\x01")
        self._read_to(b"raw REPL; CTRL-B to exit\r\n>", within_s)
        self.write(source.encode() + b"\x04")
        self._read_to(b"OK", within_s)
        printed = self._read_to(b"\x04", within_s)[:-1]
        raised = self._read_to(b"\x04", within_s)[:-1]
        self._read_to(b">", within_s)
        if raised:
            raise AssertionError(raised.decode(errors="replace"))
        return printed.decode(errors="replace")

    def register(self, address: int) -> int:
        """Return what the processor would read at `address`."""
        return int(self.mcu.read_uint32(address))

    def memory(self, address: int, n: int) -> bytes:
        """Return `n` bytes of memory; `address` and `n` are multiples of four."""
        return b"".join(struct.pack("<I", self.register(address + i)) for i in range(0, n, 4))
