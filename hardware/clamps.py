"""What a fault on a lead does: clamp currents, pads, the 3.3 V rail. Pure functions, SI units."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from sweeprig.frontend import front_end
from sweeprig.frontend.supply import battery_ohm
from sweeprig.frontend.tables import Part, parts, table

THERMAL_V = 0.02585  # kT/q at 300 K


def diode_a(volts: float, part: Part) -> float:
    """Return the forward current of a diode [A] (Shockley, series resistance left out)."""
    exponent = min(volts / (part.more["emission"] * THERMAL_V), 60.0)
    return part.more["saturation_a"] * (math.exp(exponent) - 1)


def shunt_v() -> tuple[float, float, float]:
    """Return (lowest, nominal, highest) voltage at which the shunt holds the rail [V]."""
    p = parts("plain")
    ref, top, bottom = p["shunt"], p["r_shunt_top"], p["r_shunt_bottom"]
    ratio = top.value / bottom.value
    spread = top.tol + bottom.tol
    return (
        ref.value * (1 - ref.tol) * (1 + ratio * (1 - spread)),
        ref.value * (1 + ratio),
        ref.value * (1 + ref.tol) * (1 + ratio * (1 + spread)),
    )


@dataclass(frozen=True)
class Clamped:
    """One channel with a voltage forced on its lead."""

    lead_v: float
    rail_v: float
    node_v: float  # divided node
    lead_a: float  # into the rig
    rail_a: float  # into the 3.3 V rail through the upper clamp diode
    pad_v: float  # highest or lowest that the pad can see


def _nothing(node_v: float) -> float:
    return 0.0


def clamped(
    build: str, *, lead_v: float, rail_v: float, extra_a: Callable[[float], float] = _nothing
) -> Clamped:
    """Solve the divided node: current through R1 = R2 + upper diode - lower diode (bisection).

    `extra_a` gives what comes into the node from elsewhere [A] at a node voltage, and never rises with it. The pad
    of a buffered build is driven by the op-amp and stays between ground and the rail.
    """
    end, diode = front_end(build), parts(build)["clamp"]

    def surplus(node_v: float) -> float:
        into = (lead_v - node_v) / end.r_top_ohm + extra_a(node_v)
        out = node_v / end.r_bottom_ohm + diode_a(node_v - rail_v, diode) - diode_a(-node_v, diode)
        return into - out

    low, high = min(lead_v, 0.0) - 1.0, max(lead_v, rail_v) + 1.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if surplus(middle) > 0 else (low, middle)
    rail_a = diode_a(low - rail_v, diode)
    series = rail_a * diode.more["series_ohm"]  # the series resistance adds to what the pad sees
    node = low + (series if lead_v > 0 else -diode_a(-low, diode) * diode.more["series_ohm"])
    pad = min(max(node, 0.0), rail_v) if end.buffered else node
    return Clamped(lead_v, rail_v, node, (lead_v - low) / end.r_top_ohm, rail_a, pad)


@dataclass(frozen=True)
class Fault:
    """All three channels on one fault voltage, board running."""

    name: str
    clamp: Clamped
    injected_a: float  # into the rail, three channels
    rail_v: float  # highest the rail comes to
    opamp_input_a: float


def fault(build: str, *, name: str, lead_v: float) -> Fault:
    """Compute the worst of the three channels at a fault, rail at the voltage it is lifted to."""
    t = table()["rail"]
    first = clamped(build, lead_v=lead_v, rail_v=float(t["nominal_v"]))
    lifted = 3 * first.rail_a > float(t["load_a"])
    rail = shunt_v()[2] if lifted else float(t["nominal_v"])
    clamp = clamped(build, lead_v=lead_v, rail_v=rail)
    over = max(clamp.node_v - rail, -clamp.node_v, 0.0)
    guard = parts(build).get("r_guard")
    return Fault(name, clamp, 3 * clamp.rail_a, rail, over / guard.value if guard else 0.0)


def unpowered_rail_v(build: str, *, lead_v: float) -> float:
    """Return what three leads at `lead_v` can lift the rail of an unpowered board to [V].

    Worst case: the board itself draws nothing, only R20 and R21 and then the shunt hold the rail down.
    """
    p = parts(build)
    bleed_ohm = p["r_shunt_top"].value + p["r_shunt_bottom"].value
    low, high = 0.0, max(lead_v * front_end(build).divider_ratio, 0.0)
    for _ in range(60):
        middle = (low + high) / 2
        feeds = 3 * clamped(build, lead_v=lead_v, rail_v=middle).rail_a > middle / bleed_ohm
        low, high = (middle, high) if feeds else (low, middle)
    return min(low, shunt_v()[2])


def run_pin_v(*, rail_v: float, usb_v: float | None) -> float:
    """Return the volts at RUN [V]: R22 from USB (None: no USB, R22 open), R23 to ground, the chip's own pull-up.

    A chip in reset runs no program and drives no pin, so that a rail lifted by the leads cannot wake it halfway.
    """
    p, pull = parts("plain"), float(table()["board"]["run_pull_ohm"])
    siemens = 1 / pull + 1 / p["r_run_bottom"].value
    amps = rail_v / pull
    if usb_v is not None:
        siemens += 1 / p["r_run_top"].value
        amps += usb_v / p["r_run_top"].value
    return amps / siemens


def pulse(build: str, *, volts: float, rise_s: float) -> Clamped:
    """Bound what a fast pulse does to one channel: as a steady voltage, plus C dV/dt through R1's strays.

    The suppressor, the pulse's source resistance and the node's capacitance are left out, so the truth is less.
    """
    amps = float(table()["stray"]["r_top_f"]) / parts(build)["r_top"].series * volts / rise_s
    return clamped(
        build, lead_v=volts, rail_v=float(table()["rail"]["nominal_v"]), extra_a=lambda node_v: amps
    )


@dataclass(frozen=True)
class TapCurrent:
    """Current in one tapped lead."""

    lead: str
    state: str  # one of STATES
    lead_v: float
    amps: float  # into the rig; negative: out of it


# What the bias pins stand at in each state: (up, down) as a share of the rail, and the ohms in their way.
# A pad of a chip in reset pulls down through about 50 kohm (RP2040 datasheet 2.19.2, from memory).
BOOT_PULL_OHM = 50e3
STATES = {
    "running": (0.0, 1.0, 0.0),
    "booting, or held in reset": (0.0, 0.0, BOOT_PULL_OHM),
    "crashed with the bias up": (1.0, 1.0, 0.0),
    "crashed with the bias down": (0.0, 0.0, 0.0),
    "unpowered": (0.0, 0.0, 0.0),
}


def state_rail_v(state: str) -> float:
    """Return the rail that goes with the state [V]; unpowered: 0 V, at which the clamps take most."""
    return 0.0 if state == "unpowered" else float(table()["rail"]["nominal_v"])


def bias_a(build: str, *, state: str) -> Callable[[float], float]:
    """Return what the bias lines put into the node [A] by its voltage; their diodes are ideal (worst case)."""
    up, down, extra_ohm = STATES[state]
    ohm, rail = parts(build)["bias"].value + extra_ohm, state_rail_v(state)
    return lambda node_v: (max(up * rail - node_v, 0.0) - max(node_v - down * rail, 0.0)) / ohm


def _signal_current(build: str, *, state: str, lead_v: float) -> float:
    bias = bias_a(build, state=state)
    result = clamped(build, lead_v=lead_v, rail_v=state_rail_v(state), extra_a=bias)
    leak = parts(build)["suppressor"].more["leakage_a"] * (1.0 if lead_v else 0.0)
    return result.lead_a + leak


def harness_check_v(build: str, *, state: str, supply_v: float, series_ohm: float) -> float:
    """Return what stands over a resistor between a supply and a signal lead [V]: build.md's check before a harness."""
    low, high = 0.0, supply_v
    for _ in range(60):
        middle = (low + high) / 2
        more = (supply_v - middle) / series_ohm > _signal_current(build, state=state, lead_v=middle)
        low, high = (middle, high) if more else (low, middle)
    return supply_v - low


