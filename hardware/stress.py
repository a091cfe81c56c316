"""What each part bears at most in a build, beside what is left of its rating at the table's highest temperature."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from hardware import battery, clamps, supply
from sweeprig.frontend import front_end
from sweeprig.frontend.tables import Part, parts, table

# Share of a rating that may be used at 50 C. Common practice, no source, but for Q1: its own figures are in the table.
FILM_W = 1.0  # film resistors bear all of their watts up to 70 C
X7R_V, C0G_V, FILM_V, CAN_V = 0.5, 0.8, 0.8, 0.8  # a ceramic of class 2 loses capacitance with its volts
CHIP_V, CHIP_A = 0.8, 0.7
CHOKE_A = 0.9  # saturation comes earlier when hot
FUSE_A = 0.75  # hold current of a polymer fuse at 50 C; a melting fuse alike
MODULE_A, CONTACT, WHOLE = 0.8, 0.8, 1.0
PEAK_SENSE_V = 0.35  # of a 34063 at its highest, from memory: 0.30 as a rule
STEP_UP_EFFICIENCY = 0.75  # assumed
SCALE = {"": 1.0, "m": 1e-3, "k": 1e3}


@dataclass(frozen=True)
class At:
    """The worst of everything in a build: supplies, leads, limit [V], [A]."""

    build: str
    p: Mapping[str, Part]
    rail_v: float
    usb_v: float
    stage_v: float
    lead_v: float
    node_v: float
    limit_a: float
    lead_a: float


@dataclass(frozen=True)
class Stress:
    """What a part bears and what it may bear, in one unit; `fault`: only while something is wrong."""

    most: float
    unit: str
    left: float
    fault: bool = False

    @property
    def kept(self) -> bool:
        """Whether the part has room for it."""
        return self.most <= self.left * (1 + 1e-9)


def worst(build: str) -> At:
    """Return the worst of a build: highest rail, USB and stage, 35 V on a lead, the limit at its highest."""
    t = table()
    lead_v = max(float(row["volts"]) for row in t["fault"])
    amps = abs(clamps.clamped(build, lead_v=lead_v, rail_v=float(t["rail"]["nominal_v"])).lead_a)
    rail_v = float(t["rail"]["max_v"])
    return At(build, parts(build), rail_v, float(t["rail"]["usb_max_v"]), supply.stage_v(build)[1], lead_v,
              rail_v + float(t["pad"]["above_rail_v"]), front_end(build).supply_limit_high_a, amps)  # fmt: skip


def rating(part: Part, unit: str) -> float:
    """Return the first figure of a unit in a part's rating."""
    found = re.search(rf"([\d.]+) (m|k|){unit}\b", part.rating)
    if found is None:
        raise ValueError(f"the rating of {part.ref} ({part.key}) has no figure in {unit}: {part.rating!r}")
    return float(found[1]) * SCALE[found[2]]


def peak_a(a: At) -> float:
    """Return the step-up's highest peak current [A]."""
    peak = a.p["r_boost_peak"]
    return PEAK_SENSE_V / (peak.value * (1 - peak.tol))


def usb_a(a: At) -> float:
    """Return what the sensor's supply takes through F1 at the limit and the lowest USB [A]."""
    if "boost" not in a.p:
        return a.limit_a
    return a.stage_v * a.limit_a / (STEP_UP_EFFICIENCY * float(table()["rail"]["usb_min_v"]))


def motor_a(a: At) -> float:
    """Return what the motor at rest takes [A]: its coils carry sine and cosine of the limit, and heat as one at it."""
    ohm = a.p["motor"].more["phase_ohm"] + a.p["driver"].more["switch_ohm"]
    return a.p["motor"].more["phase_a"] ** 2 * ohm / a.p["motor_supply"].value


def opamp_a(a: At) -> float:
    """Return the highest current into an op-amp's input in a fault [A]."""
    leads = [float(row["volts"]) for row in table()["fault"]]
    return max(abs(clamps.fault(a.build, name="", lead_v=v).opamp_input_a) for v in leads)


