"""The sensor's supply: limit, flag, heat, what a fault on its lead can do. Pure functions, SI units."""

from __future__ import annotations

from dataclasses import dataclass

from hardware.clamps import diode_a
from sweeprig.frontend import front_end
from sweeprig.frontend.supply import regulated
from sweeprig.frontend.tables import parts, table

BASE_EMITTER_V = 0.7


@dataclass(frozen=True)
class Heat:
    """What the pass transistor has to stand while the limit is at work."""

    name: str
    lead_v: float
    amps: float
    watts: float


def stage_v(build: str) -> tuple[float, float]:
    """Return (lowest, highest) voltage before the limiter [V]: USB behind F1, or the step-up's."""
    held, rail = regulated(parts(build)), table()["rail"]
    if held is not None:
        return held.boost_low_v, held.boost_high_v
    return float(rail["usb_min_v"]), float(rail["usb_max_v"])


def heat(build: str, *, name: str, lead_v: float) -> Heat:
    """Return the worst heat of Q1 with the supply lead forced to `lead_v`: highest stage voltage, highest limit.

    F1 counts in the plain build only: a regulated stage makes up for it.
    """
    end, p = front_end(build), parts(build)
    amps = end.supply_limit_high_a
    series = end.supply_source_ohm if end.supply_set_v is None else p["r_limit"].value
    lost = amps * series + p["d_block"].value
    return Heat(name, lead_v, amps, amps * max(stage_v(build)[1] - lost - lead_v, 0.0))


def allowed_w(build: str) -> float:
    """Return what Q1 may turn into heat at the table's highest temperature [W]: (Tj - T) / Rth in free air."""
    more = parts(build)["q_pass"].more
    return (more["junction_max_c"] - float(table()["temperature"]["max_c"])) / more["free_air_k_w"]


def reverse_a(build: str, *, lead_v: float) -> float:
    """Return what D5 and the feedback take from a supply lead at `lead_v` [A], beyond the stage's voltage.

    Below it nothing is reckoned: Q1 is off or the limit holds.
    """
    p, end = parts(build), front_end(build)
    leak = -diode_a(-lead_v, p["d_block"]) if lead_v > stage_v(build)[1] else 0.0
    if end.supply_set_v is None:
        return leak
    return leak + lead_v / (p["r_feedback_top"].value + p["r_feedback_bottom"].value)


def flag_pin_v(build: str, *, stage_v: float) -> float:
    """Return the fault pin's voltage [V] with Q3 saturated: R32 and R33, no drop in Q3 (worst case)."""
    p = parts(build)
    return stage_v * p["r_flag_bottom"].value / (p["r_flag_top"].value + p["r_flag_bottom"].value)


def base_drive_margin(build: str) -> float:
    """Return how many times over Q1's base is driven at the highest limit: lowest stage voltage and gain.

    R34 at its highest. Plain: Q1's base-emitter and R30 take 0.7 V and the limit's 0.62 V. Regulated: R34 stands
    under Q6, whose base the amplifier lifts to its swing below the stage.
    """
    end, p = front_end(build), parts(build)
    hold_a = BASE_EMITTER_V / p["r_pass_hold"].value
    taken = p["error_amp"].more["swing_v"] if "error_amp" in p else p["q_limit"].value
    across = stage_v(build)[0] - BASE_EMITTER_V - taken
    drive_a = across / (p["r_pass_base"].value * (1 + p["r_pass_base"].tol)) - hold_a
    needed_a = end.supply_limit_high_a / (p["q_pass"].value * (1 - p["q_pass"].tol))
    return drive_a / needed_a
