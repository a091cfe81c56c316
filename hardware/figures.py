"""What a build of the rig is and does, computed from the parts table, each figure beside its limit."""

from __future__ import annotations

from collections.abc import Iterator

from hardware import clamps, supply
from hardware.figure import Figure, least, most
from hardware.figures_more import more_figures
from sweepboard import wire
from sweeprig.frontend import FrontEnd, front_end, response
from sweeprig.frontend.tables import parts, table


def figures(build: str) -> list[Figure]:
    """Return all figures of one build."""
    end = front_end(build)
    return [
        *_reading(end),
        *_loading(end),
        *(f for hookup in end.hookups for f in _seen(end, hookup)),
        *_faults(build),
        *_supply(end),
        *(_tapped(build) if "tapped" in end.hookups else ()),
        *_power(build),
        *more_figures(build),
    ]


def _reading(end: FrontEnd) -> Iterator[Figure]:
    group, t = "reading", table()["temperature"]
    low_c, high_c = float(t["min_c"]), float(t["max_c"])
    yield Figure(group, "divider ratio", end.divider_ratio, "")
    yield Figure(group, "its worst case, uncalibrated, +-", 100 * end.divider_ratio_tol, "%")
    yield least(group, "highest reading at the sensor", end.full_scale_v, "V", 5.25)
    yield Figure(group, "one code at the sensor", end.lsb_v, "V")
    lowest = parts(end.build)["buffer"].more["rail_v"] / end.divider_ratio if end.buffered else 0.0
    yield Figure(group, "lowest reading (the op-amp's swing)", lowest, "V")
    leak = end.leakage_at_sensor_v
    yield Figure(
        group,
        f"leakage of the clamp at {t['calibration_c']:g} C, +-",
        leak(temperature_c=t["calibration_c"]),
        "V",
    )
    drift = leak(temperature_c=high_c) - leak(temperature_c=float(t["calibration_c"]))
    yield Figure(group, f"its change up to {high_c:g} C, +-", drift, "V")
    yield Figure(group, f"leakage of the clamp at {low_c:g} C, +-", leak(temperature_c=low_c), "V")
    memory = end.memory_at_sensor_v(
        step_v=1.0, conversion_hz=float(wire.CONVERSION_HZ), channels=int(wire.CHANNELS)
    )
    yield Figure(group, "shift by the channel before, each volt apart at the pins", memory, "V")


def _loading(end: FrontEnd) -> Iterator[Figure]:
    group, limits = "loading", table()["limits"]
    yield Figure(group, "input resistance", end.input_ohm, "ohm")
    yield Figure(group, "with the burden on", end.burden_at_sensor_ohm, "ohm")
    for track in (1e3, 2e3, 5e3, 10e3):
        error = 100 * end.loading_error(track_ohm=track, burden_on=True)
        name = f"largest error, {track / 1e3:g} kohm track, burden on, of the supply"
        if track == limits["track_ohm"]:
            yield most(group, name, error, "%", float(limits["loading_percent"]))
        else:
            yield Figure(group, name, error, "%")
        if "tapped" in end.hookups:
            released = 100 * end.loading_error(track_ohm=track)
            yield Figure(group, f"the same, burden released ({track / 1e3:g} kohm)", released, "%")


def _seen(end: FrontEnd, hookup: str) -> Iterator[Figure]:
    group, claim = f"what is seen, {hookup}", table()["claim"]
    level = claim["level_v"]
    yield least(group, "corner, sensor to pin", end.corner_hz(hookup), "Hz", float(claim["corner_hz"]))
    settled = end.settling_s(hookup)
    window_s = int(wire.WINDOW) * response.conversion_s()
    yield most(group, "settling of a full step to half a code, within one window", settled, "s", window_s)
    yield Figure(group, "conversions of one channel in that time", settled / response.conversion_s(), "")
    short = 100 * end.short_depth(claim["floor_s"], hookup)
    yield least(
        group,
        "share of a 12 us short to ground that reaches the pin",
        short,
        "%",
        100 * float(claim["short_depth"]),
    )
    opened = 100 * end.open_depth(claim["floor_s"], hookup)
    yield Figure(group, "share of a 12 us lifted wiper that reaches the pin", opened, "%")
    yield Figure(group, "cable and harness assumed", end.cable_f(hookup), "F")
    below = f"surely seen with {claim['lsb']} codes at {level:g} V"
    yield Figure(group, f"shortest short {below}", end.shortest_short_s(hookup), "s")
    yield Figure(group, f"shortest lifted wiper {below}", end.shortest_open_s(hookup), "s")
    for cable in (150e-12, 400e-12, 1e-9):
        seen = end.shortest_open_s(hookup, cable_f=cable)
        yield Figure(group, f"the same with {cable * 1e12:g} pF of cable and harness", seen, "s")