def _ground_sense_current(build: str, *, state: str, lead_v: float) -> float:
    p = parts(build)
    rail = state_rail_v(state)
    through_both = (lead_v - rail) / (p["r_ground_sense"].value + p["r_ground_lift"].value)
    clamped_at = rail + 0.3  # the least that the silicon clamp drops at microamperes
    return max(through_both, (lead_v - clamped_at) / p["r_ground_sense"].value if lead_v > rail else -1.0)


def _battery_current(build: str, *, state: str, lead_v: float) -> float:
    top, bottom = battery_ohm(parts(build))
    held = min(lead_v * bottom / (top + bottom), state_rail_v(state) + 0.3)
    return (lead_v - held) / top


_LEADS = {
    "signal or supply sense": _signal_current,
    "ground sense": _ground_sense_current,
    "battery sense": _battery_current,
}


def tapped_currents(build: str) -> list[TapCurrent]:
    """Return the current of every sensing lead in every state of the rig at 0 V, 5.5 V and 16 V.

    Burden and supply are left out because the tap lead has no contact for their returns. The tap ground
    carries the sum of the others and is in no row: tap_ground_a().
    """
    limits = table()["limits"]
    levels = (0.0, float(limits["tapped_normal_v"]), float(limits["tapped_fault_v"]))
    return [
        TapCurrent(lead, state, v, current(build, state=state, lead_v=v))
        for lead, current in _LEADS.items()
        for state in STATES
        for v in levels
    ]


def tap_ground_a(build: str, *, state: str, n_leads: int, lead_v: float) -> float:
    """Return what comes back through the tap ground [A] with `n_leads` sensing leads at `lead_v`."""
    return n_leads * _signal_current(build, state=state, lead_v=lead_v)