Worst = Callable[[At], float]
# Volts across one resistor of a part at most; True: only in a fault. Bounds: the whole of what drives it.
_RESISTORS: dict[str, tuple[Worst, bool]] = {
    "r_top": (lambda a: a.lead_a * a.p["r_top"].each, True),
    "r_bottom": (lambda a: a.node_v / a.p["r_bottom"].series, True),
    "r_pin": (lambda a: float(table()["pad"]["above_rail_v"]), True),
    "r_guard": (lambda a: opamp_a(a) * a.p["r_guard"].each, True),
    "r_out": (lambda a: a.rail_v, True),
    "burden": (lambda a: a.lead_v, True),
    "bias": (lambda a: a.node_v, True),
    "r_ground_sense": (lambda a: a.lead_v, True),
    "r_ground_lift": (lambda a: a.node_v, True),
    "r_battery_top": (lambda a: a.p["suppressor_battery"].more["breakdown_v"] / 2, True),
    "r_battery_bottom": (lambda a: a.node_v, True),
    "r_run_top": (lambda a: a.usb_v, False),
    "r_run_bottom": (lambda a: a.usb_v, False),
    "r_limit": (lambda a: a.limit_a * a.p["r_limit"].each, False),
    "r_flag_base": (lambda a: supply.BASE_EMITTER_V, True),
    "r_flag_top": (lambda a: a.stage_v, True),
    "r_flag_bottom": (lambda a: a.rail_v, True),
    "r_pass_base": (lambda a: a.stage_v, False),
    "r_pass_hold": (lambda a: 2 * supply.BASE_EMITTER_V, False),
    "r_boost_peak": (lambda a: PEAK_SENSE_V, False),
    "r_boost_top": (lambda a: a.stage_v, False),
    "r_feedback_top": (lambda a: a.lead_v / 2, True),
    "r_feedback_bottom": (lambda a: a.lead_v / 2, True),
    "r_feedback_in": (lambda a: a.lead_v / 2, True),
    "r_feedback_hold": (lambda a: a.lead_v, True),
    "r_comp": (lambda a: a.stage_v, False),
}
_CAPACITORS: dict[str, tuple[Worst, float, bool]] = {  # volts, share of the rating, only in a fault
    "c_node": (lambda a: a.node_v, C0G_V, True),
    "c_out": (lambda a: a.rail_v, C0G_V, False),
    "c_rail": (lambda a: a.rail_v, X7R_V, False),
    "c_reference_adc": (lambda a: a.rail_v, X7R_V, False),
    "c_bypass": (lambda a: a.stage_v, X7R_V, False),
    "c_usb": (lambda a: a.usb_v, X7R_V, False),
    "c_supply": (lambda a: a.lead_v, WHOLE, True),
    "c_boost_time": (lambda a: a.p["boost"].value, C0G_V, False),
    "c_boost_in": (lambda a: a.usb_v, X7R_V, False),
    "c_boost_out": (lambda a: a.stage_v, CAN_V, False),
    "c_filter": (lambda a: a.stage_v, CAN_V, False),
    "c_reference": (lambda a: a.p["reference"].value * (1 + a.p["reference"].tol), X7R_V, False),
    "c_comp": (lambda a: a.stage_v, FILM_V, False),
    "c_ramp": (lambda a: a.rail_v, FILM_V, False),
    "c_motor": (lambda a: a.p["motor_supply"].value * (1 + a.p["motor_supply"].tol), CAN_V, False),
}
_AMPS_VOLTS: dict[str, tuple[Worst, str, float, bool]] = {  # the tighter of volts and amperes
    "clamp": (lambda a: a.lead_a, "A", CHIP_A, True),
    "clamp_monitor": (lambda a: a.lead_v / a.p["r_ground_sense"].value, "A", CHIP_A, True),
    "d_bias": (lambda a: a.node_v, "V", CHIP_V, True),
    "suppressor": (lambda a: a.lead_v, "V", WHOLE, True),
    "d_block": (lambda a: a.lead_v, "V", CHIP_V, True),
    "d_boost": (peak_a, "A", CHIP_A, False),
    "d_feedback": (lambda a: a.lead_v / 2, "V", CHIP_V, True),
    "q_limit": (lambda a: a.stage_v, "V", CHIP_V, False),
    "q_flag": (lambda a: a.stage_v, "V", CHIP_V, False),
    "q_drive": (lambda a: a.stage_v, "V", CHIP_V, False),
    "q_on": (lambda a: a.stage_v, "V", CHIP_V, False),
    "q_burden": (lambda a: a.lead_v, "V", CHIP_V, True),
    "shunt": (lambda a: 3 * a.lead_a, "A", CHIP_A, True),
    "buffer": (lambda a: a.rail_v, "V", WHOLE, False),
    "monitor": (lambda a: a.rail_v, "V", WHOLE, False),
    "encoder": (lambda a: a.rail_v, "V", WHOLE, False),
    "boost": (peak_a, "A", CHIP_A, False),
    "error_amp": (lambda a: a.stage_v, "V", CHIP_V, False),
    "reference": (
        lambda a: (a.rail_v - a.p["reference"].value) / a.p["r_reference"].value,
        "A",
        CHIP_A,
        False,
    ),
    "l_boost": (peak_a, "A", CHOKE_A, False),
    "l_filter": (lambda a: a.limit_a, "A", CHOKE_A, False),
    "fuse_usb": (usb_a, "A", FUSE_A, False),
    "fuse_ground": (lambda a: 3 * a.lead_a, "A", FUSE_A, True),
    "fuse_motor": (motor_a, "A", FUSE_A, False),
    "buzzer": (lambda a: a.rail_v, "V", WHOLE, False),
    "button": (lambda a: a.rail_v, "V", CONTACT, False),
    "home": (lambda a: a.rail_v, "V", CONTACT, False),
    "jumper": (lambda a: a.lead_a, "A", CONTACT, True),
    "stop_switch": (motor_a, "A", CONTACT, False),
    "driver": (lambda a: a.p["motor"].more["phase_a"], "A", MODULE_A, False),
    "motor": (lambda a: a.p["motor"].more["phase_a"], "A", WHOLE, False),
    "motor_supply": (motor_a, "A", MODULE_A, False),
}


