"""The emulated board's converter and DMA, mended where PyPI `rp2040py` 0.3.6 does otherwise than the chip.

A conversion happens 500,000 times a second: what runs for each is written for speed.
"""

from __future__ import annotations

from collections.abc import Callable

from rp2040py.peripherals import adc as chip_adc
from rp2040py.peripherals import dma as chip_dma

Codes = Callable[[int, int, float], int]  # (channel, number of the conversion in this run, seconds) -> code
TEMPERATURE_CHANNEL = 4
TEMPERATURE_CODE = 876  # 0.706 V of 3.3 V: 27 degrees Celsius by the datasheet's formula
CHANNELS_END, CHANNEL_SIZE = 0x300, 0x40  # of the DMA's registers; a channel's first is its read address
SHORTEST_NS = 2000.0  # a conversion: 96 cycles of 48 MHz


def resting(channel: int, number: int, seconds: float) -> int:
    """Return a different constant code for each channel."""
    return TEMPERATURE_CODE if channel == TEMPERATURE_CHANNEL else 1000 + 500 * channel


class Converter(chip_adc.RPADC):
    """The emulator's converter, mended, fed by `codes` and remembering what it gave in a free run."""

    codes: Codes = staticmethod(resting)
    errors_at: frozenset[int] = frozenset()  # numbers of conversions that are to be marked as bad
    stall_at: int | None = None  # the FIFO counts as full at this conversion of a run: one word is lost
    run: list[int]  # codes of the present free run, channels interleaved
    runs: list[tuple[float, list[int]]]  # (seconds at its start, codes) of every free run

    def begin(self) -> None:
        """Start remembering."""
        self.sample_alarm = self.rp2040.clock.create_alarm(self._on_sample_alarm)
        self.multi_shot_alarm = self.rp2040.clock.create_alarm(self._on_multi_shot_alarm)
        self.run, self.runs = [], []
        self.codes, self.errors_at, self.stall_at = resting, frozenset(), None

    def _now(self) -> float:
        return float(self.rp2040.clock.nanos) / 1e9

    def _on_sample_alarm(self) -> None:
        run = self.run
        number = len(run)
        code = self.codes(self.current_channel, number, self.rp2040.clock.nanos / 1e9)
        if self.cs & chip_adc.CS_START_MANY:
            run.append(code)
            self.complete_adc_read(code, number in self.errors_at)
        else:
            self.complete_adc_read(code, False)

    def complete_adc_read(self, value: int, error: bool) -> None:
        """End one conversion: result, FIFO, next channel, next conversion."""
        self.busy = False
        self.result = value
        if self.fcs & chip_adc.FCS_EN:
            self._push(value, error)
        cs = self.cs | chip_adc.CS_ERR_STICKY | chip_adc.CS_ERR if error else self.cs & ~chip_adc.CS_ERR
        self.cs = cs = self._next_channel(cs)
        if cs & chip_adc.CS_START_MANY:
            extra_ns = (self.divider - 96) / 48 * 1000 if self.clock_div else 0.0
            if extra_ns > 0:
                self.multi_shot_alarm.schedule(extra_ns)
            else:
                self.busy = True
                self.current_channel = cs >> chip_adc.CS_AINSEL_SHIFT & chip_adc.CS_AINSEL_MASK
                self.sample_alarm.schedule(SHORTEST_NS)

    def _next_channel(self, cs: int) -> int:
        """Return the register with the channel that the round robin takes next."""
        mask = cs >> chip_adc.CS_RROBIN_SHIFT & chip_adc.CS_RROBIN_MASK
        if not mask:
            return cs
        channel = ((cs >> chip_adc.CS_AINSEL_SHIFT & chip_adc.CS_AINSEL_MASK) + 1) % self.num_channels
        while not mask >> channel & 1:
            channel = (channel + 1) % self.num_channels
        return (
            cs & ~(chip_adc.CS_AINSEL_MASK << chip_adc.CS_AINSEL_SHIFT) | channel << chip_adc.CS_AINSEL_SHIFT
        )

    def _push(self, value: int, error: bool) -> None:
        stalled = self.stall_at is not None and len(self.run) > self.stall_at
        if stalled or self.fifo.full:
            self.stall_at = None
            self.fcs |= chip_adc.FCS_OVER
            return
        marked = chip_adc.FIFO_ERR if error and self.fcs & chip_adc.FCS_ERR else 0
        self.fifo.push(value & 0xFFF | marked)
        self._update_dma()
        if self.int_enable or self.int_force:
            self.check_interrupts()

    def _update_dma(self) -> None:
        fcs = self.fcs
        least = fcs >> chip_adc.FCS_THRESH_SHIFT & chip_adc.FCS_THRES_MASK or 1
        asks = bool(fcs & chip_adc.FCS_DREQ_EN) and self.fifo.item_count >= least
        dma = self.rp2040.dma
        (dma.set_dreq if asks else dma.clear_dreq)(self.dreq)

    def write_uint32(self, offset: int, value: int) -> None:
        """Write a register; a free run that begins gets a list of its own."""
        starts = offset == chip_adc.CS and value & ~self.cs & chip_adc.CS_START_MANY
        if starts:
            self.run = []
            self.runs.append((self._now(), self.run))
        super().write_uint32(offset, value)
        if offset == chip_adc.FCS:
            self._update_dma()


class Mover(chip_dma.RPDMA):
    """The emulator's DMA, mended: it aborts at once, and says so. It tells `looked` of a look at a read address."""

    looked: Callable[[], None] | None = None

    def read_uint32(self, offset: int) -> int:
        """Read a register."""
        if self.looked is not None and offset < CHANNELS_END and not offset % CHANNEL_SIZE:
            self.looked()
        return 0 if offset == chip_dma.CHAN_ABORT else int(super().read_uint32(offset))

    def set_dreq(self, dreq_channel: int) -> None:
        """Let the channels that wait for a peripheral's request go on."""
        if not self.dreq.get(dreq_channel, False):
            self.dreq[dreq_channel] = True
            for channel in self.channels:
                if channel._treq_value == dreq_channel and channel.active:
                    channel.schedule_transfer()

    def get_timer(self, treq: int) -> float:
        """Return the cycle of a DMA timer [us]; 0 where `treq` is none."""
        return float(super().get_timer(treq)) if treq >= chip_dma.TREQ.TIMER0 else 0.0
