"""Cases for the fast source on MicroPython's unix port: `micropython cases.py NAME` prints JSON."""

import json
import struct
import sys

import chip_standin
import micropython

from sweepboard import rp2_chip, wire

CHIPS = {"rp2040": rp2_chip.RP2040, "rp2350": rp2_chip.RP2350}
WINDOW_US = 996


def make(chip_name="rp2040", gpios=30):
    chip = chip_standin.Chip(CHIPS[chip_name])
    chip.gpios = gpios
    chip_standin.install(chip)
    from sweepboard import rp2_adc

    return chip, rp2_adc.FastSource(chip=chip.chip, clock=chip)


def package(chip_name, gpios):
    """Which GPIOs a package reads, and whether their pads are then bare."""
    chip, source = make(chip_name, gpios)
    source.start()
    return {"read": sorted(chip.analogue), "bare": source.pads()}


def drain(source, out, index):
    """Take what is ready; return the next index. Each record is [index, flags, (sum, min, max) x 3]."""
    buf = bytearray(24)
    ready = source.poll()
    gap = source.gap()
    if gap:
        out["gaps"].append([index, gap[0], gap[1]])
        index += gap[0]
    for _ in range(ready):
        flags = source.take(buf, 0)
        out["records"].append([index, flags, list(struct.unpack("<IHHIHHIHH", buf))])
        index += 1
    return index


def begin(chip_name="rp2040"):
    chip, source = make(chip_name)
    source.start()
    return chip, source, {"records": [], "gaps": []}


def finish(out, source):
    out["lost"] = source.conversions_lost
    out["errors"] = source.conversions_in_error
    return out


def steady(chip_name):
    """80 windows, more than two rounds of the buffers, taken a few at a time."""
    chip, source, out = begin(chip_name)
    chip.codes = lambda channel, number, us: (channel * 1365 + number * 7) % 4096
    index = 0
    for _ in range(16):
        chip.advance(5 * WINDOW_US)
        index = drain(source, out, index)
    return finish(out, source)


def overrun(chip_name):
    """The DMA stands still for 9 conversions, so that the FIFO overruns."""
    chip, source, out = begin(chip_name)
    chip.advance(3 * WINDOW_US + 100)
    index = drain(source, out, 0)
    chip.dma_stalled = True
    chip.advance(2 * (chip.chip.fifo_depth + 5))
    chip.dma_stalled = False
    chip.advance(2 * WINDOW_US)
    for _ in range(3):
        index = drain(source, out, index)
        chip.advance(2 * WINDOW_US)
    index = drain(source, out, index)
    out["fcs_clear"] = not chip.fcs & (rp2_chip.FCS_OVER | rp2_chip.FCS_UNDER)
    return finish(out, source)


def unguarded():
    """The same overrun with the check for it taken away: what the check is there for."""
    chip, source, out = begin()
    source._faults = 0
    chip.advance(3 * WINDOW_US + 100)
    index = drain(source, out, 0)
    chip.dma_stalled = True
    chip.advance(2 * (chip.chip.fifo_depth + 5))
    chip.dma_stalled = False
    chip.advance(4 * WINDOW_US)
    drain(source, out, index)
    return finish(out, source)


def true_to_time(stall_us, late_us):
    """Channel 0's code counts windows since the start: after a loss the index must still say the same."""
    chip, source, out = begin()
    start = chip.us
    chip.codes = lambda channel, number, us: (us - start - 2) // WINDOW_US % 4096 if channel == 0 else channel
    chip.advance(4 * WINDOW_US)
    index = drain(source, out, 0)
    for round_ in range(3):
        chip.dma_stalled = bool(stall_us)
        chip.advance(stall_us + late_us + 334 * round_)
        chip.dma_stalled = False
        index = drain(source, out, index)
        chip.advance(3 * WINDOW_US)
        index = drain(source, out, index)
    return finish(out, source)


def overwritten():
    """A window that is overwritten while it is reduced says so in its flags."""
    chip, source, out = begin()
    chip.advance(2 * WINDOW_US)
    ready = source.poll()
    chip.advance(30 * WINDOW_US + 500)
    buf = bytearray(24)
    out["flags"] = [source.take(buf, 0) for _ in range(ready)]
    out["next"] = source.poll()
    out["gap"] = source.gap()
    return finish(out, source)


def errors():
    """Conversions 500 and 501, of the second window, are marked as bad."""
    chip, source, out = begin()
    chip.errors = (500, 501)
    chip.advance(3 * WINDOW_US)
    drain(source, out, 0)
    return finish(out, source)


