"""What rigs of each build say of a closed throttle on its limit, and how often their intervals hold the truth.

    python -m tests.benchmarks.operating_bench [--rigs 300] [--population DIR] [--only coverage|curve]

Each rig is drawn by the twin, part by part; its converter by the twin or, with --population, by somebody else (even
seeds only: the odd ones are kept to be reported once). It is calibrated at 25 C with five points and the best meter, or
never; some time later, at another temperature, with a reference that has drifted, it reads a sensor: settled levels
from the circuit, mean codes of the converter under its noise, volts by calibration, verdict by `judge`. No movement.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np
from scipy.special import ndtr
from tests.benchmarks.verdict_bench import U_REST_V, analysis_of, trace_of
from tests.support.bench_meter import BenchMeter
from tests.support.exact import clopper_pearson

from sweepboard import wire
from sweeprig.calibration.expected import expected_inverse
from sweeprig.calibration.fit import CalibrationPoint, fit_channel, meter_covariance
from sweeprig.calibration.model import Calibration, Meter
from sweeprig.calibration.nominal import nominal_calibration
from sweeprig.calibration.volts import without_carry_over
from sweeprig.capture.model import Channel, SweepSetup
from sweeprig.frontend import front_end
from sweeprig.frontend.tables import table
from sweeprig.judge.judge import Judgement, judge
from sweeprig.judge.model import Verdict
from sweeprig.judge.profile import load_profile
from sweeprig.judge.rig import Rig
from sweeprig.twin.capture import outputs_of
from sweeprig.twin.converter import Converter, converter_of, draw_converter
from sweeprig.twin.flow import pin_volts
from sweeprig.twin.sensors import stiff
from sweeprig.twin.sources import sources
from sweeprig.twin.world import World

METER = Meter(percent_of_reading=0.05, counts=3, count_v=1e-4)
POINTS_V = (0.2, 1.35, 2.5, 3.65, 4.8)  # what `sweeprig calibrate` asks for
BUILDS = (
    ("full", "rp2040", True), ("full", "rp2350", True), ("plain", "rp2040", True), ("plain", "rp2350", True),
    ("full", "rp2040", False), ("full", "rp2350", False), ("plain", "rp2040", False), ("plain", "rp2350", False),
)  # fmt: skip
LIMIT_V = 0.4
DISTANCES_MV = (-20, -10, -7, -5, -3, -2, -1, 0, 1, 2, 3, 5, 7, 10, 20)
RULER = replace(stiff(5.0), closed_v=0.0, own_supply_v=None)  # any voltage, hardly moved by what loads it
NOISE_LSB = 0.7  # of converters that come as tables
NEAR = 8.0  # standard deviations of noise beyond which a code surely comes or surely does not
QUANTITIES = ("closed_v", "open_v", "closed_ratio", "open_ratio")


@dataclass(frozen=True)
class Day:
    """What has changed since the calibration."""

    kelvin: float
    shift: float  # of the reference, relative
    mode: str


def a_day(rng: np.random.Generator, kelvin: float | None) -> Day:
    """Draw a day: within 8 K unless told, the reference settled, drifted and aged, one in ten in another mode."""
    warmer = float(rng.uniform(-8, 8)) if kelvin is None else kelvin
    age = float(table()["adc"]["vref_age"])
    shift = rng.uniform(-2e-4, 2e-4) + rng.uniform(-1, 1) * 5e-5 * abs(warmer) + rng.uniform(-age, age)
    other = rng.random() < 0.1
    return Day(warmer, float(shift + (rng.uniform(-1e-3, 1e-3) if other else 0.0)), "psm" if other else "pwm")


def codes_at(world: World, places: np.ndarray, outputs: int) -> list[np.ndarray]:
    """Return the mean codes (n,) of the three channels with the lever at places (n,)."""
    knots, nets = world.scene.still(places), world.networks(outputs)
    found = []
    for volts in pin_volts(world, nets, sources(world, knots, outputs)):
        u = np.clip(volts, *world.limits()) * world.lsb_per_v
        found.append(np.array([mean_code(x, world.converter) for x in u]))
    return found


def mean_code(u_lsb: float, converter: Converter) -> float:
    """Return the mean code of an input under the converter's normal noise."""
    near = NEAR * converter.noise_lsb
    first, last = np.searchsorted(converter.levels, (u_lsb - near, u_lsb + near))
    return float(first + ndtr((u_lsb - converter.levels[first:last]) / converter.noise_lsb).sum())


