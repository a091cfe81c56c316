"""The signal's way from the sensor to the pin: transfer, loading, corner, dropouts."""

from __future__ import annotations

from hardware import netlist, ngspice
from hardware.compare_rows import Compared
from sweeprig.frontend import FrontEnd, front_end, response
from sweeprig.frontend.tables import table

LEVEL_V = 2.5
DROPOUT_S = 12e-6
BEGIN_S = 20e-6
OTHERS = "Rb leadb 0 1k\nRs leads 0 1k"


def signal_rows(build: str) -> list[Compared]:
    """Return all rows of one build."""
    end = front_end(build)
    rows = [*_static_rows(end), _loading_row(end)]
    for hookup in end.hookups:
        rows += [_corner_row(end, hookup), _settling_row(end, hookup), *_dropout_rows(end, hookup)]
    return rows


def _static_rows(end: FrontEnd) -> list[Compared]:
    hookup = "powered"
    text = netlist.board(end.build, hookup=hookup) + f"\nVa leada 0 {LEVEL_V}\n{OTHERS}"
    got = ngspice.run(
        text,
        "dc Va 0.5 4.5 4.0",
        "let slope=(v(pina)[1]-v(pina)[0])/4.0",
        "let amps=-(i(Va)[1]-i(Va)[0])",
        "let ohms=4.0/amps",
        "print slope",
        "print ohms",
    )
    return [
        Compared(
            end.build, "divider ratio, 0.5 to 4.5 V", end.divider_ratio, got["slope"], "", "within", 2e-4
        ),
        Compared(
            end.build,
            "resistance seen by the sensor, powered",
            end.load_ohm(burden_on=True),
            got["ohms"],
            "ohm",
            "within",
            2e-3,
        ),
    ]


def _loading_row(end: FrontEnd) -> Compared:
    """A potentiometer of two resistors that share the track; its supply is 5 V."""
    track = float(table()["limits"]["track_ohm"])
    text = "\n".join(
        [
            netlist.board(end.build, hookup="powered"),
            OTHERS,
            "Vx x 0 0.5",
            "Vtrack track 0 5",
            f"Rupper track leada R='{track:g}*(1-V(x))+1e-3'",
            f"Rlower leada 0 R='{track:g}*V(x)+1e-3'",
        ]
    )
    got = ngspice.run(
        text, "dc Vx 0.01 0.99 0.002", "let lost=v(x)-v(leada)/5", "let worst=100*vecmax(lost)", "print worst"
    )
    computed = 100 * end.loading_error(track_ohm=track, burden_on=True)
    name = f"largest loading error, {track / 1e3:g} kohm track, powered"
    most = float(table()["limits"]["loading_percent"])
    return Compared(end.build, name, computed, got["worst"], "%", "within", 2e-3, most)


def _corner_row(end: FrontEnd, hookup: str) -> Compared:
    text = netlist.board(end.build, hookup=hookup) + f"\nVa leada 0 dc {LEVEL_V} ac 1\n{OTHERS}"
    got = ngspice.run(
        text,
        "ac dec 200 10 1meg",
        "let db=vdb(pina)-vdb(pina)[0]",
        "meas ac corner when db=-3.0103",
        "let hz=corner",
        "print hz",
    )
    least = float(table()["claim"]["corner_hz"])
    return Compared(
        end.build, f"corner, {hookup}", end.corner_hz(hookup), got["hz"], "Hz", "within", 0.02, least, "least"
    )


def _settling_row(end: FrontEnd, hookup: str) -> Compared:
    """Step from 0 V after a long short; the time until the pin is within half a code of full scale."""
    long_s, share = 300e-6, 0.5 / (1 << end.adc_bits)
    text = _dropout(end, hookup, "short", seconds=long_s, level_v=LEVEL_V)
    got = ngspice.run(
        text,
        _transient(long_s),
        "let lost=1-v(pina)/v(pina)[0]",
        f"meas tran back when lost={share:g} fall=last",
        f"let took=back-{BEGIN_S + long_s:g}",
        "print took",
    )
    name = f"settling of a full step to half a code, {hookup}"
    return Compared(end.build, name, end.settling_s(hookup), got["took"], "s", "within", 0.05)


