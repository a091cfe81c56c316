"""Rigs as they come off the bench: parts within tolerance, a day's temperature, somebody's meter; and wrong ones.

Arrays have shape (n,), one entry a rig. A part left out is a resistance of OPEN_OHM, a bridge one of BRIDGE_OHM;
a diode the wrong way round is `flipped`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from hardware.clamps import shunt_v
from sweeprig.frontend.tables import Part, parts, table

FloatArray = NDArray[np.float64]

OPEN_OHM = 1e9
BRIDGE_OHM = 0.1
BOLTZMANN_OVER_Q = 8.617e-5  # V/K
# What a day and a drawer bring. Common practice, no source, but where one is named.
TEMPERATURE_C = (15.0, 35.0)
METER_GAIN = 0.01
METER_OHM = (9e6, 11e6)
METER_A = {
    "ohm": (50e-6, 500e-6),
    "kilohm": (5e-6, 60e-6),
    "hundred": (1e-6, 12e-6),
    "megohm": (0.2e-6, 2e-6),
    "diode": (0.3e-3, 1.5e-3),
}
DIODE_OPEN_V = 2.0  # what a diode range shows as open
USB_V = (4.40, 5.25)
RAIL_TOL = 0.02  # of the board's 3.3 V regulator, from memory
BOARD_OHM = (1.5e3, 20e3)  # of an unpowered board from VBUS and from 3.3 V to ground
LOT = {
    "d_block": (0.1, 10.0),
    "clamp": (0.3, 10.0),
    "d_bias": (0.1, 10.0),
}  # saturation current over the table's
PAD_LEAK_A = 50e-9  # usual, either sign; the data sheet allows 1 uA


@dataclass
class Rigs:
    """Many rigs of one build, each with the temperature and the meter of its day."""

    build: str
    p: Mapping[str, Part]
    v: dict[str, FloatArray]  # value by part key, and by the names of `_day`
    flipped: set[str] = field(default_factory=set)
    missing: set[str] = field(default_factory=set)

    @property
    def n(self) -> int:
        """How many."""
        return int(self.v["celsius"].size)

    @property
    def thermal_v(self) -> FloatArray:
        """kT/q [V]."""
        return BOLTZMANN_OVER_Q * (273.15 + self.v["celsius"])

    def meter_a(self, kind: str) -> FloatArray:
        """Test current of the meter in a range [A]."""
        low, high = METER_A[kind]
        return np.asarray(low * (high / low) ** self.v["meter_share"])

    def saturation_a(self, key: str) -> FloatArray:
        """Saturation current of a diode [A] at the day's temperature: its lot, doubling every 10 K."""
        base = self.p[key if key != "d_bias" else "clamp"].more["saturation_a"]
        doublings = (self.v["celsius"] - 25.0) / float(table()["temperature"]["leakage_doubles_k"])
        return np.asarray(base * self.v[f"lot {key}"] * 2.0**doublings)


def right(build: str, *, n: int, seed: int) -> Rigs:
    """Draw n rigs that are built right: every part evenly within its tolerance."""
    rng = np.random.default_rng([seed, len(build)])
    v: dict[str, FloatArray] = {}
    listed = parts(build)
    for key, p in listed.items():
        v[key] = p.value * (1 + p.tol * rng.uniform(-1, 1, n))
    return Rigs(build, listed, v | _day(n, rng))


def _day(n: int, rng: np.random.Generator) -> dict[str, FloatArray]:
    low, high = (np.log(x) for x in BOARD_OHM)
    day = {
        "celsius": rng.uniform(*TEMPERATURE_C, n),
        "meter_gain": 1 + METER_GAIN * rng.uniform(-1, 1, n),
        "meter_ohm": rng.uniform(*METER_OHM, n),
        "meter_share": rng.uniform(0, 1, n),
        "usb": rng.uniform(*USB_V, n),
        "rail": float(table()["rail"]["nominal_v"]) * (1 + RAIL_TOL * rng.uniform(-1, 1, n)),
        "board_ohm": np.exp(rng.uniform(low, high, n)),
        "vbus_ohm": np.exp(rng.uniform(low, high, n)),
        "pad_leak": PAD_LEAK_A * rng.uniform(-1, 1, n),
        "shunt_bridge": np.full(n, OPEN_OHM),
        "vbus_bridge": np.full(n, OPEN_OHM),
        "lead_bridge": np.full(n, OPEN_OHM),
        "shunt_low": np.full(n, shunt_v()[0]),
        "fuse_ground ohm": rng.uniform(4.0, 20.0, n),  # of a 50 mA resettable fuse, from memory
        "link_ohm": np.full(n, OPEN_OHM),  # of Q4, gate at 0 V
        "drop": rng.uniform(0.05, 0.20, n),  # Q1 saturated at a fraction of a milliampere
        "base_emitter": rng.uniform(0.55, 0.75, n),
    }
    for key, (least, most) in LOT.items():
        day[f"lot {key}"] = np.exp(rng.uniform(np.log(least), np.log(most), n))
    return day


