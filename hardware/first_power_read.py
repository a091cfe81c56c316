"""What a meter shows at each place of a rig: small networks, solved for many rigs at once. SI units, arrays (n,)."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from hardware.first_power_rig import BRIDGE_OHM, DIODE_OPEN_V, OPEN_OHM, FloatArray, Rigs
from sweeprig.frontend.supply import regulated
from sweeprig.frontend.tables import table

STEPS = 40
REF_A = 2e-6  # into the reference pin of U1: data sheet, from memory
JUNCTION_V = 0.6  # of a silicon junction at milliamperes
CELL_V = (1.30, 1.62)


def bisect(surplus: Callable[[FloatArray], FloatArray], low: FloatArray, high: FloatArray) -> FloatArray:
    """Return where a falling surplus is zero, element by element."""
    for _ in range(STEPS):
        middle = (low + high) / 2
        up = surplus(middle) > 0
        low, high = np.where(up, middle, low), np.where(up, high, middle)
    return np.asarray((low + high) / 2)


def diode_a(rigs: Rigs, key: str, volts: FloatArray) -> FloatArray:
    """Return a diode's forward current [A] at a voltage, series resistance left out."""
    more = rigs.p["clamp" if key == "d_bias" else key].more
    exponent = np.minimum(volts / (more["emission"] * rigs.thermal_v), 60.0)
    return np.asarray(rigs.saturation_a(key) * (np.exp(exponent) - 1))


def diode_range(rigs: Rigs, key: str, *, forward: bool) -> FloatArray:
    """Return what a diode range shows over a diode [V]; DIODE_OPEN_V: open."""
    if forward == (key in rigs.flipped):
        return np.full(rigs.n, DIODE_OPEN_V)
    more, amps = rigs.p[key].more, rigs.meter_a("diode")
    volts = more["emission"] * rigs.thermal_v * np.log(amps / rigs.saturation_a(key) + 1)
    return np.asarray((volts + amps * more["series_ohm"]) * rigs.v["meter_gain"])


def _parallel(*ohms: FloatArray) -> FloatArray:
    return np.asarray(1 / sum(1 / o for o in ohms))


def vbus_ohm(rigs: Rigs) -> FloatArray:
    """VBUS to ground, USB off."""
    v = rigs.v
    return np.asarray(
        v["meter_gain"] * _parallel(v["vbus_ohm"], v["r_run_top"] + v["r_run_bottom"], v["vbus_bridge"])
    )


def run_ohm(rigs: Rigs) -> FloatArray:
    """RUN to ground, USB off: R23 beside R22 and what hangs on VBUS; the pad's diode at the meter's volts."""
    v = rigs.v
    ohm = _parallel(v["r_run_bottom"], v["r_run_top"] + v["vbus_ohm"])
    pull = float(table()["board"]["run_pull_ohm"])  # into the dead rail
    return np.asarray(v["meter_gain"] * _parallel(ohm, pull + v["board_ohm"]))


def lead_ohm(rigs: Rigs) -> FloatArray:
    """Supply lead to ground, USB off, C3 charged: D5's leakage behind it, the feedback divider where there is one."""
    v, amps = rigs.v, rigs.meter_a("kilohm")
    leak = rigs.saturation_a("d_block")
    behind = v["r_pass_hold"] + v["vbus_ohm"]
    seen = _parallel(v["lead_bridge"], np.maximum(behind, JUNCTION_V / leak))
    if "r_feedback_top" in v:
        seen = _parallel(seen, v["r_feedback_top"] + v["r_feedback_bottom"])
    return np.asarray(v["meter_gain"] * np.minimum(seen, DIODE_OPEN_V / amps))


def dead_signal_ohm(rigs: Rigs) -> FloatArray:
    """A signal lead to ground, USB off, meter's plus on the lead: the clamp passes some current into the dead rail."""
    return _signal_ohm(rigs, np.zeros(rigs.n), dead=True)


def signal_ohm(rigs: Rigs) -> FloatArray:
    """A signal lead to ground, USB on: the rail holds the clamp off, and only its leakage is left."""
    return _signal_ohm(rigs, rigs.v["rail"], dead=False)


