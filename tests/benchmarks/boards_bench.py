"""How well calibrations do on converters that are given as tables, drawn by the twin, or drawn by somebody else.

    python -m tests.benchmarks.boards_bench TABLE.csv ... [--chip rp2350] [--draws 200]
    python -m tests.benchmarks.boards_bench --twin 40
    python -m tests.benchmarks.boards_bench --population DIR [--boards 40]

Tables are those of sim://...?converter=FILE (docs/reference/twins.md), a row a folder. Calibrations with 5 and
12 points by each meter, every calibration by another meter of its kind; how many were refused, how many said that the
converter departs more than usual, and how often the interval of a level at closed throttle, at open and anywhere held
the truth. No circuit, no reference that drifts: only meter and converter.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from scipy.special import ndtr
from tests.support.bench_meter import BenchMeter

from sweeprig.calibration.drift import AGEING, DIVIDER, GROUND_LEAD, LEAKAGE
from sweeprig.calibration.expected import expected_inverse
from sweeprig.calibration.fit import CalibrationPoint, fit_channel, meter_covariance, prepare
from sweeprig.calibration.mistakes import refuse_mistakes
from sweeprig.calibration.model import Calibration, ChannelCalibration, Meter
from sweeprig.calibration.nominal import nominal_calibration
from sweeprig.calibration.uncertainty import SINCE_CALIBRATION, combine
from sweeprig.errors import CalibrationError
from sweeprig.frontend import front_end
from sweeprig.judge.budget import MEMORY, calibration_lines
from sweeprig.judge.rig import Rig
from sweeprig.twin.converter import draw_converter

METERS = {
    "0.05 % + 3": Meter(percent_of_reading=0.05, counts=3, count_v=1e-4),
    "0.1 % + 2": Meter(percent_of_reading=0.1, counts=2, count_v=1e-3),
}
ELSEWHERE = (
    *SINCE_CALIBRATION,
    MEMORY,
    DIVIDER,
    LEAKAGE,
    GROUND_LEAD,
    AGEING,
)  # of the budget: not of meter and converter
POINTS = (5, 12)
RANGES_V = {"closed": (0.3, 0.95), "open": (3.5, 4.75), "any": (0.3, 4.7)}
NOISE_LSB = 0.6
LEVELS = 10  # looked at in each range


@dataclass(frozen=True)
class Board:
    """One converter: the input at which codes 1 to 4095 begin, in volts at the sensor."""

    name: str
    chip: str
    begins_v: np.ndarray

    def mean_codes(self, volts: np.ndarray, noise_v: float) -> np.ndarray:
        """Return the mean code of inputs under normal noise."""
        return np.array([ndtr((v - self.begins_v) / noise_v).sum() for v in volts])


def one_calibration(board: Board, n: int, kind: Meter, seed: int) -> ChannelCalibration | None:
    """Return a calibration as `sweeprig calibrate` makes it, None where it is refused."""
    rng = np.random.default_rng([seed, n])
    volts = np.linspace(0.2, 4.75, n) + rng.uniform(-0.1, 0.05, n)
    lsb_v = front_end("full").lsb_v
    shown = BenchMeter(kind, seed=seed)
    codes = board.mean_codes(volts, NOISE_LSB * lsb_v)
    points = tuple(
        CalibrationPoint(float(c), shown.read(float(v)), 0.02, NOISE_LSB)
        for c, v in zip(codes, volts, strict=True)
    )
    cov = meter_covariance(np.array([p.reading_v for p in points]), kind)
    nominal = nominal_calibration({"build": "full", "chip": board.chip}).channels[0]
    ready = prepare(points, cov_v=cov, linearity=nominal.linearity)
    try:
        refuse_mistakes(ready, nominal=nominal, chip=board.chip, typed=points)
    except CalibrationError:
        return None
    return fit_channel(0, points, cov_v=cov, chip=board.chip)


def held(board: Board, rig: Rig, seed: int) -> dict[str, list[bool]]:
    """Return for each range whether the interval of each of its levels holds the truth."""
    own, noise_v = rig.calibration.channels[0], NOISE_LSB * rig.front_end.lsb_v
    rng, out = np.random.default_rng([seed, 3]), {}
    for name, (low, high) in RANGES_V.items():
        volts = rng.uniform(low, high, LEVELS)
        mean = board.mean_codes(volts, noise_v)
        if own.linearity is not None:
            mean = expected_inverse(mean, np.full(LEVELS, NOISE_LSB), own.linearity)
        read = own.line.offset_v + own.line.gain_v * mean
        out[name] = [abs(r - v) <= u95(float(r), rig) for r, v in zip(read, volts, strict=True)]
    return out


def u95(value_v: float, rig: Rig) -> float:
    """Return the interval's half-width from meter and converter alone."""
    lines = calibration_lines(value_v, channel=0, rig=rig)
    return combine([b for b in lines if b.name not in ELSEWHERE]).u95


