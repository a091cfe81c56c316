"""How well a build measures, in ngspice: noise, settling, ripple of the rail, one channel in the next."""

from __future__ import annotations

from hardware import netlist, ngspice, quality
from hardware.compare_rows import Compared
from sweeprig.frontend import FrontEnd, front_end, response
from sweeprig.frontend.tables import parts, table

BEGIN_S = 20e-6
ROUNDS = 15  # ten of its own times
SAMPLE_S = 0.2e-6  # how long the converter's capacitor hangs on a pin: assumed, the short side
OTHERS = "Rb leadb 0 1k\nRs leads 0 1k"
AT = "2 m, 10 kohm track"
NOISE_LSB, CROSS_LSB = (
    0.25,
    8.0,
)  # own choice: what is lost in the converter's own step, and what a sweep takes out


def quality_rows(build: str) -> list[Compared]:
    """Return the rows of a build."""
    return [_settling_row(build), _noise_row(build), *_ripple_rows(build), _crosstalk_row(build)]


def _sensor(end: FrontEnd, drive: str) -> str:
    """Return the whole board with a wiper in the middle of its track on lead a."""
    hookup = end.hookups[0]
    source = f"Vsource source 0 {drive}\nRsource source leada {quality.SOURCE_OHM:g}"
    source += f"\nCcable leada 0 {quality.CABLE_F:g}"
    return "\n".join([netlist.board(end.build, hookup=hookup), source, OTHERS])


def _settling_row(build: str) -> Compared:
    end = front_end(build)
    half = 0.5 / 2**end.adc_bits
    got = ngspice.run(
        _sensor(end, f"PULSE(0 2.5 {BEGIN_S:g} 1n 1n 1 2)"),
        f"tran 20n {BEGIN_S + 300e-6:g} 0 20n",
        "let lost=1-v(pina)/v(pina)[length(v(pina))-1]",
        f"meas tran back when lost={half:g} fall=last",
        f"let took=back-{BEGIN_S:g}",
        "print took",
    )
    name = f"settling of a full step to half a code, {AT}"
    return Compared(build, name, quality.settling_s(build), got["took"], "s", "within", 0.06)


def _noise_row(build: str) -> Compared:
    """The op-amp's noise comes from a resistor of the same density before a gain of one."""
    end, text = front_end(build), _sensor(front_end(build), "dc 2.5 ac 1")
    if end.buffered:
        ohm = float(parts(build)["buffer"].more["noise_v_rthz"]) ** 2 / (4 * quality.KT)
        text = text.replace(
            "Eamp amp 0 amp1 0 1", f"Rhiss hiss 0 {ohm:g}\nEamp quiet 0 amp1 0 1\nEhiss amp quiet hiss 0 1"
        )
    got = ngspice.run(
        text, "noise v(pina) Vsource dec 30 1 10g", "setplot noise2", "let rms=onoise_total", "print rms",
        options=f"{ngspice.EXACT} temp=25 tnom=25",
    )  # fmt: skip
    name = f"noise of resistors and op-amp in a reading, {AT}"
    computed, simulated = (quality.lsb(end, v) for v in (quality.noise_v(build), got["rms"]))
    return Compared(build, name, computed, simulated, "LSB", "within", 0.05, NOISE_LSB)


def _ripple_rows(build: str) -> list[Compared]:
    """The rail as a source; the upper clamp's capacitance goes from the node to it instead of to ground."""
    end, b = front_end(build), table()["board"]
    coupled = float(parts(build)["clamp"].more["junction_f"])
    whole = f"Cnode node 0 {end.c_f:g}"
    parted = f"Cnode node 0 {end.c_f - coupled:g}\nCclamp node rail {coupled:g}"
    channel = netlist.channel(build).replace(whole, parted)
    assert parted in channel
    lines = ["* ripple of the rail", channel, "Vrail rail 0 dc 3.3 ac 1", "Xa lead pin rail 0 up down channel",
             "Rup up 0 1e12", "Rdown down 0 1e12", f"Rsource source lead {quality.SOURCE_OHM:g}",
             "Vsource source 0 dc 2.5", f"Ccable lead 0 {quality.CABLE_F:g}"]  # fmt: skip
    rows = []
    for hz in (float(b["ripple_hz"]), 10 * float(b["ripple_hz"])):
        got = ngspice.run("\n".join(lines), f"ac lin 1 {hz:g} {hz:g}", "let share=mag(v(pin))", "print share")
        computed = quality.lsb(end, quality.ripple_v(build, hz=hz))
        simulated = quality.lsb(end, got["share"] * float(b["ripple_v"]))
        name = f"ripple of the 3.3 V rail in a reading, {1e3 * float(b['ripple_v']):g} mV at {hz / 1e3:g} kHz"
        rows.append(Compared(build, name, computed, simulated, "LSB", "within", 0.05))
    return rows


def _crosstalk_row(build: str) -> Compared:
    """One capacitor goes from pin to pin, 500,000 times a second; the channel before A stands at 0, then at 5 V."""
    end = front_end(build)
    simulated = abs(_turns(end, quality.FULL_V) - _turns(end, 0.0))
    name = "crosstalk at 500 kS/s: a reading while the channel before it goes from 0 to 5 V"
    computed = quality.lsb(end, quality.crosstalk_v(build))
    return Compared(build, name, computed, quality.lsb(end, simulated), "LSB", "bound", 0.0, CROSS_LSB)


def _turns(end: FrontEnd, before_v: float) -> float:
    """Return what the capacitor holds [V] at the end of A's turn, after many rounds; `before_v`: the channel before."""
    round_s = response.conversion_s()
    one = round_s / 3
    lines = [netlist.board(end.build, hookup=end.hookups[0]),
             f"Rsource mid leada {quality.SOURCE_OHM:g}", "Vmid mid 0 2.5",
             "Vb leadb 0 2.5", f"Vs leads 0 {before_v:g}", f"Chold hold 0 {end.sample_f:g}",
             ".model turn sw(vt=0.5 vh=0 ron=100 roff=1e12)"]  # fmt: skip
    for k, c in enumerate("abs"):
        lines += [
            f"S{c} hold pin{c} gate{c} 0 turn",
            f"Vgate{c} gate{c} 0 PULSE(0 1 {1e-6 + k * one:g} 1n 1n {SAMPLE_S:g} {round_s:g})",
        ]
    last = 1e-6 + ROUNDS * round_s + SAMPLE_S
    got = ngspice.run(
        "\n".join(lines), f"tran 50n {last + 0.5e-6:g} 0 50n", f"meas tran held find v(hold) at={last + 0.1e-6:g}",
        "let volts=held", "print volts", options=".options reltol=1e-5 abstol=1e-12 vntol=1e-7 gmin=1e-14 method=gear",
    )  # fmt: skip
    return got["volts"]
