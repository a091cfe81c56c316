"""The two chips: where their registers are, and what differs between them.

Addresses and bits: RP2040 datasheet sections 4.9.6 (ADC), 2.5.7 (DMA), 2.5.3.1 (DREQ numbers), 2.19.6.3
(pads); RP2350 datasheet sections 12.4.7 (ADC), 12.6.10 (DMA), 12.6.4.1 (DREQ numbers), 9.11.3 (pads). The
values were read in the register headers of the chip maker's public SDK 2.2.0, the section numbers are from
memory. The RP2350's column is not tried on silicon.
"""

from micropython import const

# --- ADC registers, from the ADC's base; the same on both chips
ADC_CS = const(0x00)
ADC_FCS = const(0x08)
ADC_FIFO = const(0x0C)
ADC_DIV = const(0x10)

CS_EN = const(1 << 0)
CS_TS_EN = const(1 << 1)
CS_START_MANY = const(1 << 3)
CS_READY = const(1 << 8)
CS_AINSEL_LSB = const(12)
CS_RROBIN_LSB = const(16)

FCS_EN = const(1 << 0)
FCS_ERR = const(1 << 2)  # bit 15 of a FIFO word tells that the conversion was bad
FCS_DREQ_EN = const(1 << 3)
FCS_EMPTY = const(1 << 8)
FCS_UNDER = const(1 << 10)  # write 1 to clear
FCS_OVER = const(1 << 11)  # write 1 to clear
FCS_THRESH_LSB = const(24)

FIFO_ERR = const(1 << 15)

# --- DMA registers, from a channel's base; the same on both chips
DMA_BASE = const(0x50000000)
DMA_CHANNEL_SIZE = const(0x40)
DMA_READ_ADDR = const(0x00)
DMA_AL1_CTRL = const(0x10)  # CTRL without a trigger
DMA_AL2_WRITE_ADDR_TRIG = const(0x2C)  # a write of it starts the channel
DMA_DBG_CTDREQ = const(0x800)  # a write of it forgets the requests that were counted

# --- pads, from their base: one word for each GPIO after the first word
PAD_FIRST = const(0x04)
PAD_PDE = const(1 << 2)
PAD_PUE = const(1 << 3)
PAD_IE = const(1 << 6)

FIRST_ANALOGUE_GPIO = const(26)  # ADC0 of the packages with 30 GPIOs
FIRST_ANALOGUE_GPIO_OF_48 = const(40)  # ADC0 of the RP2350's package with 48


class Chip:
    """Where one chip keeps what the fast source needs."""

    def __init__(self, name, *, adc, pads, chan_abort, dreq_adc, fifo_depth):
        self.name = name
        self.adc = adc  # base address of the converter
        self.pads = pads  # base address of PADS_BANK0
        self.chan_abort = chan_abort  # address of the DMA's CHAN_ABORT
        self.dreq_adc = dreq_adc  # number of the converter's request to the DMA
        self.fifo_depth = fifo_depth  # conversions


RP2040 = Chip(
    "rp2040", adc=0x4004C000, pads=0x4001C000, chan_abort=DMA_BASE + 0x444, dreq_adc=36, fifo_depth=4
)
RP2350 = Chip(
    "rp2350", adc=0x400A0000, pads=0x40038000, chan_abort=DMA_BASE + 0x464, dreq_adc=48, fifo_depth=8
)


def this_chip(machine_text):
    """Return the chip named in `sys.implementation._machine`; ValueError where it is neither."""
    for chip in (RP2040, RP2350):
        if chip.name in machine_text.lower():
            return chip
    raise ValueError("'%s' names neither an RP2040 nor an RP2350" % machine_text)


def first_analogue(chip, pin):
    """Return the GPIO of ADC0. `pin` is machine.Pin: it takes no GPIO that the package does not have."""
    if chip.name == "rp2350":
        try:
            pin(FIRST_ANALOGUE_GPIO_OF_48)
            return FIRST_ANALOGUE_GPIO_OF_48
        except ValueError:
            pass
    return FIRST_ANALOGUE_GPIO


def pad_address(chip, gpio):
    """Return the address of the pad register of one GPIO."""
    return chip.pads + PAD_FIRST + 4 * gpio


def pad_is_analogue(word):
    """Return whether a pad register's pulls and input buffer are off (see RP2350 erratum E9)."""
    return not word & (PAD_PDE | PAD_PUE | PAD_IE)
