"""The rig's own ramp: what its filter leaves of the PWM, and how far it lags."""

from __future__ import annotations

import math

from hardware import ngspice
from hardware.compare_rows import Compared
from sweeprig.frontend.tables import parts, table

PWM_HZ = 2000.0  # RAMP_HZ of the firmware
SLOPE_V_S = 3.3 / 30.0  # one way in 30 s
SETTLED_S = 0.6


def ramp_rows(build: str) -> list[Compared]:
    """Return the rows of a build that has a ramp: ripple at half duty, lag of a straight ramp."""
    if "r_ramp" not in parts(build):
        return []
    p, adc = parts(build), table()["adc"]
    tau_s, swing_v = p["r_ramp"].value * p["c_ramp"].value, float(adc["vref_v"])
    lsb_v = swing_v / 2 ** int(adc["bits"])
    ripple = 2 * 2 * swing_v / math.pi / (2 * math.pi * PWM_HZ * tau_s) ** 2
    return [
        Compared(
            build,
            "ripple of the ramp, peak to peak",
            ripple,
            _ripple(build, swing_v),
            "V",
            "within",
            0.1,
            lsb_v / 4,
        ),
        Compared(build, "lag of the ramp", 3 * tau_s, _lag(build), "s", "within", 0.01),
    ]


def _filter(build: str, source: str) -> str:
    p = parts(build)
    r, c, guard = p["r_ramp"].value, p["c_ramp"].value, p["r_guard"].value
    return "\n".join(
        [
            "* the rig's own ramp",
            source,
            f"R1 drive one {r:g}",
            f"C1 one 0 {c:g} ic=1.65",
            f"R2 one two {r:g}",
            f"C2 two 0 {c:g} ic=1.65",
            f"Rguard two in {guard:g}",
            f"Cin in 0 {float(table()['stray']['node_f']):g}",
        ]
    )


def _ripple(build: str, swing_v: float) -> float:
    period = 1 / PWM_HZ
    pulse = f"Vd drive 0 pulse(0 {swing_v:g} 0 10n 10n {period / 2 - 1e-8:g} {period:g})"
    got = ngspice.run(
        _filter(build, pulse),
        f"tran {period / 100:g} {SETTLED_S:g} {SETTLED_S - 2 * period:g} {period / 100:g} uic",
        "let swing=vecmax(v(two))-vecmin(v(two))",
        "print swing",
    )
    return got["swing"]


def _lag(build: str) -> float:
    line = f"Vd drive 0 pwl(0 1.65 10 {1.65 + 10 * SLOPE_V_S:g})"
    got = ngspice.run(
        _filter(build, line),
        f"tran 1m {SETTLED_S:g} 0 1m uic",
        f"meas tran ends find v(two) at={SETTLED_S - 1e-3:g}",
        f"let lag=({1.65 + SLOPE_V_S * (SETTLED_S - 1e-3):.9g}-ends)/{SLOPE_V_S:g}",
        "print lag",
    )
    return got["lag"]
