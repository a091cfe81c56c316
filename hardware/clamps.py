"""What a fault on a lead does: clamp currents, pads, the 3.3 V rail. Pure functions, SI units."""

from __future__ import annotations

import math
from dataclasses import dataclass

from sweeprig.frontend import front_end
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


def clamped(build: str, *, lead_v: float, rail_v: float, extra_a: float = 0.0) -> Clamped:
    """Solve the divided node: current through R1 = R2 + upper diode - lower diode (bisection).

    `extra_a` [A] is fed into the node from elsewhere (bias). The pad of a buffered build is driven by the
    op-amp and stays between ground and the rail.
    """
    end, diode = front_end(build), parts(build)["clamp"]

    def surplus(node_v: float) -> float:
        into = (lead_v - node_v) / end.r_top_ohm + extra_a
        out = node_v / end.r_bottom_ohm + diode_a(node_v - rail_v, diode) - diode_a(-node_v, diode)
        return into - out

    low, high = min(lead_v, 0.0) - 1.0, max(lead_v, rail_v) + 1.0
    for _ in range(100):
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
    """Return what three leads at `lead_v` can lift the rail of an unpowered board to [V]: no load assumed."""
    end, diode = front_end(build), parts(build)["clamp"]
    open_v = lead_v * end.divider_ratio
    low, high = 0.0, max(open_v, 0.0)
    shunt = parts(build)
    bleed = shunt["r_shunt_top"].value + shunt["r_shunt_bottom"].value
    for _ in range(60):
        middle = (low + high) / 2
        feeds = 3 * clamped(build, lead_v=lead_v, rail_v=middle).rail_a > middle / bleed
        low, high = (middle, high) if feeds else (low, middle)
    return min(low, shunt_v()[2]) if diode else low


@dataclass(frozen=True)
class TapCurrent:
    """Current in one tapped lead."""

    lead: str
    state: str  # running | bias stuck up | bias stuck down | unpowered
    lead_v: float
    amps: float  # into the rig; negative: out of it


def _bias_a(node_v: float, stuck_at_v: float, build: str) -> float:
    return (stuck_at_v - node_v) / parts(build)["bias"].value


def _signal_current(build: str, *, state: str, lead_v: float) -> float:
    rail = 0.0 if state == "unpowered" else float(table()["rail"]["nominal_v"])
    extra = 0.0
    for _ in range(30):
        result = clamped(build, lead_v=lead_v, rail_v=rail, extra_a=extra)
        if state == "bias stuck up":
            extra = max(_bias_a(result.node_v, rail, build), 0.0)
        if state == "bias stuck down":
            extra = min(_bias_a(result.node_v, 0.0, build), 0.0)
    leak = parts(build)["suppressor"].more["leakage_a"] * (1.0 if lead_v else 0.0)
    return result.lead_a + leak


def _ground_sense_current(build: str, *, state: str, lead_v: float) -> float:
    p = parts(build)
    rail = 0.0 if state == "unpowered" else float(table()["rail"]["nominal_v"])
    through_both = (lead_v - rail) / (p["r_ground_sense"].value + p["r_ground_lift"].value)
    clamped_at = rail + 0.3  # the least that the silicon clamp drops at microamperes
    return max(through_both, (lead_v - clamped_at) / p["r_ground_sense"].value if lead_v > rail else -1.0)


STATES = ("running", "bias stuck up", "bias stuck down", "unpowered")


def tapped_currents(build: str) -> list[TapCurrent]:
    """Return the current of every sensing lead in every state of the rig at 0 V, 5.5 V and 16 V.

    Burden and supply are left out because the tap lead has no contact for their returns. The tap ground
    carries the sum of the others.
    """
    limits = table()["limits"]
    rows = []
    for state in STATES:
        for volts in (0.0, limits["tapped_normal_v"], limits["tapped_fault_v"]):
            v = float(volts)
            rows.append(
                TapCurrent("signal or supply sense", state, v, _signal_current(build, state=state, lead_v=v))
            )
            rows.append(
                TapCurrent("ground sense", state, v, _ground_sense_current(build, state=state, lead_v=v))
            )
    return rows


def worst_tapped_a(build: str, *, lead_v: float) -> float:
    """Return the largest current [A] of any sensing lead at up to `lead_v`, every state."""
    return max(abs(r.amps) for r in tapped_currents(build) if r.lead_v <= lead_v)