def _signal_ohm(rigs: Rigs, rail: FloatArray, *, dead: bool) -> FloatArray:
    v = rigs.v
    amps = rigs.meter_a("kilohm" if rigs.build == "plain" else "megohm")
    bleed = _parallel(v["board_ohm"], v["r_shunt_top"] + v["r_shunt_bottom"])

    def lifted(node: FloatArray) -> FloatArray:
        """The dead rail: what passes the clamp flows off through what hangs on the rail."""
        return bisect(
            lambda at: diode_a(rigs, "clamp", node - at) - at / bleed, np.zeros(rigs.n), np.full(rigs.n, 5.0)
        )

    def surplus(node: FloatArray) -> FloatArray:
        at = lifted(node) if dead else rail
        return np.asarray(amps - node / v["r_bottom"] - diode_a(rigs, "clamp", node - at))

    node = bisect(surplus, np.full(rigs.n, -1.0), np.full(rigs.n, 5.0))
    lead = node + amps * v["r_top"]
    return np.asarray(v["meter_gain"] * lead / amps)


def rail_v(rigs: Rigs) -> FloatArray:
    """3V3 OUT, USB on: the board's regulator, unless U1 pulls it down."""
    v = rigs.v
    held = v["shunt"] * (1 + v["r_shunt_top"] / v["r_shunt_bottom"])
    held = np.where(v["r_shunt_top"] >= OPEN_OHM, 99.0, held)
    volts = np.minimum(v["rail"], held)
    if "shunt" in rigs.flipped:
        volts = np.full(rigs.n, 0.8)
    if "clamp" in rigs.flipped:
        volts = np.full(rigs.n, 0.9)
    return np.asarray(v["meter_gain"] * volts)


def reference_pin_v(rigs: Rigs) -> FloatArray:
    """U1's reference pin: the divided rail less its own current through the divider."""
    v = rigs.v
    thevenin = _parallel(v["r_shunt_top"], v["r_shunt_bottom"])
    share = v["r_shunt_bottom"] / (v["r_shunt_top"] + v["r_shunt_bottom"])
    return np.asarray(v["meter_gain"] * np.maximum(rail_v(rigs) * share - REF_A * thevenin, 0.0))


def run_v(rigs: Rigs) -> FloatArray:
    """RUN, USB on."""
    v, pull = rigs.v, float(table()["board"]["run_pull_ohm"])
    siemens = 1 / v["r_run_top"] + 1 / v["r_run_bottom"] + 1 / pull
    volts = (v["usb"] / v["r_run_top"] + v["rail"] / pull) / siemens
    return np.asarray(v["meter_gain"] * np.minimum(volts, v["rail"] + JUNCTION_V))


def off_v(rigs: Rigs) -> FloatArray:
    """Supply lead with the supply off, joined to supply sense: leakage of D5 and Q1 over what hangs there."""
    v = rigs.v
    hangs = v["r_top"] + v["r_bottom"]
    if "r_feedback_top" in v:
        hangs = _parallel(hangs, v["r_feedback_top"] + v["r_feedback_bottom"])
    leak = rigs.saturation_a("d_block") * 0.05  # Q1's own is less than D5 lets through backwards
    volts = leak * hangs
    if rigs.build == "plain":
        volts = np.where(v["link_ohm"] < OPEN_OHM, fed_v(rigs) / v["meter_gain"], volts)
    return np.asarray(v["meter_gain"] * volts)


def gate_ohm(rigs: Rigs) -> FloatArray:
    """Gate of Q4 to ground, USB on, GP2 an input: R36 and the pad's leakage."""
    v, amps = rigs.v, rigs.meter_a("hundred")
    limited = np.minimum(amps * v["r_on_pull"], v["rail"])
    return np.asarray(v["meter_gain"] * (limited + v["pad_leak"] * np.minimum(v["r_on_pull"], 1e6)) / amps)


def drain_ohm(rigs: Rigs) -> FloatArray:
    """Drain of Q4 to its source, USB off: R34 and R35 to a dead VBUS (plain), Q6's blocked junction (regulated)."""
    v, amps = rigs.v, rigs.meter_a("kilohm")
    behind = v["r_pass_base"] + v["r_pass_hold"] + v["vbus_ohm"]
    if rigs.build != "plain":
        behind = DIODE_OPEN_V / amps
    return np.asarray(v["meter_gain"] * _parallel(v["link_ohm"], behind))


def _mismatch(rigs: Rigs) -> FloatArray:
    """One meter for both readings of a ratio: a fifth of its gain error is left."""
    return np.asarray(1 + (rigs.v["meter_gain"] - 1) / 5)