def boards_of_tables(files: list[str], chip: str) -> Iterator[Board]:
    """Yield converters from tables of code and input, input in volts at the pin of a 3.3 V reference."""
    end = front_end("full")
    for file in files:
        table = np.loadtxt(file, delimiter=",", comments="#", skiprows=1)
        code = np.arange(1.0, 4096.0)
        begins = np.interp(code, table[:, 0], table[:, 1])
        yield Board(Path(file).parent.name, chip, begins / end.divider_ratio)


def boards_of_twin(n: int) -> Iterator[Board]:
    """Yield converters that the twin draws."""
    end = front_end("full")
    for chip in ("rp2040", "rp2350", "rp2040-odd"):
        for k in range(n):
            levels = draw_converter(chip, np.random.default_rng([k, 77])).levels
            yield Board(f"twin {chip}", chip.removesuffix("-odd"), levels * end.lsb_v)


def boards_of_population(folder: Path, n: int) -> Iterator[Board]:
    """Yield converters of the population in `folder`; even seeds only: the odd ones are kept to be reported once."""
    sys.path.insert(0, str(folder.parent))
    import population

    for kind in (k for k, kind in population.KINDS.items() if kind.group == "converter"):
        for k in range(n):
            case = population.draw(kind, 2 * k)
            yield Board(f"outsider's {case.chip}", case.chip, np.asarray(case.transfer)[-4095:] / 0.6)


@dataclass
class Tally:
    """What calibrations of one kind of converter came to."""

    refused: int = 0
    widened: int = 0
    u95_v: list[float] = field(default_factory=list)  # at half a volt
    held: dict[str, list[bool]] = field(default_factory=lambda: {name: [] for name in RANGES_V})


def tally(boards: list[Board], n: int, kind: Meter, draws: int) -> Tally:
    """Calibrate each board in turn, `draws` calibrations in all."""
    found = Tally()
    for seed in range(draws):
        board = boards[seed % len(boards)]
        own = one_calibration(board, n, kind, seed)
        if own is None:
            found.refused += 1
            continue
        rig = Rig(Calibration("line", "x", "full", board.chip, (own,) * 3, meter=kind), front_end("full"))
        found.widened += own.widened > 1.0
        found.u95_v.append(u95(0.5, rig))
        for name, good in held(board, rig, seed).items():
            found.held[name] += good
    return found


def report(boards: list[Board], draws: int) -> None:
    """Print a line for each kind of converter, number of points and meter."""
    print(
        f"{draws} calibrations each; single conversions scatter by {NOISE_LSB} LSB; "
        f"{LEVELS} levels in each range of each calibration"
    )
    print(f"{'converter':24}{'points':>7} {'meter':12}{'refused':>8}{'widened':>8}{'U at 0.5 V':>12}  "
          "held by the stated interval")  # fmt: skip
    for name in dict.fromkeys(b.name for b in boards):
        some = [b for b in boards if b.name == name]
        for n in POINTS:
            for meter, kind in METERS.items():
                found = tally(some, n, kind, draws)
                shares = (f"{k} {100 * np.mean(v):5.1f} %" for k, v in found.held.items() if v)
                u = 1e3 * float(np.median(found.u95_v)) if found.u95_v else np.nan
                print(f"{name:24}{n:7} {meter:12}{found.refused:8}{found.widened:8}{u:9.2f} mV  {', '.join(shares)}",
                      flush=True)  # fmt: skip


def main() -> None:
    """Read or draw converters, calibrate, print."""
    ask = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ask.add_argument("tables", nargs="*")
    ask.add_argument("--chip", default="rp2040")
    ask.add_argument("--twin", type=int, default=0)
    ask.add_argument("--population", type=Path)
    ask.add_argument("--boards", type=int, default=40)
    ask.add_argument("--draws", type=int, default=200)
    told = ask.parse_args()
    boards = list(boards_of_tables(told.tables, told.chip))
    if told.twin:
        boards += boards_of_twin(told.twin)
    if told.population:
        boards += boards_of_population(told.population, told.boards)
    report(boards, told.draws)


if __name__ == "__main__":
    main()
