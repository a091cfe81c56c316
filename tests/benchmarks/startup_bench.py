"""Time from the command to its text, beside a Python that does nothing: `python -m tests.benchmarks.startup_bench`."""

from __future__ import annotations

import statistics
import subprocess
import sys
import time

COMMANDS = {
    "python -c pass": ["-c", "pass"],
    "import typer": ["-c", "import typer"],
    "sweeprig --help": ["-m", "sweeprig", "--help"],
    "sweeprig rigs": ["-m", "sweeprig", "rigs"],
    "sweeprig profile list": ["-m", "sweeprig", "profile", "list"],
}
RUNS = 20


def once(args: list[str]) -> float:
    """Return how long one run takes [s]."""
    began = time.perf_counter()
    subprocess.run([sys.executable, *args], capture_output=True, check=False)
    return time.perf_counter() - began


def main() -> None:
    """Print the median of each command, taken in turn so that a busy machine slows all alike."""
    times: dict[str, list[float]] = {name: [] for name in COMMANDS}
    for _ in range(RUNS):
        for name, args in COMMANDS.items():
            times[name].append(once(args))
    base = statistics.median(times["python -c pass"])
    print(f"start-up, median of {RUNS} runs")
    for name, seen in times.items():
        print(f"  {name:24}{statistics.median(seen) * 1000:7.0f} ms   x {statistics.median(seen) / base:.1f}")


if __name__ == "__main__":
    main()
