"""How true closed and open volts are after each kind of calibration, and how often the stated interval holds the truth.

    python -m tests.benchmarks.accuracy_bench [--twins 2000] [--processes 2] [--first-seed 0] [--population DIR]

Each twin is one rig (its own converter, divider, buffers, reference), one meter of each class, one sensor and one
sweep some days later: the reference has moved within what the calibration allows, and in one of ten by another mode of
the regulator, which the sweep knows. Truth is the twin's own, at the sensor, as loaded. With --population every other
rig has a converter drawn by somebody else's model (even seeds: the odd ones are kept to be reported once); its rows
stand beside those of the twin's own.
"""

from __future__ import annotations

import argparse
import csv
import multiprocessing
import time
from collections.abc import Iterator
from dataclasses import astuple, dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from tests.benchmarks.operating_bench import population_converter
from tests.support.bench_meter import BenchMeter, calibration_points
from tests.support.exact import clopper_pearson

from sweepboard import wire
from sweeprig.analysis.analyse import analyse
from sweeprig.analysis.ends import find_end
from sweeprig.analysis.model import Rest
from sweeprig.calibration.codes import CODES
from sweeprig.calibration.density import density_linearity, ramp_density
from sweeprig.calibration.fit import CalibrationPoint, fit_channel, meter_covariance
from sweeprig.calibration.model import BudgetLine, Calibration, ChannelCalibration, Meter
from sweeprig.calibration.monitor import fit_monitor, monitor_volts
from sweeprig.calibration.ramp import fit_after_ramp
from sweeprig.calibration.uncertainty import combine
from sweeprig.calibration.volts import channel_volts, to_trace, without_carry_over
from sweeprig.capture.model import Channel
from sweeprig.frontend import FrontEnd, front_end
from sweeprig.frontend.tables import table
from sweeprig.judge.budget import calibration_lines
from sweeprig.judge.rig import Rig
from sweeprig.twin.capture import Played, play
from sweeprig.twin.hands import Hand
from sweeprig.twin.sensors import SensorSpec, stiff
from sweeprig.twin.world import World
from sweeprig.words import Sense

METERS = {
    "0.05 % + 3": Meter(percent_of_reading=0.05, counts=3, count_v=1e-4),
    "0.1 % + 2": Meter(percent_of_reading=0.1, counts=2, count_v=1e-3),
    "0.5 % + 2": Meter(percent_of_reading=0.5, counts=2, count_v=1e-2),
}
BEST = "0.05 % + 3"
RIGS = (
    ("full", "rp2040"),
    ("full", "rp2040"),
    ("full", "rp2350"),
    ("full", "rp2040-odd"),
    ("plain", "rp2040"),
)
POINTS_V = (0.3, 1.4, 2.5, 3.6, 4.7)
MONITOR_V = np.linspace(0.25, 4.75, 24)
LIMITS_MV = {
    ("rp2040", "full", "straight line", BEST): 10.0,
    ("rp2040", "full", "line, steps out", BEST): 3.0,
    ("rp2040", "full", "line and bend", BEST): 3.0,
    ("rp2040", "full", "ramp", BEST): 3.0,
    ("rp2040", "full", "monitor", BEST): 3.0,
    ("rp2350", "full", "line, steps out", BEST): 6.0,
}
THEIRS = ("rp2040", "rp2350")  # chips of which the population has converters
CALIBRATION_C = 25.0
RULES = 0.5  # share of the variance from which one rectangular term is said to rule


@dataclass(frozen=True)
class Reported:
    """One reported voltage of one twin under one calibration."""

    chip: str
    build: str
    method: str
    meter: str
    end: str
    error_v: float
    u95_v: float
    ruled: bool  # one rectangular term makes most of the variance
    moved: (
        bool  # another mode of the regulator than at the calibration: outside of the calibration's conditions
    )


