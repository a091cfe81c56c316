"""What decoupling keeps: dips of an IC's supply, the regulator's ripple in a reading. Pure functions, SI units."""

from __future__ import annotations

import math

from sweeprig.frontend.tables import parts, table


def dip_v(build: str) -> float:
    """Bound the dip of an IC's supply [V]: a step of current out of L and C swings by I sqrt(L/C)."""
    d, c = table()["decoupling"], parts(build)["c_bypass"].value
    return float(d["step_a"]) * math.sqrt(float(d["wire_h"]) / c)


def vref_ripple_v(build: str) -> float:
    """Return what the regulator's ripple is at ADC_VREF [V, peak to peak], its lowest frequency.

    1/sqrt(1 + (2 pi f R C)^2) with the board's own resistor and capacitor and C12.
    """
    b = table()["board"]
    tau = float(b["vref_ohm"]) * (float(b["vref_f"]) + parts(build)["c_reference_adc"].value)
    return float(b["ripple_v"]) / math.hypot(1.0, 2 * math.pi * float(b["ripple_hz"]) * tau)


def vref_ripple_lsb(build: str) -> float:
    """Return the same in codes of a reading at full scale."""
    adc = table()["adc"]
    return vref_ripple_v(build) / float(adc["vref_v"]) * 2 ** int(adc["bits"])
