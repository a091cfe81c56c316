"""The sensor's supply: limit, flag, heat, what a fault on its lead can do. Pure functions, SI units."""

from __future__ import annotations

from dataclasses import dataclass

from hardware.clamps import diode_a
from sweeprig.frontend import front_end
from sweeprig.frontend.tables import parts, table

BUILD = "plain"  # the supply is the same in every build


@dataclass(frozen=True)
class Heat:
    """What the pass transistor has to stand while the limit is at work."""

    name: str
    lead_v: float
    amps: float
    watts: float


def heat(*, name: str, lead_v: float) -> Heat:
    """Return the worst heat of Q1 with the supply lead forced to `lead_v`, highest USB voltage, highest limit."""
    end, p = front_end(BUILD), parts(BUILD)
    amps = end.supply_limit_high_a
    lost = amps * end.supply_source_ohm + p["d_block"].value
    return Heat(name, lead_v, amps, amps * max(float(table()["rail"]["usb_max_v"]) - lost - lead_v, 0.0))


def reverse_a(*, lead_v: float) -> float:
    """Return what D5 lets back into the rig [A] with the supply lead at `lead_v` (its reverse leakage)."""
    usb = float(table()["rail"]["usb_max_v"])
    return -diode_a(-lead_v, parts(BUILD)["d_block"]) if lead_v > usb else 0.0


def flag_pin_v(*, usb_v: float) -> float:
    """Return the fault pin's voltage [V] with Q3 saturated: R32 and R33, no drop in Q3 (worst case)."""
    p = parts(BUILD)
    return usb_v * p["r_flag_bottom"].value / (p["r_flag_top"].value + p["r_flag_bottom"].value)


def base_drive_margin() -> float:
    """Return how many times over Q1's base is driven at the highest limit: lowest USB voltage and gain.

    R34 at its highest; Q1's base-emitter and R30 take 0.7 V and the limit's 0.62 V.
    """
    end, p = front_end(BUILD), parts(BUILD)
    hold_a = 0.7 / p["r_pass_hold"].value
    across = float(table()["rail"]["usb_min_v"]) - 0.7 - p["q_limit"].value
    drive_a = across / (p["r_pass_base"].value * (1 + p["r_pass_base"].tol)) - hold_a
    needed_a = end.supply_limit_high_a / (p["q_pass"].value * (1 - p["q_pass"].tol))
    return drive_a / needed_a