def _sensor(rng: np.random.Generator) -> SensorSpec:
    hall = rng.random() < 0.2
    return SensorSpec(
        name="drawn", title="Drawn for this benchmark", kind="hall" if hall else "potentiometer",
        closed_v=float(rng.uniform(0.35, 0.95)), open_v=float(rng.uniform(3.8, 4.75)),
        track_ohm=float(np.exp(rng.uniform(np.log(1e3), np.log(1e4)))),
        hand=Hand(starts="closed", first_rest_s=(0.4, 0.5), stroke_s=(0.4, 0.5), rest_s=(0.3, 0.4), strokes=4),
    )  # fmt: skip


def _later(rng: np.random.Generator) -> tuple[float, float, str]:
    """Return (shift of the reference, temperature, regulator mode) of the day of the sweep."""
    kelvin = float(rng.uniform(-8, 8))
    age = float(table()["adc"]["vref_age"])
    shift = rng.uniform(-2e-4, 2e-4) + rng.uniform(-1, 1) * 5e-5 * abs(kelvin) + rng.uniform(-age, age)
    other = rng.random() < 0.1
    return (
        float(shift + (rng.uniform(-1e-3, 1e-3) if other else 0.0)),
        CALIBRATION_C + kelvin,
        "psm" if other else "pwm",
    )


def _ramp(world: World, rng: np.random.Generator) -> np.ndarray:
    """Return counts of codes of 0.6 million conversions under a straight ramp, the converter's noise on it."""
    top = CODES * 1.03
    u = np.linspace(-30.0, top, 600_000) + rng.normal(0.0, world.converter.noise_lsb, 600_000)
    return np.bincount(world.converter.codes(u), minlength=CODES)


def _monitor_points(world: World, seed: int) -> tuple[np.ndarray, list[CalibrationPoint]]:
    """Return the monitor's node volts and the codes (readings to be filled in) at each of MONITOR_V."""
    nodes, points = [], []
    for k, v in enumerate(MONITOR_V):
        there = world.like(stiff(float(v)), seed=seed * 64 + k, hum_v=0.0)
        codes = there.raw(20, world.outputs).reshape(-1, wire.CHANNELS)[:, 0]
        points.append(CalibrationPoint(float(codes.mean()), 0.0, float(codes.std() / np.sqrt(codes.size))))
        nodes.append(_node(there))
    return np.array(nodes), points


def _node(there: World) -> float:
    seen = [r[2] for _ in range(4) for r in there.readings(there.outputs) if r[0] == wire.SLOW_SIGNAL_A]
    return float(np.mean(seen)) / 1e6


def _nodes(world: World, volts: tuple[float, ...], seed: int) -> np.ndarray:
    return np.array([_node(world.like(stiff(v), seed=seed * 64 + k, hum_v=0.0)) for k, v in enumerate(volts)])


def _calibrations(world: World, seed: int, chip: str) -> Iterator[tuple[str, str, ChannelCalibration]]:
    rng = np.random.default_rng([seed, 7])
    codes = [
        p
        for p in calibration_points(world, POINTS_V, meter=METERS[BEST], seed=seed, seconds=0.05)
        if p.channel == 0
    ]
    density = ramp_density(_ramp(world, rng))
    for name, kind in METERS.items():
        shown = BenchMeter(kind, seed=seed)
        points = tuple(
            CalibrationPoint(p.code, shown.read(p.true_v), p.code_sd / np.sqrt(p.n_windows)) for p in codes
        )
        readings = np.array([p.reading_v for p in points])
        cov = meter_covariance(readings, kind)
        yield "line, steps out", name, fit_channel(0, points, cov_v=cov, chip=chip, bend=False)
        yield "line and bend", name, fit_channel(0, points, cov_v=cov, chip=chip)
        if name != BEST:
            continue
        yield (
            "straight line",
            name,
            fit_channel(0, points, cov_v=cov, chip=chip, wide_removed=False, bend=False),
        )
        yield "ramp", name, fit_after_ramp(0, points, cov_v=cov, linearity=density_linearity(density))
        if not world.front_end.has_monitor:
            continue
        own = fit_monitor(_nodes(world, POINTS_V, seed + 1), readings, cov_v=cov)
        nodes, many = _monitor_points(world, seed + 2)
        volts, cov_m = monitor_volts(nodes, own, n_readings=4)
        many = [replace(p, reading_v=float(v)) for p, v in zip(many, volts, strict=True)]
        yield "monitor", name, fit_channel(0, tuple(many), cov_v=cov_m, chip=chip)


