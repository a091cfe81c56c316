"""The fast source: every conversion of an RP2040's or RP2350's converter, 500,000 a second, none left out.

The converter runs free over channels 0, 1 and 2. Its FIFO is emptied by one DMA channel, one window at a
time; a second channel, chained to it, hands it the address of the next window's buffer out of a table that
it reads round and round. So windows follow each other without the processor, which has BUFFERS - 1 windows
of time to take one.

A word lost between converter and memory would shift the channels against each other without any sign. So
when the FIFO has overrun, or a buffer was not taken in time, everything is stopped, emptied and started
again at channel 0, on the grid of windows that began with start(): the windows in between are reported as a
gap, and the index of a record stays true to time. The grid is kept by the microsecond timer, which runs
from the same crystal.

Registers by name in rp2_chip.py, with the datasheets' sections.
"""

import sys
import time

import machine
import micropython
import rp2
import uctypes
from micropython import const

from sweepboard import rp2_chip, rp2_pools, wire
from sweepboard.windows import reduce_into
from sweepboard.wire import CODE_MASK

try:
    from sweepboard.rp2_thumb import reduce_three
except (ImportError, AttributeError, SyntaxError, ValueError):  # no ARM core
    reduce_three = None

BUFFERS = const(32)  # rp2_pools.BUFFERS
CHANNELS = const(3)
WINDOW_WORDS = const(498)  # rp2_pools.WINDOW_WORDS
RECORD_SIZE = const(28)  # wire.RECORD_SIZE
WINDOW_US = const(996)  # 498 conversions of 96 cycles at 48 MHz
MARGIN_US = const(100)  # a buffer counts as overwritten this long before it is
LEAD_US = const(300)  # time to arm everything again before a window of the grid begins
HALF_WORDS = const(1)  # DATA_SIZE of the DMA
WORDS = const(2)
WAIT_TURNS = const(10000)  # a wait for a register ends after so many looks


@micropython.viper
def count_marked(codes: ptr16, n: int) -> int:  # noqa: F821
    """Return how many of `n` conversions the converter marked as bad."""
    marked = 0
    i = 0
    while i < n:
        marked += int(codes[i]) >> 15
        i += 1
    return marked