def calibration_of(world: World, chip: str, seed: int) -> Calibration:
    """Return the calibration that an operator makes with one meter of the kind."""
    shown, outputs = BenchMeter(METER, seed=seed), outputs_of(world, "powered")
    readings = np.array([shown.read(v) for v in POINTS_V])
    codes = np.array([codes_at(world.like(stiff(v), seed=seed), np.zeros(1), outputs) for v in POINTS_V])[
        :, :, 0
    ]
    cov = meter_covariance(readings, METER)
    noise = world.converter.noise_lsb
    channels = tuple(
        fit_channel(
            c,
            tuple(
                CalibrationPoint(float(k), float(r), 0.02, noise)
                for k, r in zip(codes[:, c], readings, strict=True)
            ),
            cov_v=cov, chip=chip,
        )
        for c in range(wire.CHANNELS)
    )  # fmt: skip
    build = world.front_end.build
    return Calibration("line", "x", build, chip, channels, meter=METER, temperature_c=25.0, smps_mode="pwm")


def volts_of(codes: list[np.ndarray], calibration: Calibration, noise_lsb: float) -> list[np.ndarray]:
    """Return the volts at the sensor (n,) of the three channels."""
    channels = []
    for own, code in zip(calibration.channels, codes, strict=True):
        at = (
            code
            if own.linearity is None
            else expected_inverse(code, np.full(code.size, noise_lsb), own.linearity)
        )
        volts = own.line.offset_v + own.line.gain_v * at
        channels.append(Channel(volts, volts, volts))
    end = front_end(calibration.build)
    return [
        c.mean_v for c in without_carry_over(channels, front_end=end, conversion_hz=float(wire.CONVERSION_HZ))
    ]


@dataclass(frozen=True)
class CheckContext:
    """One rig's look at levels of one sensor; the closed ones (n,) and one open."""

    true_v: np.ndarray
    read_v: np.ndarray
    rig: Rig
    supply_true_v: float
    supply_read_v: float

    def judged(self, i: int) -> Judgement:
        """Return the judgement of closed level i with the last level as the open one."""
        profile = load_profile("adjustable-potentiometer")
        low, high = float(self.read_v[i]), float(self.read_v[-1])
        return judge(
            analysis=analysis_of(low, high, self.supply_read_v),
            trace=replace(trace_of(self.supply_read_v), board_temperature_c=self.rig.temperature_c,
                          smps_mode=self.rig.smps_mode),
            setup=SweepSetup(track_ohm=5000.0),
            profile=replace(profile, limits=replace(profile.limits, open=None)),
            rig=self.rig,
            guard_factor=1.0,
        )  # fmt: skip


def look(world: World, calibration: Calibration, day: Day, wanted_v: np.ndarray, seed: int) -> CheckContext:
    """Read levels that are `wanted_v` (n,) at a supply of 5 V, on another day."""
    known = {"temperature_c": 25.0 + day.kelvin, "vref_shift": day.shift}
    there = world.like(RULER, seed=seed, **known)
    outputs, places = outputs_of(there, "powered"), wanted_v / 5.0
    drop = there.ground_drop_v(outputs)
    scatter = np.random.default_rng([seed, 5]).normal(0.0, U_REST_V, places.size)
    read = volts_of(codes_at(there, places, outputs), calibration, there.converter.noise_lsb)
    mode = day.mode if calibration.kind != "nominal" else ""
    rig = Rig(calibration, there.front_end, known["temperature_c"], mode)
    true_v = there.levels_v(places, outputs)[0] - drop
    return CheckContext(
        true_v, read[0] + scatter, rig, there.supply_v(outputs) - drop, float(np.median(read[2]))
    )


@dataclass(frozen=True)
class Kind:
    """Rigs of one kind."""

    drawn_by: str
    build: str
    chip: str
    calibrated: bool
    converters: list[Converter]

    @property
    def name(self) -> str:
        """What it is, in one row's beginning."""
        return (
            f"{self.drawn_by:11}{self.chip:8}{self.build:7}{'calibrated' if self.calibrated else 'never':12}"
        )

    def rigs(self) -> Iterator[tuple[World, Calibration, int]]:
        """Yield rigs with their calibrations; each has one of the converters."""
        for seed, converter in enumerate(self.converters):
            world = World(RULER, seed=seed, build=self.build, chip=self.chip, converter=converter)
            never = nominal_calibration({"build": self.build, "chip": self.chip})
            yield world, calibration_of(world, self.chip, seed) if self.calibrated else never, seed


