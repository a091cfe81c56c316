"""How shallow a lift or dip and how narrow a flat stretch may be to be found: shares of simulated sweeps.

    python -m tests.benchmarks.limits_bench [--sweeps 20] [--first-seed 5000]

Six strokes at one place in every pass, both chips and builds in turn, uncalibrated, hands as the simulated ones are.
Found: a finding that is no note, at the right place, whatever it is called. Sound: the same sweeps without a fault.
"""

from __future__ import annotations

import argparse
from dataclasses import replace

import numpy as np

from sweeprig.bench.review.review import review_capture
from sweeprig.twin.capture import play
from sweeprig.twin.sensors import Fault, SensorSpec, load_sensor

RIGS = (("rp2040", "full"), ("rp2350", "full"), ("rp2040", "plain"), ("rp2350", "plain"))
STROKES = 6
STROKE_S = (0.5, 1.0, 2.0, 4.0)
DEPTHS_V = (0.010, 0.015, 0.020, 0.025, 0.030, 0.040, 0.060, 0.100)
LIFT_S = 0.002
DIP_WIDTHS = (0.002, 0.005)  # share of travel at half depth
FLAT_WIDTHS = (0.005, 0.008, 0.010, 0.013, 0.015, 0.020, 0.030)
NEAR_PERCENT = 3.0  # of span: how far from its place a finding may be
SIGMA = 2.355  # width at half depth of a bell in units of its standard deviation


def sensor(faults: tuple[Fault, ...], stroke_s: float) -> SensorSpec:
    """A good sensor with some faults and a hand that takes so long for a stroke."""
    spec = load_sensor("good")
    hand = replace(
        spec.hand, strokes=STROKES, stroke_s=(stroke_s, stroke_s), rest_s=(0.4, 0.4), first_rest_s=(0.4, 0.4)
    )
    return replace(spec, faults=faults, hand=hand)


def found(spec: SensorSpec, seed: int, stroke_s: float, place: float | None) -> bool:
    """Whether one sweep names something that is no note, at the place where there is one."""
    chip, build = RIGS[seed % len(RIGS)]
    seconds = 0.5 + STROKES * (stroke_s + 0.45)
    capture = play(spec, seed=seed, seconds=seconds, chip=chip, build=build).capture
    named = [f for f in review_capture(capture).judgement.findings if f.severity != "note"]
    spans = [f.where_percent for f in named if f.where_percent is not None]
    if place is None:
        return bool(named)
    at = 100 * place
    return any(low - NEAR_PERCENT <= at <= high + NEAR_PERCENT for low, high in spans)


def place_of(seed: int) -> float:
    """A place of the travel for this seed, away from the ends."""
    return float(np.random.default_rng(seed).uniform(0.12, 0.88))


def lift(depth_v: float, place: float) -> Fault:
    """A contact that lets go of so many volts for 2 ms."""
    volts = 0.45 + (4.3 - 0.45) * place
    return Fault(
        "worn", place=place, width=0.002, duration_s=(LIFT_S, LIFT_S), depth=depth_v / volts, lifts=(1, 1)
    )


def dip(depth_v: float, width: float, place: float) -> Fault:
    """A place that reads low, always the same."""
    return Fault("bump", place=place, width=width / SIGMA, volts=-depth_v)


def flat(width: float, place: float) -> Fault:
    """A stretch without slope."""
    return Fault("flat", place=place, width=width)


def row(name: str, cells: list[list[bool]]) -> str:
    """One line of the table, in per cent."""
    return f"{name:34}" + "".join(f"{100 * float(np.mean(c)):7.0f}" for c in cells)


def depths(seeds: range) -> None:
    """Print the shares of lifts and dips that are found."""
    print(
        f"{'found, %, of ' + str(len(seeds)) + ' sweeps; depth, mV':34}"
        + "".join(f"{1e3 * d:7.0f}" for d in DEPTHS_V)
    )
    for s in (1.0, 2.0):
        cells = [
            [found(sensor((lift(d, place_of(k)),), s), k, s, place_of(k)) for k in seeds] for d in DEPTHS_V
        ]
        print(row(f"lift of 2 ms, strokes of {s:g} s", cells), flush=True)
        for w in DIP_WIDTHS:
            cells = [
                [found(sensor((dip(d, w, place_of(k)),), s), k, s, place_of(k)) for k in seeds]
                for d in DEPTHS_V
            ]
            print(row(f"dip, {100 * w:g} % wide, strokes of {s:g} s", cells), flush=True)


def widths(seeds: range) -> None:
    """Print the shares of flat stretches that are found."""
    print(f"{'flat stretch; width, % of travel':34}" + "".join(f"{100 * w:7.1f}" for w in FLAT_WIDTHS))
    for s in STROKE_S:
        cells = [
            [found(sensor((flat(w, place_of(k)),), s), k, s, place_of(k)) for k in seeds] for w in FLAT_WIDTHS
        ]
        print(row(f"strokes of {s:g} s", cells), flush=True)


def main() -> None:
    """Print both tables and the false alarms of the same sweeps."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sweeps", type=int, default=20)
    parser.add_argument("--first-seed", type=int, default=5000)
    told = parser.parse_args()
    seeds = range(told.first_seed, told.first_seed + told.sweeps)
    depths(seeds)
    widths(seeds)
    cells = [[found(sensor((), s), k, s, None) for k in seeds] for s in STROKE_S]
    print(f"{'sound; strokes of, s':34}" + "".join(f"{s:7g}" for s in STROKE_S))
    print(row("something named", cells))


if __name__ == "__main__":
    main()
