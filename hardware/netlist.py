"""Netlists for ngspice, written from the same parts table as everything else.

Models: diodes by the table's saturation current, emission and series resistance, without capacitance (it stands in
the table's strays); the op-amp as a follower that clips at its rails and rolls off at its gain bandwidth; the 3.3 V
regulator as a source that cannot sink; the shunt as a sink above its voltage. The suppressors and the source
resistance of a pulse's generator are left out: without them the circuit is worse off.
"""

from __future__ import annotations

import itertools
import math
import sys

from hardware.clamps import STATES, shunt_v
from sweeprig.frontend import front_end
from sweeprig.frontend.response import SOURCE_OHM
from sweeprig.frontend.tables import Part, parts, table

OFF_OHM = 1e12
PAD_DIODE = ".model dpad d(is=1e-14 n=1.0 rs=20)"  # a pad's own diodes: a plain silicon junction
REGULATOR_OHM = 0.1
SHUNT_OHM = 0.5


def model(name: str, part: Part, *, junction: bool = False) -> str:
    """Return the model of a diode; its capacitance only where it does not stand in the table's strays."""
    more = part.more
    cjo = f" cjo={more['junction_f']:g}" if junction else ""
    return (
        f".model {name} d(is={more['saturation_a']:g} n={more['emission']:g} rs={more['series_ohm']:g}{cjo})"
    )


def _top_arm(part: Part) -> list[str]:
    """R1 as its equal resistors in series, each with its stray capacitance."""
    names = ["lead", *[f"top{i}" for i in range(1, part.series)], "node"]
    stray = float(table()["stray"]["r_top_f"])
    lines = []
    for i, (a, b) in enumerate(itertools.pairwise(names)):
        lines += [f"Rtop{i} {a} {b} {part.each:g}", f"Ctop{i} {a} {b} {stray:g}"]
    return lines


def _buffered_output(build: str) -> list[str]:
    p, end = parts(build), front_end(build)
    amp, pole_ohm = p["buffer"], 1e3
    pole_f = 1 / (2 * math.pi * amp.value * pole_ohm)
    rail = amp.more["rail_v"]
    return [
        f"Rguard node in {p['r_guard'].value:g}",
        "Dhigh in rail dpad",
        "Dlow 0 in dpad",
        f"Ibias in 0 {amp.more['bias_a']:g}",
        f"Bamp amp0 0 V=max(min(V(in), V(rail)-{rail:g}), min({rail:g}, V(rail)))",
        f"Rpole amp0 amp1 {pole_ohm:g}",
        f"Cpole amp1 0 {pole_f:g}",
        "Eamp amp 0 amp1 0 1",
        f"Rout amp pin {end.r_pin_ohm:g}",
        f"Cpin pin 0 {end.c_pin_f:g}",
    ]


def _plain_output(build: str) -> list[str]:
    end = front_end(build)
    return [
        f"Rpin node pin {end.r_pin_ohm:g}",
        f"Cpin pin 0 {end.c_pin_f:g}",
        "Dhigh pin rail dpad",
        "Dlow 0 pin dpad",
    ]


def _burden_and_bias(build: str) -> list[str]:
    p = parts(build)
    if "burden" not in p:
        return []
    return [
        f"Rburden lead return {p['burden'].value:g}",
        f"Rup upa node {p['bias'].value:g}",
        "Dup up upa dbias",
        f"Rdown node downa {p['bias'].value:g}",
        "Ddown downa down dbias",
    ]


def channel(build: str) -> str:
    """Return one channel as a subcircuit: lead, pin, rail, burden's return, bias up and down."""
    p, end = parts(build), front_end(build)
    lines = [
        model("dclamp", p["clamp"]),
        model("dbias", p["clamp"]),
        PAD_DIODE,
        ".subckt channel lead pin rail return up down",
        *_top_arm(p["r_top"]),
        f"Rbottom node 0 {p['r_bottom'].value:g}",
        f"Cnode node 0 {end.c_f:g}",
        "Dclhigh node rail dclamp",
        "Dcllow 0 node dclamp",
        *_burden_and_bias(build),
        *(_buffered_output(build) if end.buffered else _plain_output(build)),
        ".ends channel",
    ]
    return "\n".join(lines)