class FastSource:
    """Windows of three channels, 166 conversions each, 1004 a second. poll() and take() allocate nothing."""

    channels = CHANNELS
    window = wire.WINDOW
    conversion_hz = wire.CONVERSION_HZ

    def __init__(self, chip=None, clock=time):
        """Take buffers and two DMA channels. `clock` gives ticks_us, ticks_add, ticks_diff and sleep_us."""
        self.chip = chip or rp2_chip.this_chip(sys.implementation._machine)
        self.conversions_lost = 0
        self.conversions_in_error = 0
        self._ticks_us = clock.ticks_us
        self._ticks_add = clock.ticks_add
        self._ticks_diff = clock.ticks_diff
        self._sleep_us = clock.sleep_us
        self._mem = machine.mem32
        self._first_gpio = rp2_chip.first_analogue(self.chip, machine.Pin)
        self._reduce = reduce_three
        self._make_table()
        self._make_addresses()
        self._faults = rp2_chip.FCS_OVER | rp2_chip.FCS_UNDER
        self._running = False
        self._slot = 0  # the buffer that take() reduces next
        self._deadline = 0  # when that buffer begins to be overwritten, less MARGIN_US
        self._splice = 0
        self._taken = None
        self._gap_windows = 0
        self._gap_reason = 0

    def _make_table(self):
        self._views = [memoryview(window) for window in rp2_pools.windows()]
        # The DMA wraps its read address within a table that is aligned to the table's own size.
        self._table = bytearray(8 * BUFFERS)
        at = uctypes.addressof(self._table)
        self._table_at = (at + 4 * BUFFERS - 1) & -(4 * BUFFERS)
        for i, view in enumerate(self._views):
            address = uctypes.addressof(view)
            for byte in range(4):
                self._table[self._table_at - at + 4 * i + byte] = address >> 8 * byte & 0xFF
        self._second_entry = self._table_at + 4

    def _make_addresses(self):
        # Addresses above 2**30 are objects in MicroPython: made once here, so that the hot path makes none.
        chip = self.chip
        self._cs = chip.adc + rp2_chip.ADC_CS
        self._fcs = chip.adc + rp2_chip.ADC_FCS
        self._fifo = chip.adc + rp2_chip.ADC_FIFO
        self._div = chip.adc + rp2_chip.ADC_DIV
        self._data = rp2.DMA()
        self._feeder = rp2.DMA()
        self._data_base = rp2_chip.DMA_BASE + rp2_chip.DMA_CHANNEL_SIZE * self._data.channel
        self._feeder_base = rp2_chip.DMA_BASE + rp2_chip.DMA_CHANNEL_SIZE * self._feeder.channel
        self._next_entry_at = self._feeder_base + rp2_chip.DMA_READ_ADDR
        self._data_ctrl = self._data.pack_ctrl(
            size=HALF_WORDS, inc_read=False, inc_write=True, treq_sel=chip.dreq_adc,
            chain_to=self._feeder.channel, high_pri=True,
        )  # fmt: skip
        self._data_off = self._data.pack_ctrl(enable=False)
        self._feeder_off = self._feeder.pack_ctrl(enable=False)
        self._feeder_ctrl = self._feeder.pack_ctrl(
            size=WORDS,
            inc_read=True,
            inc_write=False,
            ring_sel=False,
            ring_size=_log2(4 * BUFFERS),
            high_pri=True,
        )

    def start(self):
        """Sample from now on; the first window is window 0 of a new grid."""
        for channel in range(CHANNELS):
            machine.ADC(machine.Pin(self._first_gpio + channel))  # pulls and input buffer off
        self._halt()
        self._arm()
        self._gap_windows = 0
        self._go(self._ticks_us())

    def stop(self):
        """Stop sampling and leave the converter free for single readings."""
        self._running = False
        self._halt()

    def close(self):
        """Stop, and give the DMA channels back."""
        self.stop()
        self._feeder.close()
        self._data.close()

    def poll(self):
        """Return how many windows are ready. After a loss it starts sampling again: see gap()."""
        if not self._running:
            return 0
        filling = ((self._mem[self._next_entry_at] - self._second_entry) >> 2) & (BUFFERS - 1)
        # The FIFO's flags are read after the place, so that all windows before that place are whole.
        if self._mem[self._fcs] & self._faults:
            return self._start_again(wire.GAP_OVERRUN)
        if self._ticks_diff(self._ticks_us(), self._deadline) >= 0:
            return self._start_again(wire.GAP_DMA_LATE)
        return (filling - self._slot) & (BUFFERS - 1)

    def take(self, buf, at):
        """Reduce the next window into `buf` from `at` (24 bytes); return its flags. poll() comes first."""
        view = self._views[self._slot]
        flags = self._splice
        if self._reduce is None or self._reduce(view, buf, at, self.window) > CODE_MASK:
            flags |= self._reduce_masked(view, buf, at)
        if self._ticks_diff(self._ticks_us(), self._deadline) >= 0:
            flags |= wire.FLAG_CONVERSIONS_LOST  # overwritten meanwhile, in part or whole
            self.conversions_lost += WINDOW_WORDS
        self._splice = 0
        self._taken = view
        self._slot = (self._slot + 1) & (BUFFERS - 1)
        self._deadline = self._ticks_add(self._deadline, WINDOW_US)
        return flags

    @micropython.native
    def take_run(self, buf, at, n, position, own):
        """Take the next `n` windows as take() does, each as a whole record: `position`, and `own` among its flags."""
        reduce, ticks_us, late, later = self._reduce, self._ticks_us, self._ticks_diff, self._ticks_add
        views, slot, deadline, window = self._views, self._slot, self._deadline, self.window
        flags = self._splice | own
        for i in range(at, at + n * RECORD_SIZE, RECORD_SIZE):
            view = views[slot]
            if reduce is None or reduce(view, buf, i, window) > CODE_MASK:
                flags |= self._reduce_masked(view, buf, i)
            if late(ticks_us(), deadline) >= 0:
                flags |= wire.FLAG_CONVERSIONS_LOST  # as in take()
                self.conversions_lost += WINDOW_WORDS
            buf[i + 24] = position & 0xFF  # wire.PLACE_FORMAT
            buf[i + 25] = position >> 8
            buf[i + 26] = flags & 0xFF
            buf[i + 27] = flags >> 8
            slot = (slot + 1) & (BUFFERS - 1)
            deadline = later(deadline, WINDOW_US)
            flags = own
        self._taken, self._slot, self._deadline = view, slot, deadline
        self._splice = 0

    def _reduce_masked(self, view, buf, at):
        """Reduce without the bits above the code, count the conversions that were marked; return flags."""
        if not reduce_into(view, 0, CHANNELS, self.window, buf, at) & rp2_chip.FIFO_ERR:
            return 0
        self.conversions_in_error += count_marked(view, WINDOW_WORDS)
        return wire.FLAG_CONVERSION_ERROR

    def raw(self, back=0):
        """Return the window taken `back` before the last, bit 15 set in a bad conversion, or None.

        It is good for 31 windows more after it was taken, less those that wait.
        """
        return self._views[(self._slot - 1 - back) & (BUFFERS - 1)] if back else self._taken

    def gap(self):
        """Return (windows missing before the next one, reason), or None; each gap is told once."""
        if not self._gap_windows:
            return None
        gap = (self._gap_windows, self._gap_reason)
        self._gap_windows = 0
        return gap

    def pads(self):
        """Return, for each channel, whether its pad reads back with pulls and input buffer off."""
        first = self._first_gpio
        words = [self._mem[rp2_chip.pad_address(self.chip, first + i)] for i in range(CHANNELS)]
        return [rp2_chip.pad_is_analogue(word) for word in words]

    def _halt(self):
        """Stop converter and DMA, empty the FIFO, forget its flags."""
        mem = self._mem
        mem[self._cs] = (mem[self._cs] & rp2_chip.CS_TS_EN) | rp2_chip.CS_EN
        self._wait(self._cs, rp2_chip.CS_READY, rp2_chip.CS_READY)
        mem[self._fcs] = self._faults  # cleared; FIFO and requests off
        # Both channels are disabled before they are aborted: errata RP2040-E13 and RP2350-E5.
        # Off, each chained to itself: a 0 would chain to channel 0, which may be the radio's.
        mem[self._data_base + rp2_chip.DMA_AL1_CTRL] = self._data_off
        mem[self._feeder_base + rp2_chip.DMA_AL1_CTRL] = self._feeder_off
        mem[self.chip.chan_abort] = 1 << self._data.channel | 1 << self._feeder.channel
        self._wait(self.chip.chan_abort, 0xFFFF, 0)
        for _ in range(2 * self.chip.fifo_depth):
            if mem[self._fcs] & rp2_chip.FCS_EMPTY:
                break
            mem[self._fifo]
        mem[self._data_base + rp2_chip.DMA_DBG_CTDREQ] = 0
        mem[self._fcs] = self._faults

    def _wait(self, address, mask, wanted):
        for _ in range(WAIT_TURNS):
            if self._mem[address] & mask == wanted:
                return
        raise OSError("register 0x%08x did not reach 0x%x under 0x%x" % (address, wanted, mask))

    def _arm(self):
        """Make DMA, FIFO and converter ready for channel 0 of a first window."""
        mem = self._mem
        self._data.config(read=self._fifo, write=0, count=WINDOW_WORDS, ctrl=self._data_ctrl)
        self._feeder.config(
            read=self._table_at,
            write=self._data_base + rp2_chip.DMA_AL2_WRITE_ADDR_TRIG,
            count=1,
            ctrl=self._feeder_ctrl,
            trigger=True,
        )
        mem[self._div] = 0  # one conversion right after the other: 96 cycles
        fcs = rp2_chip.FCS_EN | rp2_chip.FCS_ERR | rp2_chip.FCS_DREQ_EN
        mem[self._fcs] = fcs | 1 << rp2_chip.FCS_THRESH_LSB
        mem[self._cs] = mem[self._cs] & rp2_chip.CS_TS_EN | rp2_chip.CS_EN  # AINSEL 0
        every = (1 << CHANNELS) - 1
        self._run_word = mem[self._cs] & rp2_chip.CS_TS_EN | rp2_chip.CS_EN | every << rp2_chip.CS_RROBIN_LSB
        mem[self._cs] = self._run_word
        self._run_word |= rp2_chip.CS_START_MANY

    def _go(self, began):
        """Let the converter run; `began` is the time of the grid at which the first window begins."""
        self._mem[self._cs] = self._run_word
        self._deadline = self._ticks_add(began, BUFFERS * WINDOW_US - MARGIN_US)
        self._slot = 0
        self._splice = wire.FLAG_SPLICE
        self._running = True

    def _start_again(self, reason):
        """Drop what was not taken and begin again with a later window of the same grid; return 0."""
        self._halt()
        self._arm()
        due = self._ticks_add(self._deadline, MARGIN_US - BUFFERS * WINDOW_US)  # when the next window began
        missing = (self._ticks_diff(self._ticks_us(), due) + LEAD_US) // WINDOW_US + 1
        began = self._ticks_add(due, missing * WINDOW_US)
        self._sleep_us(self._ticks_diff(began, self._ticks_us()))
        self._go(began)
        self._gap_windows += missing
        self._gap_reason = reason
        self.conversions_lost += missing * WINDOW_WORDS
        return 0


def _log2(n):
    power = 0
    while 1 << power < n:
        power += 1
    return power
