"""The sensor's supply: limit, flag, off state, faults on its lead."""

from __future__ import annotations

from hardware import netlist_supply, ngspice, supply
from hardware.compare_rows import Compared
from sweeprig.frontend import front_end
from sweeprig.frontend.supply import regulated
from sweeprig.frontend.tables import parts, table

LOW_V = 0.8  # highest low of an input at 3.3 V: RP2040 datasheet 5.5.3, from memory
CURRENT = ("op", "let lead=i(Vlead)", "let flag=v(fault)", "print lead", "print flag")


def fed(build: str, *, lead: str, stage_v: float | None = None, on: bool = True) -> str:
    """Return the netlist of a build's supply, fed with `stage_v` [V] or its nominal, and `lead` on its output."""
    held = regulated(parts(build))
    volts = (5.0 if held is None else held.boost_v) if stage_v is None else stage_v
    node = "usb" if held is None else "boost"
    drive = f"V{node} {node} 0 {volts:g}\nVon on 0 {3.3 if on else 0}"
    return netlist_supply.supply(build, lead=f"{lead}\n{drive}")


def _forced(build: str, *, lead_v: float, stage_v: float | None = None, on: bool = True) -> dict[str, float]:
    return ngspice.run(fed(build, lead=f"Vlead out 0 {lead_v:g}", stage_v=stage_v, on=on), *CURRENT)


def supply_rows(build: str) -> list[Compared]:
    """Return all rows of a build."""
    return [*_limit_rows(build), *_normal_rows(build), *_fault_rows(build), *_off_rows(build)]


def _limit_rows(build: str) -> list[Compared]:
    end, short, held = front_end(build), _forced(build, lead_v=0.0), regulated(parts(build))
    spread = end.supply_limit_high_a / end.supply_limit_a - 1
    flag = supply.flag_pin_v(build, stage_v=5.0 if held is None else held.boost_v)
    most = float(table()["rail"]["max_v"])
    return [
        Compared(
            build, "supply into a short", end.supply_limit_a, short["lead"], "A", "within", spread, 0.06
        ),
        Compared(build, "fault pin while limiting", flag, short["flag"], "V", "bound", 0.0, most),
        Compared(build, "fault pin while limiting", flag, short["flag"], "V", "within", 0.15, 2.0, "least"),
    ]


def _normal_rows(build: str) -> list[Compared]:
    rows, end = [], front_end(build)
    for amps in (0.001, 0.010, 0.030) if end.supply_set_v is None else (0.001, 0.020, 0.040):
        got = ngspice.run(
            fed(build, lead=f"Ilead out 0 {amps:g}"),
            "op",
            "let volts=v(out)",
            "let flag=v(fault)",
            "print volts",
            "print flag",
        )
        tol = 0.06 if end.supply_set_v is None else 5e-4
        name, computed = f"supply at the sensor, {1e3 * amps:g} mA", end.supply_v(current_a=amps)
        rows.append(Compared(build, name, computed, got["volts"], "V", "within", tol))
        quiet = f"fault pin stays low, {1e3 * amps:g} mA"
        rows.append(Compared(build, quiet, 0.0, got["flag"], "V", "bound", 0.0, LOW_V, floor=LOW_V))
    return rows


def _fault_rows(build: str) -> list[Compared]:
    stage = supply.stage_v(build)[1]
    reverse = _forced(build, lead_v=-14.0, stage_v=stage)
    heat = supply.heat(build, name="-14 V", lead_v=-14.0)
    end, drop = front_end(build), parts(build)["d_block"].value
    series = end.supply_source_ohm if end.supply_set_v is None else parts(build)["r_limit"].value
    watts = reverse["lead"] * (stage - reverse["lead"] * series - drop + 14.0)
    most = supply.allowed_w(build)
    rows = [Compared(build, "heat in Q1, lead at -14 V", heat.watts, watts, "W", "bound", 0.0, most)]
    for volts in (16.0, 35.0):
        back = -_forced(build, lead_v=volts)["lead"]
        name = f"back into the rig from a supply lead at {volts:g} V"
        limit = 20e-6 if end.supply_set_v is None else 2e-3
        rows.append(
            Compared(build, name, supply.reverse_a(build, lead_v=volts), back, "A", "bound", 0.05, limit)
        )
    return rows


def _off_rows(build: str) -> list[Compared]:
    off = _forced(build, lead_v=0.0, on=False)["lead"]
    stage = supply.stage_v(build)[1]
    leaks = parts(build)["q_pass"].value * stage / netlist_supply.OPEN_SWITCH_OHM  # Q4's times the gain of Q1
    if "r_feedback_hold" in parts(build):
        leaks += stage / parts(build)["r_feedback_hold"].value
    return [Compared(build, "supply into a short, switched off", leaks, off, "A", "bound", 0.0, 20e-6)]
