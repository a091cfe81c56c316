"""What faults, pulses and the states of the rig do to pads, rail and tapped leads."""

from __future__ import annotations

from hardware import clamps, netlist, ngspice
from hardware.compare_rows import Compared
from sweeprig.frontend import front_end
from sweeprig.frontend.tables import parts, table

LEAKAGE_A = 1e-9  # of the bias diodes, which the computed bound leaves out
ALL_ON = "Va leada 0 {v}\nVb leadb leada 0\nVs leads leada 0"


def fault_rows(build: str) -> list[Compared]:
    """Return the rows of the steady faults: all three leads on the fault voltage, board running."""
    rows = []
    for row in table()["fault"]:
        rows += _fault(build, row["name"], float(row["volts"]))
    return [*rows, *_unpowered_rail_rows(build)]


def _beyond(volts: float) -> tuple[str, float]:
    """Return how far a node is beyond ground or rail, as an expression of {0}, and the pad's limit [V]."""
    pad = table()["pad"]
    if volts > 0:
        return "vecmax(v({0})-v(rail))", float(pad["above_rail_v"])
    return "-vecmin(v({0}))", float(pad["below_ground_v"])


def _probe(build: str, volts: float) -> list[str]:
    """Return the commands that print how far the pad is beyond its rail, and the op-amp's input current."""
    beyond, _ = _beyond(volts)
    commands = [f"let pad={beyond.format('pina')}", "print pad"]
    guard = parts(build).get("r_guard")
    if guard:
        across = f"(v(xa.node)-v(xa.in))/{guard.value:g}"
        commands += [f"let amps={'vecmax' if volts > 0 else '-vecmin'}({across})", "print amps"]
    return commands


def _pad_rows(
    build: str, name: str, got: dict[str, float], volts: float, at: clamps.Clamped
) -> list[Compared]:
    """Return the row of the pad and, of a buffered build, of the op-amp's input; computed values are bounds."""
    _, room = _beyond(volts)
    over = max(at.node_v - at.rail_v, 0.0) if volts > 0 else max(-at.node_v, 0.0)
    rows = []
    guard = parts(build).get("r_guard")
    if guard is None:
        rows.append(
            Compared(
                build, f"{name}: pad beyond its rail", over, max(got["pad"], 0.0), "V", "bound", 0.02, room
            )
        )
    else:
        rows.append(
            Compared(
                build, f"{name}: pad beyond its rail", 0.0, max(got["pad"], 0.0), "V", "bound", 0.0, room
            )
        )
        most = float(table()["limits"]["opamp_input_a"])
        amps = over / guard.value
        rows.append(
            Compared(build, f"{name}: op-amp input current", amps, got["amps"], "A", "bound", 0.02, most)
        )
    return rows


def _fault(build: str, name: str, volts: float) -> list[Compared]:
    expected = clamps.fault(build, name=name, lead_v=volts)
    text = netlist.board(build, hookup="powered") + "\n" + ALL_ON.format(v=volts)
    probes = ("op", "let lead=-i(Va)/3", "let railv=v(rail)", "print lead", "print railv")
    got = ngspice.run(text, *probes, *_probe(build, volts))
    burden = parts(build).get("burden")
    lead = expected.clamp.lead_a + (2 / 3 * volts / burden.value if burden else 0.0)  # on leads A and B only
    most = float(table()["rail"]["max_v"])
    return [
        Compared(build, f"{name}: current in a lead (mean of three)", lead, got["lead"], "A", "within", 0.03),
        *_pad_rows(build, name, got, volts, expected.clamp),
        Compared(build, f"{name}: 3.3 V rail", expected.rail_v, got["railv"], "V", "within", 0.01, most),
    ]


def _unpowered_rail_rows(build: str) -> list[Compared]:
    """Return what three leads lift a dead board's rail to, that its chip stays in reset, what another lead sees."""
    rows = []
    most = float(table()["rail"]["max_v"])
    low = float(table()["board"]["run_low_v"])
    for volts in (5.0, 5.5, 12.0, 16.0, 35.0):
        text = netlist.board(build, hookup="tapped", state="unpowered") + "\n" + ALL_ON.format(v=volts)
        probes = ("op", "let railv=v(rail)", "let runv=v(run)", "print railv", "print runv")
        got = ngspice.run(text, *probes)
        at = f"of an unpowered board, three leads at {volts:g} V"
        computed = clamps.unpowered_rail_v(build, lead_v=volts)
        held = clamps.run_pin_v(rail_v=computed, usb_v=None)
        rows.append(Compared(build, f"rail {at}", computed, got["railv"], "V", "bound", 0.02, most))
        rows.append(Compared(build, f"RUN {at}", held, got["runv"], "V", "bound", 0.02, low))
    return [*rows, _other_lead_row(build)]


def _other_lead_row(build: str) -> Compared:
    """One lead at 12 V on a dead board: what an open lead beside it shows (leakage of its clamp alone)."""
    text = netlist.board(build, hookup="tapped", state="unpowered")
    text += "\nVa leada 0 12\nVs leads 0 0\nRb leadb 0 1e9"
    got = ngspice.run(text, "op", "let other=v(leadb)", "print other")
    p = parts(build)
    bound = p["clamp"].more["leakage_a"] * p["r_bottom"].value
    name = "an open lead of an unpowered board, another lead at 12 V"
    return Compared(build, name, bound, got["other"], "V", "bound", 0.0, 0.05, floor=1e-3)


def pulse_rows(build: str) -> list[Compared]:
    """Return the rows of the fast pulses on all three leads."""
    rows = []
    for row in table()["pulse"]:
        volts = float(row["volts"])
        bound = clamps.pulse(build, volts=volts, rise_s=float(row["rise_s"]))
        rows += _pad_rows(build, f"pulse {row['name']}, {volts:g} V", _pulse(build, row), volts, bound)
    return rows


def _pulse(build: str, row: dict[str, float]) -> dict[str, float]:
    rise, width, volts = float(row["rise_s"]), float(row["width_s"]), float(row["volts"])
    shape = f"PULSE(2.5 {volts:g} 1u {rise:g} {rise:g} {width:g} 1)"
    text = netlist.board(build, hookup="powered") + "\n" + ALL_ON.format(v=shape)
    return ngspice.run(text, "tran 1n 2u 0 1n", *_probe(build, volts), options=ngspice.QUICK)


def tapped_rows(build: str) -> list[Compared]:
    """Return the current of a tapped signal lead, each state of the rig, at 0, 5.5 and 16 V."""
    if "tapped" not in front_end(build).hookups:
        return []
    return [_tapped(build, r) for r in clamps.tapped_currents(build) if r.lead.startswith("signal")]


def _tapped(build: str, row: clamps.TapCurrent) -> Compared:
    limits = table()["limits"]
    text = netlist.board(build, hookup="tapped", state=row.state)
    text += f"\nVa leada 0 {row.lead_v:g}\nVb leadb leada 0\nVs leads 0 0"
    got = ngspice.run(text, "op", "let lead=-i(Vb)", "print lead")
    normal = row.lead_v <= limits["tapped_normal_v"]
    most = float(limits["tapped_a" if normal else "tapped_fault_a"])
    name = f"tapped at {row.lead_v:g} V, {row.state}"
    return Compared(build, name, row.amps, got["lead"], "A", "bound", 0.02, most, floor=LEAKAGE_A)