def _faults(build: str) -> Iterator[Figure]:
    pad, rail = table()["pad"], table()["rail"]
    for row in table()["fault"]:
        volts, name = float(row["volts"]), row["name"]
        fault = clamps.fault(build, name=name, lead_v=volts)
        beyond = max(fault.clamp.pad_v - fault.rail_v, -fault.clamp.pad_v, 0.0)
        room = float(pad["above_rail_v" if volts > 0 else "below_ground_v"])
        yield Figure("faults", f"{name}: current in a lead, burden off", fault.clamp.lead_a, "A")
        yield most("faults", f"{name}: pad beyond its rail", beyond, "V", room)
        yield most(
            "faults",
            f"{name}: into the 3.3 V rail, three leads",
            max(fault.injected_a, 0.0),
            "A",
            rail["load_a"],
        )
        yield most("faults", f"{name}: 3.3 V rail", fault.rail_v, "V", rail["max_v"])
        if front_end(build).buffered:
            borne = float(table()["limits"]["opamp_input_a"])
            yield most("faults", f"{name}: op-amp input", fault.opamp_input_a, "A", borne)
    yield most(
        "faults",
        "3.3 V rail of an unpowered board, three leads at 35 V",
        clamps.unpowered_rail_v(build, lead_v=35.0),
        "V",
        rail["max_v"],
    )


def _supply(end: FrontEnd) -> Iterator[Figure]:
    group, build = "supply of the sensor", end.build
    yield Figure(group, "limit, nominal", end.supply_limit_a, "A")
    yield Figure(group, "limit, lowest", end.supply_limit_low_a, "A")
    yield most(group, "limit, highest", end.supply_limit_high_a, "A", 0.060)
    yield from _fed(end)
    flag = supply.flag_pin_v(build, stage_v=supply.stage_v(build)[1])
    yield most(group, "fault pin at the highest voltage", flag, "V", table()["rail"]["nominal_v"])
    allowed = supply.allowed_w(build)
    for name, volts in (("shorted to ground", 0.0), ("on -14 V", -14.0)):
        watts = supply.heat(build, name=name, lead_v=volts).watts
        yield most(group, f"heat in Q1, lead {name}", watts, "W", allowed)
    margin = supply.base_drive_margin(build)
    yield least(group, "base drive of Q1 over what the limit needs", margin, "", 1.0)
    back = supply.reverse_a(build, lead_v=16.0)
    yield Figure(group, "back into the rig, supply lead at 16 V (25 C)", back, "A")


def _fed(end: FrontEnd) -> Iterator[Figure]:
    group = "supply of the sensor"
    for amps in (0.001, 0.020, 0.040):
        at = f"at the sensor, {1e3 * amps:g} mA"
        low, high = end.supply_range_v(current_a=amps)
        yield Figure(group, f"{at}, USB 5.0 V", end.supply_v(current_a=amps), "V")
        if end.supply_set_v is None:
            yield Figure(group, f"{at}, lowest (USB, F1 and D5 at their worst)", low, "V")
        else:
            yield least(group, f"{at}, lowest", low, "V", 4.95)
            yield most(group, f"{at}, highest", high, "V", 5.05)


def _tapped(build: str) -> Iterator[Figure]:
    limits = table()["limits"]
    normal, fault = float(limits["tapped_normal_v"]), float(limits["tapped_fault_v"])
    every = clamps.tapped_currents(build)
    for lead in dict.fromkeys(r.lead for r in every):
        for state in clamps.STATES:
            rows = [r for r in every if (r.lead, r.state) == (lead, state)]
            low = max(abs(r.amps) for r in rows if r.lead_v <= normal)
            high = max(abs(r.amps) for r in rows if r.lead_v <= fault)
            yield most("tapped leads", f"{lead}, {state}, 0 to {normal:g} V", low, "A", limits["tapped_a"])
            yield most(
                "tapped leads", f"{lead}, {state}, up to {fault:g} V", high, "A", limits["tapped_fault_a"]
            )
    yield least(
        "tapped leads",
        "series resistance of a tapped lead",
        front_end(build).r_top_ohm,
        "ohm",
        limits["r_top_tapped_ohm"],
    )
    yield from _tap_ground(build)


def _tap_ground(build: str) -> Iterator[Figure]:
    """The ground lead carries the sum; with more than one lead on 5.5 V the limit of ONE lead is passed."""
    limits = table()["limits"]
    for n, what in ((1, "one signal"), (2, "signal and supply sense"), (3, "A, B and supply sense")):
        worst = max(
            clamps.tap_ground_a(build, state=s, n_leads=n, lead_v=float(limits["tapped_normal_v"]))
            for s in clamps.STATES
        )
        name = f"tap ground, worst state, {what} at {limits['tapped_normal_v']:g} V"
        yield most("tapped leads", name, worst, "A", float(limits["tapped_a"]))


def _power(build: str) -> Iterator[Figure]:
    """Where a fault heats a resistor most: R1 with 35 V on its lead."""
    worst = max((float(f["volts"]) for f in table()["fault"]), key=abs)
    top = parts(build)["r_top"]
    amps = clamps.clamped(build, lead_v=worst, rail_v=float(table()["rail"]["nominal_v"])).lead_a
    rating_w = float(top.rating.split(" W")[0])
    yield most("heat", f"each R1, lead at {worst:g} V", amps**2 * top.each, "W", rating_w)
    burden = parts(build).get("burden")
    if burden:
        rating_w = float(burden.rating.split(" W")[0])
        yield most("heat", f"R5, lead at {worst:g} V", worst**2 / burden.value, "W", rating_w)