def _dropout(end: FrontEnd, hookup: str, kind: str, *, seconds: float, level_v: float) -> str:
    """Return the netlist of one dropout: the source goes to 0 V, or the wiper lifts."""
    edge = 1e-9
    drive = f"PULSE({level_v:g} 0 {BEGIN_S:g} {edge:g} {edge:g} {seconds - edge:g} 1)"
    lift = f"PULSE(1 0 {BEGIN_S:g} {edge:g} {edge:g} {seconds - edge:g} 1)"
    return "\n".join(
        [
            netlist.board(end.build, hookup=hookup),
            netlist.wiper(end.build, hookup=hookup),
            f"Vsource source 0 {drive if kind == 'short' else f'{level_v:g}'}",
            f"Vlift lifted 0 {lift if kind == 'open' else '1'}",
        ]
    )


def _transient(seconds: float) -> str:
    return f"tran 20n {BEGIN_S + seconds + 150e-6:g} 0 20n"


def depth(end: FrontEnd, hookup: str, kind: str) -> float:
    """Return the share of a 12 us dropout that reaches the simulated pin."""
    text = _dropout(end, hookup, kind, seconds=DROPOUT_S, level_v=LEVEL_V)
    got = ngspice.run(
        text,
        _transient(DROPOUT_S),
        "let share=1-v(pina)/v(pina)[0]",
        "let deepest=vecmax(share)",
        "print deepest",
    )
    return got["deepest"]


def _time_below(end: FrontEnd, hookup: str, kind: str, *, seconds: float) -> float:
    """Return how long [s] the pin is at least claim.lsb codes down, closed throttle, dropout of `seconds`."""
    claim = table()["claim"]
    level = float(claim["level_v"])
    share = claim["lsb"] * end.lsb_v / level
    text = _dropout(end, hookup, kind, seconds=seconds, level_v=level)
    got = ngspice.run(
        text,
        _transient(seconds),
        "let lost=1-v(pina)/v(pina)[0]",
        f"meas tran below trig lost val={share:g} rise=1 targ lost val={share:g} fall=1",
        "let seen=below",
        "print seen",
    )
    return got["seen"]


def _dropout_rows(end: FrontEnd, hookup: str) -> list[Compared]:
    rows = []
    for kind, computed_depth in (("short", end.short_depth), ("open", end.open_depth)):
        least = float(table()["claim"]["short_depth"]) if kind == "short" else None
        name = f"share of a 12 us {kind} that reaches the pin, {hookup}"
        computed, simulated = 100 * computed_depth(DROPOUT_S, hookup), 100 * depth(end, hookup, kind)
        limit = None if least is None else 100 * least
        rows.append(Compared(end.build, name, computed, simulated, "%", "within", 0.03, limit, "least"))
    for kind, shortest in (("short", end.shortest_short_s), ("open", end.shortest_open_s)):
        rows.append(_claim_row(end, hookup, kind, shortest(hookup)))
    return rows


def _claim_row(end: FrontEnd, hookup: str, kind: str, seconds: float) -> Compared:
    claim = table()["claim"]
    share = claim["lsb"] * end.lsb_v / claim["level_v"]
    computed = response.below_s(end.path(hookup), seconds=seconds, kind=kind, share=share)
    simulated = _time_below(end, hookup, kind, seconds=seconds)
    name = (
        f"{claim['lsb']} codes down for, {kind} of {1e6 * seconds:.1f} us at {claim['level_v']} V, {hookup}"
    )
    return Compared(
        end.build, name, computed, simulated, "s", "within", 0.05, 0.98 * response.conversion_s(), "least"
    )