def stress(a: At, part: Part) -> Stress:
    """Return what one piece of a part bears, beside what is left of its rating."""
    if part.key == "q_pass":
        return Stress(
            supply.heat(a.build, name="", lead_v=-14.0).watts, "W", supply.allowed_w(a.build), fault=True
        )
    if part.key in ("r_battery_guard", "suppressor_battery"):
        guard = part.key == "r_battery_guard"
        most = max(s.r13 if guard else s.d8 for s in battery.stresses() if s.long)
        limit = battery.r13_limit if guard else battery.d8_limit
        return Stress(most, "W", limit(long=True), fault=True)
    if part.key in _CAPACITORS:
        volts, share, fault = _CAPACITORS[part.key]
        return Stress(volts(a), "V", share * rating(part, "V"), fault)
    if part.key in _AMPS_VOLTS:
        most_of, unit, share, fault = _AMPS_VOLTS[part.key]
        return Stress(most_of(a), unit, share * rating(part, unit), fault)
    across, fault = _RESISTORS.get(
        part.key, (lambda a: a.rail_v, False)
    )  # between the rail and ground, as pulls are
    return Stress(across(a) ** 2 / part.each, "W", FILM_W * rating(part, "W"), fault)


def stresses(build: str) -> dict[str, Stress]:
    """Return by key what every part of a build bears."""
    a = worst(build)
    return {key: stress(a, part) for key, part in a.p.items()}