Wrong = Callable[[Rigs], None]


def _value(key: str, ohm: float) -> Wrong:
    def change(rigs: Rigs) -> None:
        rigs.v[key] = np.full(rigs.n, ohm)

    return change


def _times(key: str, factor: float) -> Wrong:
    def change(rigs: Rigs) -> None:
        rigs.v[key] = rigs.v[key] * factor

    return change


def _flip(key: str) -> Wrong:
    return lambda rigs: rigs.flipped.add(key)


def _leave_out(key: str) -> Wrong:
    return lambda rigs: rigs.missing.add(key)


def _swap(one: str, other: str) -> Wrong:
    def change(rigs: Rigs) -> None:
        rigs.v[one], rigs.v[other] = rigs.v[other], rigs.v[one]

    return change


# (what was done wrong, the reference that must be named, how)
BOTH: tuple[tuple[str, str, Wrong], ...] = (
    ("bridge from VBUS to ground", "bridge", _value("vbus_bridge", BRIDGE_OHM)),
    ("bridge from the supply lead to ground", "C3", _value("lead_bridge", BRIDGE_OHM)),
    ("D5 the wrong way round", "D5", _flip("d_block")),
    ("D1 the wrong way round", "D1", _flip("clamp")),
    ("R1 ten times too small", "R1", _times("r_top", 0.1)),
    ("R1 ten times too large", "R1", _times("r_top", 10)),
    ("R2 ten times too small", "R2", _times("r_bottom", 0.1)),
    ("R2 left out", "R2", _value("r_bottom", OPEN_OHM)),
    ("R1 and R2 exchanged", "R1", _swap("r_top", "r_bottom")),
    ("R20 and R21 exchanged", "R20", _swap("r_shunt_top", "r_shunt_bottom")),
    ("R20 left out", "R20", _value("r_shunt_top", OPEN_OHM)),
    ("R21 left out", "R21", _value("r_shunt_bottom", OPEN_OHM)),
    ("U1 the wrong way round", "U1", _flip("shunt")),
    ("R22 left out", "R22", _value("r_run_top", OPEN_OHM)),
    ("R23 left out", "R23", _value("r_run_bottom", OPEN_OHM)),
    ("R36 left out", "R36", _value("r_on_pull", OPEN_OHM)),
    ("R36 ten times too small", "R36", _times("r_on_pull", 0.1)),
    ("R30 ten times too large", "R30", _times("r_limit", 10)),
    ("R30 bridged", "R30", _value("r_limit", BRIDGE_OHM)),
    ("Q2 left out", "Q2", _leave_out("q_limit")),
    ("Q3 left out", "Q3", _leave_out("q_flag")),
    ("R32 left out", "R32", _value("r_flag_top", OPEN_OHM)),
    ("R33 left out", "R33", _value("r_flag_bottom", OPEN_OHM)),
    ("R34 left out", "R34", _value("r_pass_base", OPEN_OHM)),
    ("Q4 shorted from drain to source", "Q4", _value("link_ohm", BRIDGE_OHM)),
)
MORE: tuple[tuple[str, str, Wrong], ...] = (
    ("F2 left out", "F2", _value("fuse_ground ohm", OPEN_OHM)),
    ("R61 and R62 exchanged", "R61", _swap("r_boost_top", "r_boost_bottom")),
    ("R62 left out", "R62", _value("r_boost_bottom", OPEN_OHM)),
    ("R63 and R64 of 1 and 10 kohm", "R63", _times("r_feedback_top", 0.1)),
    ("R64 left out", "R64", _value("r_feedback_bottom", OPEN_OHM)),
    ("U7 the wrong way round", "U7", _flip("reference")),
    ("R66 left out", "R66", _value("r_reference", OPEN_OHM)),
    ("R5 ten times too small", "R5", _times("burden", 0.1)),
    ("Q5 left out", "Q5", _leave_out("q_burden")),
    ("D3 of bias up the wrong way round", "D3", _flip("d_bias up")),
    ("D3 of bias down the wrong way round", "D3", _flip("d_bias down")),
    ("R7 ten times too small", "R7", _times("bias", 0.1)),
    ("R8 left out", "R8", _value("r_ground_sense", OPEN_OHM)),
    ("R9 left out", "R9", _value("r_ground_lift", OPEN_OHM)),
    ("R10 of 47 kohm each", "R10", _times("r_battery_top", 0.1)),
    ("R11 left out", "R11", _value("r_battery_bottom", OPEN_OHM)),
)


def wrongs(build: str) -> tuple[tuple[str, str, Wrong], ...]:
    """Return what can be done wrong on a build: (what, reference that must be named, how)."""
    return BOTH if build == "plain" else BOTH + MORE


def wrong(build: str, change: Wrong, *, n: int, seed: int) -> Rigs:
    """Draw n rigs with one thing wrong."""
    rigs = right(build, n=n, seed=seed)
    change(rigs)
    return rigs
