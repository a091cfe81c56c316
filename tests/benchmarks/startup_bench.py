"""Time from the command to its text, beside a Python that does nothing: `python -m tests.benchmarks.startup_bench`.

Each command says something and ends before it needs a board. Processor time is that of the command with all its
threads; on a machine with nothing else to do the time by the clock is near it.
"""

from __future__ import annotations

import argparse
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time

COMMANDS = {
    "python -c pass": ["-c", "pass"],
    "import typer": ["-c", "import typer"],
    "import numpy": ["-c", "import numpy"],
}
SWEEPRIG = (
    "--version", "--help", "rigs", "profile list", "config show", "recover NONE", "pins", "send", "records list",
    "calibrate show", "review NONE.csv", "sheet NONE.csv", "compare NONE.csv NONE.csv", "sweep --port NONE",
    "check --port NONE", "watch --port NONE", "wiggle --port NONE", "collect --port NONE", "motor --port NONE",
    "aim --mount slotted --from NONE.sweep --plan", "gauge NONE.csv", "demo --sensor list", "records show 1",
    "records history NONE", "calibrate list", "calibrate verify 2.5 --port NONE", "profile check hall",
)  # fmt: skip
LIMIT_S = 0.35


def once(args: list[str], home: str) -> tuple[float, float]:
    """Return how long one run takes by the clock and of the processor [s]."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    began = time.perf_counter()
    environment = {**os.environ, "SWEEPRIG_HOME": home}
    environment.pop("PYTHONDONTWRITEBYTECODE", None)  # an installed program has its bytecode
    environment["PYTHONPYCACHEPREFIX"] = f"{home}/bytecode"
    subprocess.run([sys.executable, *args], capture_output=True, check=False, env=environment)
    took = time.perf_counter() - began
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return took, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main() -> None:
    """Print the median of each command, taken in turn so that a busy machine slows all alike."""
    parser = argparse.ArgumentParser(description="Start-up of each command")
    parser.add_argument("--runs", type=int, default=20)
    runs = parser.parse_args().runs
    commands = COMMANDS | {f"sweeprig {words}": ["-m", "sweeprig", *words.split()] for words in SWEEPRIG}
    seen: dict[str, list[tuple[float, float]]] = {name: [] for name in commands}
    with tempfile.TemporaryDirectory() as home:
        for args in commands.values():
            once(args, home)  # writes bytecode
        for _ in range(runs):
            for name, args in commands.items():
                seen[name].append(once(args, home))
    medians = {
        name: [statistics.median(column) for column in zip(*rows, strict=True)] for name, rows in seen.items()
    }
    print(f"start-up, median of {runs} runs: by the clock, of the processor, times python -c pass")
    for name, (clock_s, cpu_s) in medians.items():
        slow = f"  above {LIMIT_S} s" if cpu_s > LIMIT_S else ""
        ratio = cpu_s / medians["python -c pass"][1]
        print(f"  {name:54}{clock_s * 1000:7.0f} ms{cpu_s * 1000:7.0f} ms   x {ratio:.1f}{slow}")


if __name__ == "__main__":
    main()
