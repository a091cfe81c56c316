"""The regulated supply of the full and driven builds: what it holds, its ripple, its loop."""

from __future__ import annotations

from hardware import netlist_supply, ngspice
from hardware.compare_rows import Compared
from hardware.compare_supply import fed
from sweeprig.frontend import front_end
from sweeprig.frontend.supply import regulated
from sweeprig.frontend.tables import parts, table

ASKED_V, ASKED_TOL = 5.0, 0.01
LOAD_A = 0.040
STEP_A = 5e-3
RIPPLE_V = 20e-3  # peak to peak before the limiter: what the filter must keep the step-up below
GAINS = (40.0, 80.0, 120.0)  # of Q1, lowest, nominal, highest


def regulated_rows(build: str) -> list[Compared]:
    """Return the rows of a build with a regulated supply; none for another."""
    if regulated(parts(build)) is None:
        return []
    return [*_held_rows(build), *_step_up_rows(build), *_rejection_rows(build), *_step_rows(build)]


def _held_rows(build: str) -> list[Compared]:
    """Return what is held at no load and at 40 mA with the step-up at its lowest and the worst offset."""
    end = front_end(build)
    held = regulated(parts(build))
    offset = parts(build)["error_amp"].more["offset_v"]
    rows = []
    for amps, sign in ((0.0, 1), (LOAD_A, -1)):
        low, high = end.supply_range_v(current_a=amps)
        stage = held.boost_low_v if held is not None and sign < 0 else None
        text = fed(build, lead=f"Ilead out 0 {amps:g}", stage_v=stage)
        text = text.replace("Voffset refin plus 0", f"Voffset refin plus {-sign * offset:g}")
        got = ngspice.run(text, "op", "let volts=v(out)", "print volts")["volts"]
        name = f"held at {1e3 * amps:g} mA, amplifier's offset {1e3 * sign * offset:+g} mV"
        edge, computed = ("most", high) if sign > 0 else ("least", low)
        limit = ASKED_V * (1 + sign * ASKED_TOL)
        rows.append(Compared(build, name, computed, got, "V", "within", 0.01, limit, edge))
    return rows


def _step_up_rows(build: str) -> list[Compared]:
    """The step-up behind a USB port at its lowest and highest: least volts at the limiter, ripple there."""
    held, rail = regulated(parts(build)), table()["rail"]
    rows = []
    for usb_v in (float(rail["usb_min_v"]), float(rail["usb_max_v"])):
        filtered = "\n".join(netlist_supply.stage(build))
        load = filtered + f"\nIload top 0 {LOAD_A:g}"
        got = ngspice.run(
            netlist_supply.step_up(usb_v=usb_v, load=load),
            "tran 0.5u 8m 5m 0.5u uic",
            "let lowest=vecmin(v(top))",
            "let ripple=vecmax(v(top))-vecmin(v(top))",
            "let taken=mean(-i(Vusb))",
            *(f"print {n}" for n in ("lowest", "ripple", "taken")),
            options=ngspice.QUICK,
        )
        at = f"USB at {usb_v:g} V, {1e3 * LOAD_A:g} mA"
        nominal = held.boost_v if held is not None else 0.0
        rows += [
            Compared(build, f"volts before the limiter, {at}", nominal, got["lowest"], "V", "within", 0.03),
            Compared(build, f"ripple before the limiter, {at}", RIPPLE_V, got["ripple"], "V", "bound", 0.0),
            Compared(build, f"taken from USB, {at}", _hold_a(build), got["taken"], "A", "bound", 0.0),
        ]
    return rows


def _hold_a(build: str) -> float:
    """Return what F1 holds at the table's highest temperature [A]: about three quarters (from memory)."""
    return 0.75 * parts(build)["fuse_usb"].value


def _rejection_rows(build: str) -> list[Compared]:
    """Worst share of a ripple before the limiter that reaches the lead, 100 Hz to 2 MHz; and in codes."""
    worst = 0.0
    for gain in GAINS:
        text = fed(build, lead=f"Ilead out 0 {LOAD_A:g}").replace("bf=80 ", f"bf={gain:g} ")
        text = text.replace("Vboost boost 0", "Iripple 0 top ac 1\nVboost boost 0")
        got = ngspice.run(
            text, "ac dec 40 100 2meg", "let share=mag(v(out))/mag(v(top))", "let worst=vecmax(share)",
            "print worst",
        )  # fmt: skip
        worst = max(worst, got["worst"])
    end = front_end(build)
    codes = RIPPLE_V * worst / end.lsb_v
    return [
        Compared(build, "share of a ripple before the limiter at the lead", 0.02, worst, "", "bound", 0.0),
        Compared(build, "ripple of the supply at the lead, in codes", 0.5, codes, "", "bound", 0.0, 0.5),
    ]


def _step_rows(build: str) -> list[Compared]:
    """A load step of 5 mA at each gain of Q1, and the end of a short: how far the lead goes, and that it rests."""
    swing, rest = 0.0, 0.0
    for gain in GAINS:
        for amps in (1e-5, LOAD_A):
            pulse = f"Ilead out 0 PULSE({amps:g} {amps + STEP_A:g} 60m 1u 1u 3m 1)"
            text = fed(build, lead=pulse).replace("bf=80 ", f"bf={gain:g} ")
            got = ngspice.run(
                text, "tran 4u 66m 55m 4u", "let hi=vecmax(v(out))", "let lo=vecmin(v(out))",
                "let last=v(out)[length(v(out))-1]", "print hi", "print lo", "print last",
                options=ngspice.QUICK,
            )  # fmt: skip
            swing = max(swing, got["hi"] - got["last"], got["last"] - got["lo"])
            rest = max(rest, abs(got["last"] - (front_end(build).supply_set_v or 0.0)))
    return [
        Compared(
            build, "supply's excursion on a step of 5 mA, any gain of Q1", 0.25, swing, "V", "bound", 0.0
        ),
        Compared(build, "left of it 3 ms later", 2e-3, rest, "V", "bound", 0.0),
    ]
