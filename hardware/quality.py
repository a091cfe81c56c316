"""How well a build measures: noise, settling, ripple of the rail, what one channel carries into the next. SI units.

Each is computed by one equation here and simulated by `hardware.compare_quality`. Leads of 2 m, a track of 10 kohm.
"""

from __future__ import annotations

import math
from dataclasses import replace

from sweeprig.frontend import FrontEnd, front_end, response
from sweeprig.frontend.tables import parts, table

KT = 1.380649e-23 * 298.15  # at 25 C
CABLE_F = 400.0e-12  # two metres: as the tapped lead of parts.toml
TRACK_OHM = 10.0e3
SOURCE_OHM = TRACK_OHM / 4  # of the wiper in the middle, where it is largest
FULL_V = 5.0


def lsb(end: FrontEnd, volts: float) -> float:
    """Return volts at the pin in codes."""
    return volts / float(table()["adc"]["vref_v"]) * 2**end.adc_bits


def node_ohm(end: FrontEnd) -> float:
    """Return what drives the divided node: R1 and the wiper, parallel to R2."""
    above = end.r_top_ohm + SOURCE_OHM
    return above * end.r_bottom_ohm / (above + end.r_bottom_ohm)


def settling_s(build: str) -> float:
    """Return the time after a full step until the pin is within half a code."""
    end = front_end(build)
    path = replace(end.path(end.hookups[0]), cable_f=CABLE_F)
    return response.settling_s(path, share=0.5 / 2**end.adc_bits, source_ohm=SOURCE_OHM)


def noise_v(build: str) -> float:
    """Return the noise at the pin [V rms] of resistors and op-amp, all frequencies.

    Without a buffer the pin's capacitor is in thermal equilibrium: kT/C. With one, the node's kT/C goes through the
    filter R4, C2 (its share f2/(f1 + f2)), the densities of op-amp and R3 through its bandwidth pi/2 f2; R4 adds kT/C2.
    """
    end = front_end(build)
    if not end.buffered:
        return math.sqrt(KT / end.c_pin_f)
    f1 = 1 / (2 * math.pi * node_ohm(end) * end.c_f)
    f2 = 1 / (2 * math.pi * end.r_pin_ohm * end.c_pin_f)
    node = KT / end.c_f * f2 / (f1 + f2)
    p = parts(build)
    density = float(p["buffer"].more["noise_v_rthz"]) ** 2 + 4 * KT * p["r_guard"].value
    return math.sqrt(node + density * math.pi / 2 * f2 + KT / end.c_pin_f)


def ripple_v(build: str, *, hz: float) -> float:
    """Return what the regulator's ripple [V, peak to peak] is at the pin, through the upper clamp's capacitance."""
    end, omega = front_end(build), 2 * math.pi * hz
    coupled, r = float(parts(build)["clamp"].more["junction_f"]), node_ohm(end)
    share = omega * coupled * r / math.hypot(1.0, omega * r * end.c_f)
    if end.buffered:
        share /= math.hypot(1.0, omega * end.r_pin_ohm * end.c_pin_f)
    return float(table()["board"]["ripple_v"]) * share


def crosstalk_v(build: str) -> float:
    """Bound what a channel's reading changes when the one before it goes from 0 to 5 V [V at the pin].

    The converter's capacitor brings Cs dV to the pin's C at each of its turns; between turns R takes it away:
    dV Cs/C / (1 - exp(-T/RC)).
    """
    end = front_end(build)
    if end.buffered:
        c, r = end.c_pin_f, end.r_pin_ohm
    else:
        c, r = end.c_f + end.c_pin_f, node_ohm(end)
    step = FULL_V * end.divider_ratio
    return step * end.sample_f / c / (1 - math.exp(-response.conversion_s() / (r * c)))
