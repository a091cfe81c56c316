"""The battery lead in ngspice: jump start, reversed battery, load dump and pulses of 12 V and 24 V systems."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from hardware import battery, netlist, ngspice
from hardware.compare_rows import Compared
from sweeprig.frontend.tables import parts, table

BEGIN_S = 1e-6
EDGE_S = 1e-6
INPUT_A = 10e-3  # what the converter's input bears beyond its supply, continuous: data sheet, from memory


def battery_rows(build: str) -> list[Compared]:
    """Return the rows of a build with a battery lead: each event on R13, D8 and the converter's input."""
    if "suppressor_battery" not in parts(build):
        return []
    rows = [_reading_row(build)]
    for event in table()["battery"]:
        rows += _event_rows(build, event)
    return rows


def circuit(build: str, source: str, *, source_ohm: float) -> str:
    """Return the battery lead from its source to the converter's input, rail at 3.3 V."""
    p = parts(build)
    broken = p["suppressor_battery"].more["breakdown_v"] - 0.7  # the other half of it conducts forward
    return "\n".join(
        [
            "* battery lead",
            source,
            f"Rsource source lead {source_ohm:g}",
            f"Rguard lead held {p['r_battery_guard'].value:g}",
            f".model dtvs d(is=1e-14 n=1.0 rs=0.1 bv={broken:g} ibv=1e-3)",
            "Dup held middle dtvs",
            "Ddown 0 middle dtvs",
            f"Rtop held in {p['r_battery_top'].value:g}",
            f"Rbottom in 0 {p['r_battery_bottom'].value:g}",
            netlist.model("dclamp", p["clamp"]),
            "Dhigh in rail dclamp",
            "Dlow 0 in dclamp",
            f"Vrail rail 0 {table()['rail']['nominal_v']:g}",
        ]
    )


def _event_rows(build: str, event: Mapping[str, Any]) -> list[Compared]:
    bound = battery.stress(event)
    seconds, volts = float(event["seconds"]), bound.volts
    shown = min(seconds, 1e-3)  # nothing in the circuit remembers longer than that
    pulse = f"Vsource source 0 PULSE(0 {volts:g} {BEGIN_S:g} {EDGE_S:g} {EDGE_S:g} {shown:g} 1)"
    guard = parts(build)["r_battery_guard"].value
    got = ngspice.run(
        circuit(build, pulse, source_ohm=float(event["source_ohm"])),
        f"tran {shown / 500:g} {BEGIN_S + shown:g} 0 {shown / 500:g}",
        f"let most=vecmax(abs(v(lead,held)))/{guard:g}",
        f"let d8=vecmax(abs(v(held)*v(lead,held)))/{guard:g}",
        f"let inner=vecmax(abs(v(held,in)))/{parts(build)['r_battery_top'].value:g}",
        *(f"print {n}" for n in ("most", "d8", "inner")),
        options=ngspice.QUICK,
    )
    scale = 1.0 if bound.long else seconds
    unit, name = ("W", bound.name) if bound.long else ("J", bound.name)
    heat = got["most"] ** 2 * guard * scale
    fed = 45.0 / parts(build)["r_battery_top"].value  # of the divider, not of D8
    return [
        Compared(build, f"{name}, {volts:g} V on the battery lead: current", bound.lead_a, got["most"], "A",
                 "bound", 0.05, floor=fed),
        Compared(build, f"{name}: R13", bound.r13, heat, unit, "bound", 0.1, battery.r13_limit(long=bound.long),
                 floor=1e-3),
        Compared(build, f"{name}: D8", bound.d8, got["d8"] * scale, unit, "bound", 0.1,
                 battery.d8_limit(long=bound.long), floor=3e-3),
        Compared(build, f"{name}: into the converter's input", bound.input_a, got["inner"], "A", "bound", 0.15,
                 INPUT_A),
    ]  # fmt: skip


def _reading_row(build: str) -> Compared:
    """28.8 V, a charging 24 V system: the node stays below the converter's supply, so that it is read."""
    got = ngspice.run(
        circuit(build, "Vsource source 0 28.8", source_ohm=0.05), "op", "let node=v(in)", "print node"
    )
    rail = float(table()["rail"]["nominal_v"])
    computed = 28.8 * rail / battery.full_scale_v()
    return Compared(build, "battery node at 28.8 V", computed, got["node"], "V", "within", 2e-3, rail)
