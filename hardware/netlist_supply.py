"""Netlists of the sensor's supply, plain and regulated, from the parts table."""

from __future__ import annotations

import math

from hardware.netlist import model
from sweeprig.frontend.supply import regulated
from sweeprig.frontend.tables import Part, parts

OPEN_SWITCH_OHM = 1e9  # of Q4, switched off
CLOSED_SWITCH_OHM = 10.0  # the most that its rating allows
GATE_V = 1.5  # the highest threshold that its rating allows
REFERENCE_OHM = 0.5  # dynamic resistance of U7
TIMING_S_PER_F = 2.5e4  # on-time of a 34063 class by its timing capacitor: data sheet, from memory
ON_TO_OFF = 6.2  # its charge and discharge times, from memory
PEAK_V = 0.3  # across R60 at which it ends the on-time
OUTPUT_OHM = 100.0  # of U6, open loop
POLE_F = 100e-12  # where U6's gain bandwidth stands in the model
MODELS = (
    ".model small pnp(is=1e-14 bf=150 vaf=60)",
    ".model npn npn(is=1e-14 bf=200 vaf=80 cje=8p cjc=4p tf=0.4n)",  # an ordinary small-signal type
)


def supply(build: str, *, lead: str, changed: dict[str, float] | None = None) -> str:
    """Return the sensor's supply; `lead` is what hangs on its output, node `out`. Gate drive is node `on`.

    `changed` gives other values by part key. The plain build hangs on node `usb`, a regulated one on `boost`.
    """
    p = parts(build)
    v = {k: x.value for k, x in p.items()} | (changed or {})
    lines = ["* supply of the sensor", *MODELS, model("dblock", p["d_block"], junction=True)]
    lines += [f".model pass pnp(is=1e-13 bf={v['q_pass']:g} vaf=80 cje=150p cjc=60p tf=50n)"]
    lines += _limiter(v)
    if regulated(p) is None:
        lines += [
            f"Rfuse usb top {p['fuse_usb'].more['series_ohm']:g}",
            f"Rbase base drain {v['r_pass_base']:g}",
        ]
    else:
        lines += stage(build) + _loop(p, v)
    return "\n".join([*lines, lead])


def _limiter(v: dict[str, float]) -> list[str]:
    return [
        f"Rlimit top emitter {v['r_limit']:g}",
        "Q1 collector base emitter pass",
        "Q2 base emitter top small",
        "Q3 flag flagbase top small",
        f"Rflagbase flagbase emitter {v['r_flag_base']:g}",
        f"Rflagtop flag fault {v['r_flag_top']:g}",
        f"Rflagbottom fault 0 {v['r_flag_bottom']:g}",
        f"Rhold base emitter {v['r_pass_hold']:g}",
        # as a source: ngspice 39 takes a switch for open in its small-signal analysis
        f"B4 drain 0 I=V(drain)*(V(on)>{GATE_V:g} ? {1 / CLOSED_SWITCH_OHM:g} : {1 / OPEN_SWITCH_OHM:g})",
        f"Rgate on 0 {v['r_on_pull']:g}",
        "D5 collector out dblock",
        f"Cout out 0 {v['c_supply']:g}",
    ]


def stage(build: str) -> list[str]:
    """Return the filter between the step-up, node `boost`, and the limiter, node `top`."""
    p = parts(build)
    v = {k: x.value for k, x in p.items()}
    ready = f" ic={regulated_v(p):g}"  # as after a while; only a run with `uic` looks at it
    return [
        f"Lfilter boost filtered {v['l_filter']:g}",
        f"Rfilter filtered top {p['l_filter'].more['series_ohm']:g}",
        f"Cfilter top esr {v['c_filter']:g}{ready}",
        f"Resr esr 0 {p['c_filter'].more['series_ohm']:g}",
    ]


