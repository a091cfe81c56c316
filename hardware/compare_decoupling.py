"""Decoupling in ngspice: an IC's supply behind wires, the converter's reference, the rail under a pulse."""

from __future__ import annotations

from hardware import decoupling, netlist, ngspice
from hardware.compare_rows import Compared
from sweeprig.frontend import front_end
from sweeprig.frontend.tables import parts, table


def decoupling_rows(build: str) -> list[Compared]:
    """Return the rows of a build."""
    rows = [_reference_row(build), _pulse_row(build)]
    return [_dip_row(build), *rows] if front_end(build).buffered else rows


def _dip_row(build: str) -> Compared:
    """A step of current at an IC at the end of its wires, from a regulator that is stiff."""
    d, c = table()["decoupling"], parts(build)["c_bypass"].value
    step, rise = float(d["step_a"]), float(d["step_s"])
    text = "\n".join(
        [
            "* supply of an IC",
            "Vreg reg 0 3.3",
            f"Lwire reg wire {float(d['wire_h']):g}",
            "Rwire wire vdd 0.05",
            f"Cbypass vdd 0 {c:g}",
            f"Iic vdd 0 PULSE(0 {step:g} 100n {rise:g} {rise:g} 5u 1)",
        ]
    )
    got = ngspice.run(
        text, "tran 1n 3u 0 1n", "let dip=3.3-vecmin(v(vdd))", "print dip", options=ngspice.QUICK
    )
    name = "dip of an op-amp's supply, 10 mA in 20 ns behind 20 cm"
    most = float(d["dip_v"])
    return Compared(build, name, decoupling.dip_v(build), got["dip"], "V", "bound", 0.05, most)


def _reference_row(build: str) -> Compared:
    b, adc = table()["board"], table()["adc"]
    text = "\n".join(
        [
            "* ADC_VREF",
            "Vrail rail 0 dc 3.3 ac 1",
            f"Rvref rail vref {float(b['vref_ohm']):g}",
            f"Cboard vref 0 {float(b['vref_f']):g}",
            f"Cadded vref 0 {parts(build)['c_reference_adc'].value:g}",
        ]
    )
    hz = float(b["ripple_hz"])
    got = ngspice.run(text, f"ac lin 1 {hz:g} {hz:g}", "let share=mag(v(vref))", "print share")
    codes = got["share"] * float(b["ripple_v"]) / float(adc["vref_v"]) * 2 ** int(adc["bits"])
    name = f"regulator's ripple in a reading at full scale, {1e3 * float(b['ripple_v']):g} mV, codes"
    most = float(table()["decoupling"]["vref_lsb"])
    return Compared(build, name, decoupling.vref_ripple_lsb(build), codes, "", "within", 0.02, most)


def _pulse_row(build: str) -> Compared:
    """Pulse 3b on all leads: its charge through the clamps lifts the rail by Q/C and no more."""
    row = next(r for r in table()["pulse"] if float(r["volts"]) > 0)
    volts, rise, width = (float(row[k]) for k in ("volts", "rise_s", "width_s"))
    text = netlist.board(build, hookup="powered")
    text += f"\nVa leada 0 PULSE(2.5 {volts:g} 1u {rise:g} {rise:g} {width:g} 1)\nVb leadb leada 0\nVs leads leada 0"
    got = ngspice.run(
        text, "tran 1n 3u 0 1n", "let lift=vecmax(v(rail))-v(rail)[0]", "print lift", options=ngspice.QUICK
    )
    top = parts(build)["r_top"]
    strays = 3 * volts * float(table()["stray"]["r_top_f"]) / top.series
    charge = 3 * volts / top.value * (width + 2 * rise) + strays
    bound = charge / netlist.rail_f(build)
    lsb = float(table()["adc"]["vref_v"]) / 2 ** int(table()["adc"]["bits"])
    name = f"lift of the 3.3 V rail by pulse {row['name']} on three leads"
    return Compared(build, name, bound, got["lift"], "V", "bound", 0.1, lsb, floor=lsb / 8)
