"""The sensor's supply: limit, flag, off state, faults on its lead."""

from __future__ import annotations

from hardware import netlist, ngspice, supply
from hardware.compare_rows import Compared
from sweeprig.frontend import front_end
from sweeprig.frontend.tables import parts, table

END = "plain"
LOW_V = 0.8  # highest low of an input at 3.3 V: RP2040 datasheet 5.5.3, from memory
CURRENT = ("op", "let lead=i(Vlead)", "let flag=v(fault)", "print lead", "print flag")


def _run(*, lead_v: float, usb_v: float = 5.0, on: bool = True) -> dict[str, float]:
    lead = f"Vlead out 0 {lead_v:g}\nVusb usb 0 {usb_v:g}\nVon on 0 {3.3 if on else 0}"
    return ngspice.run(netlist.supply(lead=lead), *CURRENT)


def supply_rows() -> list[Compared]:
    """Return all rows; they are the same for every build."""
    return [*_limit_rows(), *_normal_rows(), *_fault_rows()]


def _limit_rows() -> list[Compared]:
    end, short = front_end(END), _run(lead_v=0.0)
    spread = end.supply_limit_high_a / end.supply_limit_a - 1
    flag = supply.flag_pin_v(usb_v=5.0)
    most = float(table()["rail"]["max_v"])
    return [
        Compared(
            "all", "supply into a short", end.supply_limit_a, short["lead"], "A", "within", spread, 0.06
        ),
        Compared("all", "fault pin while limiting", flag, short["flag"], "V", "bound", 0.0, most),
        Compared("all", "fault pin while limiting", flag, short["flag"], "V", "within", 0.15, 2.0, "least"),
    ]


def _normal_rows() -> list[Compared]:
    rows = []
    for amps in (0.001, 0.010, 0.030):
        lead = f"Ilead out 0 {amps:g}\nVusb usb 0 5\nVon on 0 3.3"
        got = ngspice.run(
            netlist.supply(lead=lead),
            "op",
            "let volts=v(out)",
            "let flag=v(fault)",
            "print volts",
            "print flag",
        )
        computed = front_end(END).supply_v(current_a=amps)
        name = f"supply at the sensor, {1e3 * amps:g} mA"
        rows.append(Compared("all", name, computed, got["volts"], "V", "within", 0.06))
        quiet = f"fault pin stays low, {1e3 * amps:g} mA"
        rows.append(Compared("all", quiet, 0.0, got["flag"], "V", "bound", 0.0, LOW_V, floor=LOW_V))
    return rows


def _fault_rows() -> list[Compared]:
    reverse = _run(lead_v=-14.0, usb_v=float(table()["rail"]["usb_max_v"]))
    heat = supply.heat(name="-14 V", lead_v=-14.0)
    end, drop = front_end(END), parts(END)["d_block"].value
    usb = float(table()["rail"]["usb_max_v"])
    watts = reverse["lead"] * (usb - reverse["lead"] * end.supply_source_ohm - drop + 14.0)
    most = parts(END)["q_pass"].more["max_w"]
    rows = [Compared("all", "heat in Q1, lead at -14 V", heat.watts, watts, "W", "bound", 0.0, most)]
    for volts in (16.0, 35.0):
        back = -_run(lead_v=volts)["lead"]
        name = f"back into the rig from a supply lead at {volts:g} V"
        rows.append(Compared("all", name, supply.reverse_a(lead_v=volts), back, "A", "bound", 0.05, 20e-6))
    off = _run(lead_v=0.0, on=False)["lead"]
    leaks = parts(END)["q_pass"].value * usb / netlist.OPEN_SWITCH_OHM  # Q4's leakage times the gain of Q1
    rows.append(Compared("all", "supply into a short, switched off", leaks, off, "A", "bound", 0.0, 20e-6))
    return rows