def _loop(p: dict[str, Part], v: dict[str, float]) -> list[str]:
    """The amplifier that holds the lead at twice the reference."""
    amp = p["error_amp"]
    gain, slew_a = 2 * math.pi * amp.value * POLE_F, amp.more["slew_v_s"] * POLE_F
    return [
        model("dfeedback", p["d_feedback"]),
        "Q6 base drive foot npn",
        f"Rbase foot drain {v['r_pass_base']:g}",
        f"Rref on refin {v['r_reference']:g}",
        f"Bref refin 0 I=max(0, (V(refin)-{v['reference']:g})/{REFERENCE_OHM:g})",
        f"Cref refin 0 {v['c_reference']:g}",
        f"Voffset refin plus {v.get('offset_v', 0.0):g}",
        f"Rfbtop out half {v['r_feedback_top']:g}",
        f"Rfbbottom half 0 {v['r_feedback_bottom']:g}",
        f"Rfbhold top half {v['r_feedback_hold']:g}",
        "Dfeedback 0 half dfeedback",
        f"Rfbin half minus {v['r_feedback_in']:g}",
        f"Rcomp minus comp {v['r_comp']:g}",
        f"Ccomp comp drive {v['c_comp']:g}",
        f"Bamp 0 inner I=max(-{slew_a:g}, min({slew_a:g}, {gain:g}*(V(plus)-V(minus))))",
        f"Camp inner 0 {POLE_F:g}",
        "Ramp inner 0 2e8",
        f"Bhigh inner 0 I=max(0, (V(inner)-(V(top)-{amp.more['swing_v']:g}))/10)",
        "Blow 0 inner I=max(0, (0.02-V(inner))/10)",
        "Eamp ampout 0 inner 0 1",
        f"Rampout ampout drive {OUTPUT_OHM:g}",
    ]


def step_up(*, usb_v: float, load: str) -> str:
    """Return the step-up from USB through F1 to node `boost`; `load` hangs on it.

    A gated oscillator: each on-time begins if the output is low, and ends with the clock or at the peak current.
    """
    p = parts("full")
    on_s = TIMING_S_PER_F * p["c_boost_time"].value
    period_s = on_s * (1 + 1 / ON_TO_OFF)
    sense, out = p["r_boost_peak"].value, p["c_boost_out"]
    return "\n".join(
        [
            "* step-up",
            model("dboost", p["d_boost"], junction=True),
            f"Vusb usb 0 {usb_v:g}",
            f"Rfuse usb in {p['fuse_usb'].more['series_ohm']:g}",
            f"Cin in 0 {p['c_boost_in'].value:g} ic={usb_v:g}",
            f"Rpeak in peak {sense:g}",
            f"Lboost peak coil {p['l_boost'].value:g} ic=0",
            f"Rcoil coil switch {p['l_boost'].more['series_ohm']:g}",
            f"Vclock clock 0 PULSE(0 1 0 50n 50n {on_s:g} {period_s:g})",
            f"Bpeak 0 free I=V(clock)<0.5 ? (1-V(free))*1e-2 : (V(in,peak)>{PEAK_V:g} ? -V(free)*1e-2 : 0)",
            "Cfree free 0 1n ic=1",
            f"Bset 0 set I=V(clock)<0.5 ? -V(set)*1e-2 : (V(sense)<{p['boost'].value:g} ? (1-V(set))*1e-2 : 0)",
            "Cset set 0 1n ic=0",
            "Bgate gate 0 V=V(free)*V(set)",
            ".model sw5 sw(vt=0.5 vh=0.1 ron=1 roff=1e6)",
            "S5 switch drop gate 0 sw5",
            f"Vdrop drop 0 {p['boost'].more['switch_v']:g}",
            "Dboost switch boost dboost",
            f"Cboost boost esrb {out.value:g} ic={regulated_v(p):g}",
            f"Resrb esrb 0 {out.more['series_ohm']:g}",
            f"Rtop boost sense {p['r_boost_top'].value:g}",
            f"Rbottom sense 0 {p['r_boost_bottom'].value:g}",
            load,
        ]
    )


def regulated_v(p: dict[str, Part]) -> float:
    """Return the step-up's nominal output [V]."""
    return p["boost"].value * (1 + p["r_boost_top"].value / p["r_boost_bottom"].value)
