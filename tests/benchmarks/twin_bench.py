"""How fast the simulated rig is: conversions against real time, and whole sweeps of a population.

Run: python -m tests.benchmarks.twin_bench
"""

from __future__ import annotations

import argparse
import time

import numpy as np
from tests.support.population import CLEAN, case

from sweepboard import wire
from sweeprig.twin.capture import play
from sweeprig.twin.scene import WINDOW_S
from sweeprig.twin.world import World

OUTPUTS = wire.OUT_SUPPLY | wire.OUT_BURDEN


def times_real(portion: int, n_windows: int) -> float:
    """Return seconds of signal made in one second of processor time, asked for in portions of windows."""
    world = World("loose-and-worn", seed=1)
    world.raw(1, OUTPUTS)
    before = time.process_time()
    for _ in range(n_windows // portion):
        world.raw(portion, OUTPUTS)
    return n_windows * WINDOW_S / (time.process_time() - before)


def sweep_ms(kind: str, n: int) -> tuple[float, float]:
    """Return median and 95 % of the processor time for a 5 s sweep [ms]."""
    took = []
    for seed in range(n):
        drawn = case(kind, seed)
        before = time.process_time()
        drawn.play()
        took.append(1e3 * (time.process_time() - before))
    return float(np.median(took)), float(np.quantile(took, 0.95))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description="Speed of the simulated rig, processor time on one core")
    parser.add_argument("--sweeps", type=int, default=40)
    args = parser.parse_args()
    for portion in (1, 16, 64):
        print(f"raw(), {portion:>2} windows at a time: {times_real(portion, 5000):6.1f} times real time")
    play("good")
    for kind in (CLEAN, "worn", "loose", "supply-dropout"):
        median, high = sweep_ms(kind, args.sweeps)
        print(f"5 s sweep, {kind:>14}: median {median:5.1f} ms, 95 % {high:5.1f} ms, {args.sweeps} sweeps")


if __name__ == "__main__":
    main()
