"""The self-check of a rig on an RP2 board: single readings while the fast source is stopped."""

import gc
import time

import machine
from micropython import const

from sweepboard import rp2_board, rp2_chip

READINGS = const(32)
SETTLE_MS = const(5)  # the divided node behind 1 Mohm and its filter
FULL_SCALE_V = 3.3
TEMPERATURE_C = (-20, 90)  # one per cent of the reference is about 4 K
VSYS_V = (4.2, 5.6)  # from a USB port
# Bias up lifts a node that something drives by about 550 codes and a free one by about 1090: 2.8 V behind 1 Mohm
# into 185 kohm, or into 462 kohm alone.
OPEN_RISE = const(820)


class SelfCheck:
    """Call it for a dict of findings; "problems" lists what is not as it should be."""

    def __init__(self, chip, switches, smps_wanted):
        self._chip = chip
        self._first_gpio = rp2_chip.first_analogue(chip, machine.Pin)
        self._switches = switches
        self._smps_wanted = smps_wanted

    def __call__(self):
        """Read everything once; takes some tens of milliseconds."""
        gc.collect()
        found = {
            "temperature_c": round(rp2_board.temperature_c(FULL_SCALE_V), 1),
            "vsys_v": _rounded(rp2_board.vsys_v(FULL_SCALE_V)),
            "smps": rp2_board.smps(),
            "free_bytes": gc.mem_free(),
            "largest_block": largest_block(),
        }
        converters = [machine.ADC(machine.Pin(self._first_gpio + i)) for i in range(3)]
        readings = [_readings(converter) for converter in converters]
        found["codes"] = [sum(values) // READINGS for values in readings]
        found["stuck"] = _stuck(readings)
        found["pads_analogue"] = self._pads()
        if self._may_bias():
            found["wires"] = self._wires(converters)
        found["problems"] = self._problems(found)
        return found

    def _pads(self):
        words = [machine.mem32[rp2_chip.pad_address(self._chip, self._first_gpio + i)] for i in range(3)]
        return [rp2_chip.pad_is_analogue(word) for word in words]

    def _may_bias(self):
        """Return whether the bias may be switched on: never into a harness."""
        return "bias" in self._switches.fitted and self._switches.powered_lead() is True

    def _wires(self, converters):
        """Return "open" or "driven" for signal A and B: how far the bias lifts each node."""
        rest = [_mean(converter) for converter in converters[:2]]
        self._switches.bias("up")
        time.sleep_ms(SETTLE_MS)
        lifted = [_mean(converter) for converter in converters[:2]]
        self._switches.bias("off")
        return ["open" if up - down >= OPEN_RISE else "driven" for up, down in zip(lifted, rest)]  # noqa: B905

    def _problems(self, found):
        problems = []
        if not TEMPERATURE_C[0] <= found["temperature_c"] <= TEMPERATURE_C[1]:
            problems.append(
                "chip temperature %.0f C: the converter's reference is not right" % found["temperature_c"]
            )
        if found["vsys_v"] is not None and not VSYS_V[0] <= found["vsys_v"] <= VSYS_V[1]:
            problems.append("board supply %.2f V" % found["vsys_v"])
        if found["stuck"]:
            problems.append("the converter gives one code whatever it reads")
        if not all(found["pads_analogue"]):
            problems.append("a pull or an input buffer of an analogue pad is on")
        if found["smps"] is not None and found["smps"] != self._smps_wanted:
            problems.append("the regulator's mode is %s, not %s" % (found["smps"], self._smps_wanted))
        return problems


def largest_block(most=1 << 17):
    """Return the size of the largest block that can be had, in bytes, to 1 kB; 0 where none of 1 kB is left.

    What finds no room has the heap collected by itself.
    """
    low, high = 0, most
    while high - low > 1024:
        half = (low + high) // 2
        try:
            bytearray(half)
            low = half
        except MemoryError:
            high = half
    gc.collect()
    return low


def _readings(converter):
    return [converter.read_u16() >> 4 for _ in range(READINGS)]


def _mean(converter):
    return sum(_readings(converter)) // READINGS


def _stuck(readings):
    """Return whether all channels gave one and the same code, at a value that no open input rests at."""
    seen = set()
    for values in readings:
        seen.update(values)
    return len(seen) == 1 and 64 < min(seen) < 4032


def _rounded(value):
    return None if value is None else round(value, 2)