def coverage(kind: Kind, kelvin: float | None) -> None:
    """Print how often the intervals of both ends hold the truth."""
    held: dict[str, list[bool]] = {q: [] for q in QUANTITIES}
    u: dict[str, list[float]] = {q: [] for q in QUANTITIES}
    for world, calibration, seed in kind.rigs():
        rng = np.random.default_rng([seed, 11])
        wanted = np.array([rng.uniform(0.35, 0.95), rng.uniform(3.8, 4.75)])
        seen = look(world, calibration, a_day(rng, kelvin), wanted, seed)
        found = seen.judged(0).quantities
        truth = dict(zip(QUANTITIES, (*seen.true_v, *(seen.true_v / seen.supply_true_v)), strict=True))
        for q in QUANTITIES:
            value, half = found[q].value, found[q].u95
            if value is not None and half is not None:
                held[q].append(abs(value - truth[q]) <= half)
                u[q].append(half)
    row = f"{kind.name}{'+15 K' if kelvin else 'a day':7}"
    for q in QUANTITIES:
        low, high = clopper_pearson(sum(held[q]), len(held[q]))
        row += f"{100 * np.mean(held[q]):7.1f} [{100 * low:4.1f}, {100 * high:5.1f}] U {1e3 * np.median(u[q]):6.2f}"
    print(row, flush=True)


def curve(kind: Kind) -> None:
    """Print pass and fail, in per cent, at each distance of the true level from the limit, inside positive."""
    counts = {d: Counter[Verdict]() for d in DISTANCES_MV}
    for world, calibration, seed in kind.rigs():
        rng = np.random.default_rng([seed, 13])
        wanted = np.array([*(LIMIT_V + d / 1e3 for d in DISTANCES_MV), 4.3])
        seen = look(world, calibration, a_day(rng, None), wanted, seed)
        for i, d in enumerate(DISTANCES_MV):
            check = next(c for c in seen.judged(i).checks if c.name == "closed")
            counts[d][check.verdict] += 1
    for verdict in (Verdict.PASS, Verdict.UNDECIDED, Verdict.FAIL):
        cells = "".join(f"{100 * counts[d][verdict] / len(kind.converters):7.1f}" for d in DISTANCES_MV)
        print(f"{kind.name}{verdict:10}{cells}", flush=True)


@lru_cache(maxsize=4)
def of_twin(chip: str, n: int) -> list[Converter]:
    """Return converters that the twin draws."""
    return [draw_converter(chip, np.random.default_rng([k, 19])) for k in range(n)]


@lru_cache(maxsize=4)
def of_population(folder: Path, chip: str, n: int) -> list[Converter]:
    """Return converters of the population in `folder`, of even seeds."""
    return [population_converter(folder, chip, 2 * k) for k in range(n)]


def population_converter(folder: Path, chip: str, seed: int) -> Converter:
    """Return one converter of a population drawn elsewhere (its package is `folder`), as the simulated rig takes it."""
    if str(folder.parent) not in sys.path:
        sys.path.insert(0, str(folder.parent))
    import population

    case = population.draw(f"converter-{chip}-full", seed)
    levels = np.maximum.accumulate(np.asarray(case.transfer, np.float64)[1:] / case.vref_v * wire.CODES)
    return converter_of(levels, NOISE_LSB)


def main() -> None:
    """Draw, calibrate, read, judge, print."""
    ask = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ask.add_argument("--rigs", type=int, default=300)
    ask.add_argument("--population", type=Path)
    ask.add_argument("--theirs", type=int, default=60, help="rigs with converters of the population")
    ask.add_argument("--only", choices=("coverage", "curve"))
    told = ask.parse_args()
    kinds = []
    for build, chip, calibrated in BUILDS:
        kinds.append(Kind("twin's", build, chip, calibrated, of_twin(chip, told.rigs)))
        if told.population:
            theirs = of_population(told.population, chip, told.theirs)
            kinds.append(Kind("outsider's", build, chip, calibrated, theirs))
    if told.only != "curve":
        print(
            "Held by the interval, % [exact 95 % bounds], median U in mV or thousandths: "
            + ", ".join(QUANTITIES)
        )
        for kind in (k for k in kinds if k.converters):
            coverage(kind, None)
            coverage(kind, 15.0)
    if told.only != "coverage":
        print(f"\nTrue closed throttle less the limit of {LIMIT_V} V, in mV, and the share of verdicts, %")
        print(" " * 48 + "".join(f"{d:+7}" for d in DISTANCES_MV))
        for kind in (k for k in kinds if k.converters):
            curve(kind)


if __name__ == "__main__":
    main()