def open_lead_v(rigs: Rigs) -> FloatArray:
    """A signal lead that hangs free, USB on: the clamp's leakage through R2."""
    v = rigs.v
    volts = rigs.saturation_a("clamp") * np.minimum(v["r_bottom"], v["meter_ohm"])
    return np.asarray(v["meter_gain"] * volts)


def stage_v(rigs: Rigs) -> FloatArray:
    """What stands before the limiter: USB, or the step-up's volts."""
    v, held = rigs.v, regulated(rigs.p)
    if held is None:
        return v["usb"]
    volts = v["boost"] * (1 + v["r_boost_top"] / v["r_boost_bottom"])
    return np.asarray(np.clip(volts, v["usb"] - 0.4, 35.0))


def boost_v(rigs: Rigs) -> FloatArray:
    """C63, USB on."""
    return np.asarray(rigs.v["meter_gain"] * stage_v(rigs))


def _drop_v(rigs: Rigs) -> FloatArray:
    """Q1 saturated and D5 at a fraction of a milliampere."""
    more = rigs.p["d_block"].more
    amps = 0.3e-3
    return np.asarray(
        rigs.v["drop"] + more["emission"] * rigs.thermal_v * np.log(amps / rigs.saturation_a("d_block") + 1)
    )


def _is_on(rigs: Rigs) -> FloatArray:
    return np.asarray(rigs.v["r_pass_base"] < 1e6, dtype=float)


def fed_v(rigs: Rigs) -> FloatArray:
    """Supply lead, switched on, no sensor."""
    v, held = rigs.v, regulated(rigs.p)
    unheld = (stage_v(rigs) - _drop_v(rigs)) * _is_on(rigs)
    if held is None:
        return np.asarray(v["meter_gain"] * unheld)
    top, bottom, ref = v["r_feedback_top"], v["r_feedback_bottom"], reference_v(rigs) / v["meter_gain"]
    lifted = (stage_v(rigs) - ref) / v["r_feedback_hold"]
    volts = ref + top * (ref / bottom - lifted)
    return np.asarray(v["meter_gain"] * np.clip(volts, 0.0, unheld))


def below_usb_v(rigs: Rigs) -> FloatArray:
    """VBUS less the supply lead, switched on, no sensor (plain build)."""
    return np.asarray(rigs.v["usb"] * rigs.v["meter_gain"] - fed_v(rigs))


def reference_v(rigs: Rigs) -> FloatArray:
    """U7, supply switched on."""
    v, p = rigs.v, rigs.p
    drift = p["reference"].more["drift_per_k"] * (v["celsius"] - 25.0)
    volts = v["reference"] * (1 + drift)
    if "reference" in rigs.flipped:
        volts = np.full(rigs.n, JUNCTION_V)
    volts = np.where(v["r_reference"] >= OPEN_OHM, 0.0, volts)
    return np.asarray(v["meter_gain"] * volts)


def short_a(rigs: Rigs) -> FloatArray:
    """Current into a short through the meter."""
    v, p = rigs.v, rigs.p
    limit = v["q_limit"] / v["r_limit"]
    most = (stage_v(rigs) - 0.9) / (v["r_limit"] + p["fuse_usb"].more["series_ohm"])
    if "q_limit" in rigs.missing:
        limit = most
    return np.asarray(v["meter_gain"] * np.minimum(limit, most) * _is_on(rigs))


def flag_v(rigs: Rigs) -> FloatArray:
    """GP3 while the limiter acts: Q3 saturated over R32 and R33; the pad's diode holds it near the rail."""
    v = rigs.v
    if "q_flag" in rigs.missing:
        return np.zeros(rigs.n)
    sagged = stage_v(rigs) - 0.15
    if rigs.build == "plain":
        sagged = sagged - 0.055 * rigs.p["fuse_usb"].more["series_ohm"]
    volts = sagged * v["r_flag_bottom"] / (v["r_flag_top"] + v["r_flag_bottom"])
    return np.asarray(v["meter_gain"] * np.minimum(volts, v["rail"] + JUNCTION_V))


def no_flag_v(rigs: Rigs) -> FloatArray:
    """GP3 as an input without pull, supply off: R33 holds it against the pad's leakage."""
    v = rigs.v
    return np.asarray(
        v["meter_gain"] * np.abs(v["pad_leak"]) * np.minimum(v["r_flag_bottom"], v["meter_ohm"])
    )