def locked():
    """100 windows with the heap locked: anything that allocates raises MemoryError."""
    chip, source, out = begin()
    buf = bytearray(24)
    taken = 0
    for _ in range(20):
        chip.advance(5 * WINDOW_US)
        micropython.heap_lock()
        try:
            for _ in range(source.poll()):
                source.take(buf, 0)
                source.raw()
                taken += 1
            source.gap()
        finally:
            micropython.heap_unlock()
    out["taken"] = taken
    return out


def raw():
    """raw() holds the window last taken, conversion for conversion."""
    chip, source, out = begin()
    chip.codes = lambda channel, number, us: number % 4096
    chip.advance(2 * WINDOW_US)
    buf = bytearray(24)
    source.poll()
    for _ in range(2):
        source.take(buf, 0)
        out["records"].append(list(source.raw()))
    return out


def run(chip_name, in_runs):
    """Seven windows, one of them with a bad conversion, by take() or by take_run(); what raw(k) holds then."""
    chip, source, _out = begin(chip_name)
    chip.codes = lambda channel, number, us: number * 5 % 4096 | (0x8000 if number == 1000 else 0)
    chip.advance(7 * WINDOW_US)
    buf = bytearray(3 + 7 * wire.RECORD_SIZE)
    source.poll()
    if in_runs:
        source.take_run(buf, 3, 3, 4000, wire.FLAG_SUPPLY_ON)
        source.take_run(buf, 3 + 3 * wire.RECORD_SIZE, 4, 4000, wire.FLAG_SUPPLY_ON)
    else:
        for at in range(3, len(buf), wire.RECORD_SIZE):
            flags = source.take(buf, at) | wire.FLAG_SUPPLY_ON
            struct.pack_into(wire.PLACE_FORMAT, buf, at + wire.PLACE_AT, 4000, flags)
    counts = [source.poll(), source.conversions_in_error, source.conversions_lost]
    return [list(buf), counts, list(source.raw()), [source.raw(k)[0] & 4095 for k in range(7)]]


def again():
    """stop() ends it and frees the converter; start() begins a new grid at window 0."""
    chip, source, out = begin()
    chip.advance(2 * WINDOW_US)
    drain(source, out, 0)
    source.stop()
    out["stopped"] = [source.poll(), chip.cs & rp2_chip.CS_START_MANY, chip.cs >> rp2_chip.CS_RROBIN_LSB]
    chip.advance(50 * WINDOW_US)
    source.start()
    chip.advance(2 * WINDOW_US)
    drain(source, out, 0)
    source.close()
    out["claimed"] = chip.claimed
    return finish(out, source)


def pools():
    """The large blocks are taken once: a second source has the same ones."""
    from sweepboard import rp2_pools

    rp2_pools.take()
    windows, counts = rp2_pools.windows(), rp2_pools.counts()
    rp2_pools.take()
    return {
        "same": windows is rp2_pools.windows() and counts is rp2_pools.counts(),
        "windows": [len(windows), len(windows[0])], "counts": len(counts),
    }  # fmt: skip


def pads(chip_name):
    chip, source = make(chip_name)
    before = source.pads()
    source.start()
    out = {"before": before, "after": source.pads()}
    for bit in (rp2_chip.PAD_PDE, rp2_chip.PAD_PUE, rp2_chip.PAD_IE):
        chip.pads[rp2_chip.pad_address(chip.chip, 27)] = bit
        out[str(bit)] = source.pads()
    return out


def dropouts(trials, seed):
    """12 us dropouts to code 0 at seeded places: six conversions in a row, two of each channel."""
    chip, source, out = begin()
    # The world of one trial is random too, by a generator of our own, so that seeds mean the same everywhere.
    state = seed
    seen = 0
    details = []
    for _ in range(trials):
        state = (state * 1103515245 + 12345) & 0x7FFFFFFF
        level = 1200 + (state >> 8) % 2000
        state = (state * 1103515245 + 12345) & 0x7FFFFFFF
        place = chip.number + (state >> 4) % 498
        chip.codes = lambda channel, number, us, p=place, v=level: 0 if p <= number < p + 6 else v + channel
        lows = [4095, 4095, 4095]
        buf = bytearray(24)
        chip.advance(2 * WINDOW_US)
        for _ in range(source.poll()):
            source.take(buf, 0)
            values = struct.unpack("<IHHIHHIHH", buf)
            lows = [min(low, values[3 * channel + 1]) for channel, low in enumerate(lows)]
        seen += lows == [0, 0, 0]
        details.append(lows)
    out.update(
        seen=seen, trials=trials, windows=trials * 2, gap=source.gap(), misses=[d for d in details if any(d)]
    )
    return finish(out, source)


def main(name, *numbers):
    arguments = [int(n) if n.lstrip("-").isdigit() else n for n in numbers]
    print(json.dumps(globals()[name](*arguments)))


assert wire.WINDOW * wire.CHANNELS * 2 == WINDOW_US
main(*sys.argv[1:])
