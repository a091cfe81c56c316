"""Registers, converter and DMA of the chip, as far as the fast source uses them, for MicroPython's unix port.

install() puts modules `machine` and `rp2` in place. Time is `Chip.us` and moves only in advance(): each two
microseconds are one conversion, as at 48 MHz and 96 cycles.
"""

import sys

import uctypes

from sweepboard import rp2_chip

CHANNELS = 16
BUSY = 1 << 24
TICKS = 1 << 30


class Channel:
    """One DMA channel: read and write address, count, and what pack_ctrl was told."""

    def __init__(self):
        self.read = self.write = self.count = self.left = 0
        self.ctrl = {}
        self.enabled = self.busy = False

    def start(self):
        if self.enabled and not self.busy:
            self.left = self.count
            self.busy = True


class Chip:
    """All of it. `codes(channel, number, us)` gives a code; `errors` holds numbers of bad conversions."""

    def __init__(self, chip=rp2_chip.RP2040):
        self.chip = chip
        self.us = TICKS - 5000  # so that the ticks wrap soon
        self.cs = self.fcs = self.input = self.number = 0
        self.fifo = []
        self.dma = [Channel() for _ in range(CHANNELS)]
        self.claimed = 0
        self.codes = lambda channel, number, us: 1000 + 1000 * channel
        self.errors = ()
        self.dma_stalled = False
        self.analogue = set()
        self.gpios = 30
        self.pads = {}
        self.drained = 0

    # --- registers
    def __getitem__(self, address):  # noqa: PLR0911 (one return for each register)
        at = address - self.chip.adc
        if at == rp2_chip.ADC_CS:
            return self.cs | rp2_chip.CS_READY
        if at == rp2_chip.ADC_FCS:
            return self.fcs | (0 if self.fifo else rp2_chip.FCS_EMPTY)
        if at == rp2_chip.ADC_FIFO:
            self.drained += 1
            return self._pop()
        if address == self.chip.chan_abort:
            return 0
        if address in self.pads:
            return self.pads[address]
        if 0 < address - self.chip.pads < 0x100:
            gpio = (address - rp2_chip.pad_address(self.chip, 0)) // 4
            return 0 if gpio in self.analogue else 0x56  # the pads' reset value
        channel = (address - rp2_chip.DMA_BASE) // rp2_chip.DMA_CHANNEL_SIZE
        if address != rp2_chip.DMA_BASE + channel * rp2_chip.DMA_CHANNEL_SIZE + rp2_chip.DMA_READ_ADDR:
            raise ValueError("read of " + hex(address))
        return self.dma[channel].read

    def __setitem__(self, address, value):
        at = address - self.chip.adc
        if at == rp2_chip.ADC_CS:
            self._write_cs(value)
        elif at == rp2_chip.ADC_FCS:
            clear = value & (rp2_chip.FCS_OVER | rp2_chip.FCS_UNDER)
            kept = self.fcs & (rp2_chip.FCS_OVER | rp2_chip.FCS_UNDER) & ~clear
            self.fcs = value & ~(rp2_chip.FCS_OVER | rp2_chip.FCS_UNDER) | kept
        elif at == rp2_chip.ADC_DIV:
            if value:
                raise ValueError("only back to back conversions are modelled")
        elif address == self.chip.chan_abort:
            for i, channel in enumerate(self.dma):
                if value >> i & 1:
                    channel.busy = False
        else:
            self._write_dma(address - rp2_chip.DMA_BASE, value)

    def _write_cs(self, value):
        if value & rp2_chip.CS_START_MANY and not self.cs & rp2_chip.CS_START_MANY:
            self.number = 0
            self.input = value >> rp2_chip.CS_AINSEL_LSB & 7
        self.cs = value

    def _write_dma(self, at, value):
        if at >= rp2_chip.DMA_DBG_CTDREQ:
            return
        channel, at = divmod(at, rp2_chip.DMA_CHANNEL_SIZE)
        if at == rp2_chip.DMA_AL1_CTRL:
            if value != {"enable": False, "chain_to": channel}:
                raise ValueError("a channel that is switched off must chain to itself, not " + repr(value))
            self.dma[channel].enabled = False
        elif at == rp2_chip.DMA_AL2_WRITE_ADDR_TRIG:
            self.dma[channel].write = value
            self.dma[channel].start()
        else:
            raise ValueError("write of DMA register " + hex(at))

    # --- what goes on by itself
    def _pop(self):
        if not self.fifo:
            self.fcs |= rp2_chip.FCS_UNDER
            return 0
        return self.fifo.pop(0)

    def advance(self, us):
        """Let `us` microseconds pass, one conversion each two."""
        for _ in range(us // 2):
            self.us += 2
            if self.cs & rp2_chip.CS_START_MANY:
                self._convert()

    def _convert(self):
        self._move()
        word = self.codes(self.input, self.number, self.us)
        if self.number in self.errors and self.fcs & rp2_chip.FCS_ERR:
            word |= rp2_chip.FIFO_ERR
        self.number += 1
        every = self.cs >> rp2_chip.CS_RROBIN_LSB & 0x1F
        if every:
            self.input = (self.input + 1) % 5
            while not every >> self.input & 1:
                self.input = (self.input + 1) % 5
        if self.fcs & rp2_chip.FCS_EN:
            if len(self.fifo) == self.chip.fifo_depth:
                self.fcs |= rp2_chip.FCS_OVER
            else:
                self.fifo.append(word)
        self._move()

    def _move(self):
        if self.dma_stalled or not self.fcs & rp2_chip.FCS_DREQ_EN:
            return
        for channel in self.dma:
            asks = channel.enabled and channel.ctrl.get("treq_sel") == self.chip.dreq_adc
            while asks and channel.busy and self.fifo:
                word = self._pop()
                uctypes.bytearray_at(self._whole(channel.write), 2)[:] = bytes((word & 0xFF, word >> 8))
                channel.write += 2
                channel.left -= 1
                if channel.left == 0:
                    channel.busy = False
                    self._chained(self.dma[channel.ctrl["chain_to"]])

    def _chained(self, channel):
        """Run a channel that moves one word from a ring into a register."""
        channel.start()
        entry = uctypes.bytearray_at(channel.read, 4)
        self[channel.write] = int.from_bytes(bytes(entry), "little")
        ring = (1 << channel.ctrl["ring_size"]) - 1
        channel.read = channel.read & ~ring | (channel.read + 4) & ring
        channel.busy = False

    def _whole(self, address):
        """The table holds 32 bits of an address, as on the chip; the host's addresses have more."""
        for channel in self.dma:
            if channel.ctrl.get("ring_size"):
                return channel.read & ~0xFFFFFFFF | address & 0xFFFFFFFF
        return address

    # --- a clock like MicroPython's time
    def ticks_us(self):
        return self.us & (TICKS - 1)

    def ticks_add(self, ticks, delta):
        return (ticks + delta) & (TICKS - 1)

    def ticks_diff(self, end, start):
        return ((end - start + TICKS // 2) & (TICKS - 1)) - TICKS // 2

    def sleep_us(self, us):
        self.advance(us - us % 2)
        self.us += us % 2


def install(chip):
    """Put stand-ins of `machine` and `rp2` in place that act on `chip`."""

    class DMA:
        def __init__(self):
            self.channel = chip.claimed
            chip.claimed += 1

        def pack_ctrl(self, **fields):
            fields.setdefault("chain_to", self.channel)
            return fields

        def config(self, read=None, write=None, count=None, ctrl=None, trigger=False):
            channel = chip.dma[self.channel]
            channel.read, channel.write, channel.count, channel.ctrl = read, write, count, ctrl
            channel.enabled, channel.busy = True, False
            if trigger:
                chip._chained(channel)

        def close(self):
            chip.claimed -= 1

    class Machine:
        mem32 = chip

        class Pin:
            def __init__(self, gpio):
                if gpio >= chip.gpios:
                    raise ValueError("invalid pin")
                self.gpio = gpio

        class ADC:
            def __init__(self, pin):
                chip.analogue.add(pin.gpio)

    class Rp2:
        pass

    Rp2.DMA = DMA
    sys.modules["machine"] = Machine
    sys.modules["rp2"] = Rp2