def _channel(played: Played, own: ChannelCalibration, number: int) -> Channel:
    r = played.capture.records
    return channel_volts(
        r.sums[:, number], r.mins[:, number], r.maxs[:, number], window=wire.WINDOW, calibration=own
    )


def _ends(
    played: Played, own: ChannelCalibration, end_of_rig: FrontEnd, supply: Channel, rests: tuple[Rest, ...]
) -> dict[str, tuple[float, float, float]]:
    """Return (level, u, dof) of both ends from signal A as to_trace gives it."""
    lsb_v, a = end_of_rig.lsb_v, _channel(played, own, 0)
    kept = without_carry_over([a, a, supply], front_end=end_of_rig, conversion_hz=float(wire.CONVERSION_HZ))
    path = kept[0].mean_v
    out = {}
    for place, end in (("low", "closed"), ("high", "open")):
        found = find_end(path, np.ones(path.size, bool), rests, place=place, lsb_v=lsb_v, supply=None)
        if found is not None:
            out[end] = (found.value_v, found.u_v, found.dof)
    return out


def one(seed: int, population: Path | None = None) -> list[Reported]:
    """Return the rows of one twin."""
    build, chip = RIGS[seed % len(RIGS)]
    theirs = population is not None and chip in THEIRS and seed // len(RIGS) % 2 == 1
    rng = np.random.default_rng([seed, 1])
    shift, temperature, mode = _later(rng)
    rig: dict[str, Any] = {"build": build, "chip": chip, "rig_seed": seed + 1}
    if theirs and population is not None:
        rig["converter"] = population_converter(population, chip, 2 * seed)
    played = play(_sensor(rng), seed=seed, seconds=4.0, vref_shift=shift, temperature_c=temperature, **rig)
    end, facts = front_end(build), chip.removesuffix("-odd")
    on_calibration_day = World("good", seed=seed, pooled_noise=True, **rig)
    rows: list[Reported] = []
    rests: tuple[Rest, ...] | None = None
    truth = {"closed": played.truth.closed_v, "open": played.truth.open_v}
    for method, meter, own in _calibrations(on_calibration_day, seed, facts):
        calibration = Calibration(
            "line", "x", build, facts, (own,) * 3, meter=METERS[meter], temperature_c=CALIBRATION_C, smps_mode="pwm",
            reference="monitor" if method == "monitor" else "meter",
        )  # fmt: skip
        if rests is None:
            trace = to_trace(played.capture, calibration=calibration, front_end=end)
            found = analyse(trace, starts=played.capture.setup.starts, given_sense=Sense.RISING)
            rests, supply = found.rests, _channel(played, own, 2)
        today = Rig(calibration, end, temperature, mode)
        label = f"{chip} theirs" if theirs else chip
        for name, found in _ends(played, own, end, supply, rests).items():
            row = _reported((label, build, method, meter, name), found, truth[name], today)
            rows.append(replace(row, moved=mode != "pwm"))
    return rows