def flag_ohm(rigs: Rigs) -> FloatArray:
    """GP3 to ground, USB on, GP3 an input: R33."""
    v, amps = rigs.v, rigs.meter_a("kilohm")
    ohm = np.minimum(v["r_flag_bottom"], v["rail"] / amps)
    return np.asarray(v["meter_gain"] * (ohm + v["pad_leak"] / amps * np.minimum(v["r_flag_bottom"], 1e6)))


def share(rigs: Rigs) -> FloatArray:
    """Divided node over the volts on the lead: a cell of 1.5 V, no burden, no bias; leakage and the meter counted."""
    v = rigs.v
    cell = CELL_V[0] + (CELL_V[1] - CELL_V[0]) * v["meter_share"]
    buffered = rigs.build != "plain"
    bottom = v["r_bottom"] if buffered else _parallel(v["r_bottom"], v["meter_ohm"])
    free = bottom / (v["r_top"] + bottom)
    leak = rigs.saturation_a("clamp") * _parallel(v["r_top"], bottom)
    node = np.minimum(cell * free + leak, v["rail"])
    offset = rigs.p["buffer"].more["offset_v"] * (2 * v["meter_share"] - 1) if buffered else 0.0
    return np.asarray((node + offset) / cell * _mismatch(rigs))


def burdened_ohm(rigs: Rigs) -> FloatArray:
    """A signal lead to ground with the burden on, powered lead plugged in."""
    v = rigs.v
    burden = v["burden"] if "q_burden" not in rigs.missing else np.full(rigs.n, OPEN_OHM)
    return np.asarray(v["meter_gain"] * _parallel(v["r_top"] + v["r_bottom"], burden))


def bias_up_v(rigs: Rigs) -> FloatArray:
    """U2's output with the bias up and the lead open: 3.3 V through D3 and R7 into R2."""
    return _bias_v(rigs, up=True)


def bias_down_share(rigs: Rigs) -> FloatArray:
    """U2's output over a cell of 1.5 V on the lead, bias down: R7 through D3 beside R2."""
    return _bias_v(rigs, up=False)


def _bias_v(rigs: Rigs, *, up: bool) -> FloatArray:
    v = rigs.v
    cell = CELL_V[0] + (CELL_V[1] - CELL_V[0]) * v["meter_share"]
    blocked = f"d_bias {'up' if up else 'down'}" in rigs.flipped
    top = np.full(rigs.n, OPEN_OHM) if up else v["r_top"]
    pin = v["rail"] if up else np.zeros(rigs.n)

    def surplus(node: FloatArray) -> FloatArray:
        fed = (cell - node) / top if not up else 0.0 * node
        bias = (pin - node) / v["bias"]
        drop = 0.40  # of D3 at a microampere: its curve, 45 pA and 1.6
        through = np.sign(bias) * np.maximum(np.abs(pin - node) - drop, 0.0) / v["bias"]
        return np.asarray(fed - node / v["r_bottom"] + (0.0 * node if blocked else through))

    node = bisect(surplus, np.full(rigs.n, -1.0), np.full(rigs.n, 5.0))
    return np.asarray(v["meter_gain"] * node if up else _mismatch(rigs) * node / cell)


def ground_sense_v(rigs: Rigs) -> FloatArray:
    """U3's AIN2 with ground sense on ground: half the rail."""
    v = rigs.v
    top, bottom = v["r_ground_lift"], v["r_ground_sense"]
    bottom = _parallel(bottom, v["meter_ohm"])
    return np.asarray(v["meter_gain"] * v["rail"] * bottom / (top + bottom))


def battery_share(rigs: Rigs) -> FloatArray:
    """U3's AIN3 over a 9 V battery on battery sense."""
    v = rigs.v
    bottom = _parallel(v["r_battery_bottom"], v["meter_ohm"])
    top = v["r_battery_top"] + v["r_battery_guard"]
    return np.asarray(_mismatch(rigs) * np.minimum(bottom / (top + bottom), (v["rail"] + JUNCTION_V) / 9.0))


def tap_ground_ohm(rigs: Rigs) -> FloatArray:
    """Contact 6 to ground."""
    ohm = rigs.v.get("fuse_ground ohm", np.full(rigs.n, 10.0))
    return np.asarray(rigs.v["meter_gain"] * (ohm + BRIDGE_OHM))