def rail(build: str, *, state: str, load: bool = True, shunt_at_v: float | None = None) -> str:
    """Return the 3.3 V rail: a regulator that cannot sink, the board's least load, the shunt and its divider.

    RUN hangs on USB, which an unpowered board has not: there it is left open, the worst case.
    """
    t, p = table()["rail"], parts("plain")
    held = shunt_v()[2] if shunt_at_v is None else shunt_at_v
    bleed = p["r_shunt_top"].value + p["r_shunt_bottom"].value
    lines = [
        f"Bshunt rail 0 I=max(0, (V(rail)-{held:g})/{SHUNT_OHM:g})",
        f"Rbleed rail 0 {bleed:g}",
        f"Crail rail 0 {rail_f(build):g}",
        f"Rrunpull rail run {table()['board']['run_pull_ohm']:g}",
        f"Rrunbottom run 0 {p['r_run_bottom'].value:g}",
        f"Rruntop vbus run {p['r_run_top'].value:g}",
        f"Rvbus vbus 0 {OFF_OHM:g}" if state == "unpowered" else "Vvbus vbus 0 5",
    ]
    if state != "unpowered":
        lines.append(f"Breg 0 rail I=max(0, ({t['nominal_v']:g}-V(rail))/{REGULATOR_OHM:g})")
        if load:
            lines.append(f"Rload rail 0 {t['nominal_v'] / t['load_a']:g}")
    return "\n".join(lines)


def rail_f(build: str) -> float:
    """Return the capacitance on the 3.3 V rail [F]: bulk and one 100 nF at each part that hangs on it."""
    p = parts(build)
    return p["c_rail"].value + p["c_bypass"].count * p["c_bypass"].value


def bias_pins(state: str) -> str:
    """Return what the bias pins do in a state of clamps.STATES."""
    up, down, ohm = STATES[state]
    return "\n".join(
        [
            f"Bup upd 0 V={up:g}*V(rail)",
            f"Bdown downd 0 V={down:g}*V(rail)",
            f"Rupd upd up {max(ohm, 1e-3):g}",
            f"Rdownd downd down {max(ohm, 1e-3):g}",
        ]
    )


def board(build: str, *, hookup: str, state: str = "running") -> str:
    """Return three channels a, b, s with their rail; each lead is leada, leadb, leads.

    The burdens' returns are joined to ground by the powered lead only; each has a contact of its own.
    """
    lines = ["* front end of the rig", channel(build), rail(build, state=state), bias_pins(state)]
    for c in "abs":
        joined = hookup == "powered" and c != "s"
        lines.append(f"X{c} lead{c} pin{c} rail {'0' if joined else f'return{c}'} up down channel")
        lines += [] if joined else [f"Rreturn{c} return{c} 0 {OFF_OHM:g}"]
    return "\n".join(lines)


def wiper(build: str, *, hookup: str) -> str:
    """Return a sensor of low resistance on lead a behind its cable, with a switch that lifts the wiper."""
    cable = front_end(build).cable_f(hookup)
    return "\n".join(
        [
            f"Ccable leada 0 {cable:g}",
            f".model lift sw(vt=0.5 vh=0 ron={SOURCE_OHM:g} roff={OFF_OHM:g})",
            "Swiper source leada lifted 0 lift",
            f"Cb leadb 0 {cable:g}",
            "Rb leadb 0 1k",
            "Rs leads 0 1k",
        ]
    )


def main(arguments: list[str]) -> int:
    """Print the netlist of a build in a hookup: `python -m hardware.netlist full tapped`."""
    build, hookup = (*arguments, "plain", "powered")[:2] if len(arguments) != 1 else (arguments[0], "powered")
    end = front_end(build)
    print(board(build, hookup=end.check_hookup(hookup)))
    print(wiper(build, hookup=hookup))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
