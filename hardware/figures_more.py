"""More figures of a build: decoupling, a board without USB, the battery lead, gates."""

from __future__ import annotations

from collections.abc import Iterator

from hardware import battery, clamps, decoupling, quality, stress
from hardware.figure import Figure, least, most
from sweeprig.frontend import front_end
from sweeprig.frontend.tables import parts, table


def more_figures(build: str) -> Iterator[Figure]:
    """Return decoupling, unpowered board, gates and, where there is one, the battery lead."""
    yield from _decoupling(build)
    yield from _unpowered(build)
    yield from _gates(build)
    yield from _quality(build)
    if "suppressor_battery" in parts(build):
        yield from _battery()
    if "motor" in parts(build):
        yield from _drive(build)


def _decoupling(build: str) -> Iterator[Figure]:
    group, d = "decoupling", table()["decoupling"]
    if front_end(build).buffered:
        name = "dip of an op-amp's supply, 10 mA in 20 ns behind 20 cm of wire"
        yield most(group, name, decoupling.dip_v(build), "V", float(d["dip_v"]))
    codes = decoupling.vref_ripple_lsb(build)
    name = "the regulator's ripple in a reading at full scale, codes"
    yield most(group, name, codes, "", float(d["vref_lsb"]))


def _unpowered(build: str) -> Iterator[Figure]:
    """What leads do to a board without USB: the rail they lift, that its chip stays in reset, what they lose."""
    group, low = "USB off", float(table()["board"]["run_low_v"])
    for volts in (5.0, 12.0, 35.0):
        rail = clamps.unpowered_rail_v(build, lead_v=volts)
        yield Figure(group, f"3.3 V rail, three leads at {volts:g} V", rail, "V")
        held = clamps.run_pin_v(rail_v=rail, usb_v=None)
        yield most(group, f"RUN, three leads at {volts:g} V: in reset", held, "V", low)
        amps = clamps.clamped(build, lead_v=volts, rail_v=rail).lead_a
        yield Figure(group, f"taken from each of three leads at {volts:g} V", amps, "A")
    p = parts(build)
    other = p["clamp"].more["leakage_a"] * p["r_bottom"].value
    yield most(group, "at an open lead beside them, 25 C", other, "V", 0.05)
    rail_table = table()["rail"]
    on = clamps.run_pin_v(rail_v=0.0, usb_v=float(rail_table["usb_min_v"]))
    yield least(group, "RUN with USB on, lowest", on, "V", float(table()["board"]["run_high_v"]))
    high = clamps.run_pin_v(rail_v=rail_table["nominal_v"], usb_v=float(rail_table["usb_max_v"]))
    yield most(group, "RUN with USB on, highest", high, "V", float(rail_table["nominal_v"]))


def _gates(build: str) -> Iterator[Figure]:
    for part in parts(build).values():
        if "gate_v" in part.more:
            rail = float(table()["rail"]["nominal_v"])
            name = f"{part.ref}: gate voltage at which its resistance is promised"
            yield most("switches", name, part.more["gate_v"], "V", 0.9 * rail)


def _quality(build: str) -> Iterator[Figure]:
    """How well it measures behind 2 m of cable and a track of 10 kohm; codes are those of the board's converter."""
    group, end, hz = (
        "quality, 2 m of cable and a 10 kohm track",
        front_end(build),
        float(table()["board"]["ripple_hz"]),
    )
    yield Figure(group, "settling of a full step to half a code", quality.settling_s(build), "s")
    yield Figure(
        group, "noise of resistors and op-amp, rms codes", quality.lsb(end, quality.noise_v(build)), ""
    )
    name = "the regulator's ripple through the clamp, at light load and without PWM mode, codes peak to peak"
    yield Figure(group, name, quality.lsb(end, quality.ripple_v(build, hz=hz)), "")
    name = "a reading while the channel before it goes from 0 to 5 V, at most, codes (a sweep takes its mean out)"
    yield Figure(group, name, quality.lsb(end, quality.crosstalk_v(build)), "")


def _battery() -> Iterator[Figure]:
    group = "battery lead"
    yield least(group, "full scale", battery.full_scale_v(), "V", 36.0)
    for s in battery.stresses():
        unit, at = ("W", f"{s.name}, {s.volts:g} V") if s.long else ("J", f"{s.name}, {s.volts:g} V")
        yield Figure(group, f"{at}: current in the lead", s.lead_a, "A")
        yield most(group, f"{at}: R13", s.r13, unit, battery.r13_limit(long=s.long))
        yield most(group, f"{at}: D8", s.d8, unit, battery.d8_limit(long=s.long))


def _drive(build: str) -> Iterator[Figure]:
    group, p, at = "drive", parts(build), stress.worst(build)
    amps, ohm = p["motor"].more["phase_a"], p["motor"].more["phase_ohm"] + p["driver"].more["switch_ohm"]
    supply = p["motor_supply"]
    yield most(group, "A1's limit, per phase", amps, "A", stress.stress(at, p["driver"]).left)
    yield most(group, "volts that a phase needs at rest", amps * ohm, "V", supply.value * (1 - supply.tol))
    fuse = stress.stress(at, p["fuse_motor"])
    yield most(group, "taken from PS1 at rest", fuse.most, "A", min(fuse.left, supply.more["supply_a"]))
    yield Figure(group, "heat in A1", amps**2 * p["driver"].more["switch_ohm"], "W")