def _reported(
    key: tuple[str, str, str, str, str], found: tuple[float, float, float], true_v: float, rig: Rig
) -> Reported:
    value, u, dof = found
    lines = calibration_lines(value, channel=0, rig=rig)
    budget = combine((BudgetLine("scatter of the reading", "A", "t", u, "V", 1.0, dof), *lines))
    flat = [b.contribution for b in budget.lines if b.distribution == "rectangular"]
    if key[2] == "straight line":  # known steps left in are no normal contribution either
        flat.append(next(b.contribution for b in budget.lines if b.name.startswith("linearity")))
    ruled = max(flat) ** 2 > RULES * budget.u**2
    return Reported(*key, value - true_v, budget.u95, ruled, False)


def report(rows: list[Reported]) -> None:
    """Print a line for each chip, build, method, meter and end."""
    print(f"{'chip':15}{'build':7}{'method':17}{'meter':12}{'end':8}{'n':>5}{'95 % error':>12}{'same mode':>11}"
          f"{'U95':>9}{'covered':>9}  95 % bounds     one term rules   wanted")  # fmt: skip
    for key in sorted({(r.chip, r.build, r.method, r.meter, r.end) for r in rows}):
        some = [r for r in rows if (r.chip, r.build, r.method, r.meter, r.end) == key]
        print(
            "".join(f"{word:{wide}}" for word, wide in zip(key, (15, 7, 17, 12, 8), strict=True)) + _row(some)
        )


def _row(some: list[Reported]) -> str:
    error = _largest([r.error_v for r in some])
    same = _largest([r.error_v for r in some if not r.moved])
    inside = sum(abs(r.error_v) <= r.u95_v for r in some)
    low, high = clopper_pearson(inside, len(some))
    u95, ruled = (
        1e3 * float(np.median([r.u95_v for r in some])),
        100 * float(np.mean([r.ruled for r in some])),
    )
    limit = LIMITS_MV.get((some[0].chip, some[0].build, some[0].method, some[0].meter))
    return (f"{len(some):5}{error:9.2f} mV{same:8.2f} mV{u95:6.2f} mV{100 * inside / len(some):7.1f} %"
            f"  {100 * low:5.1f}..{100 * high:5.1f} %{ruled:10.0f} %      {_said(limit, error, same)}")  # fmt: skip


def _largest(errors_v: list[float]) -> float:
    """Return what 95 % of the errors are within [mV]."""
    return 1e3 * float(np.quantile(np.abs(errors_v), 0.95)) if errors_v else float("nan")


def _said(limit: float | None, error: float, same: float) -> str:
    if limit is None:
        return ""
    met = "met" if error <= limit else "met in the same mode" if same <= limit else "NOT MET"
    return f"{limit:.0f} mV {met}"


def _append(file: Path, rows: list[Reported]) -> None:
    with file.open("a", newline="", encoding="utf-8") as out:
        csv.writer(out).writerows(astuple(r) for r in rows)


def _read(file: Path) -> list[Reported]:
    with file.open(newline="", encoding="utf-8") as rows:
        return [
            Reported(*r[:5], float(r[5]), float(r[6]), r[7] == "True", r[8] == "True")
            for r in csv.reader(rows)
        ]


def main() -> None:
    """Draw, measure, print."""
    ask = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ask.add_argument("--twins", type=int, default=2000)
    ask.add_argument("--processes", type=int, default=2)
    ask.add_argument("--first-seed", type=int, default=0)
    ask.add_argument(
        "--keep", type=Path, help="CSV to which rows are added as they come; all in it are printed"
    )
    ask.add_argument("--population", type=Path, help="folder of somebody else's population")
    told = ask.parse_args()
    began = time.monotonic()
    rows: list[Reported] = []
    with multiprocessing.Pool(told.processes) as pool:
        for found in pool.imap_unordered(
            partial(one, population=told.population), range(told.first_seed, told.first_seed + told.twins), 4
        ):
            rows += found
            if told.keep is not None:
                _append(told.keep, found)
    if told.keep is not None and told.keep.exists():
        rows = _read(told.keep)
    print(f"{told.twins} twins from seed {told.first_seed}, {time.monotonic() - began:.0f} s")
    report(rows)


if __name__ == "__main__":
    main()
