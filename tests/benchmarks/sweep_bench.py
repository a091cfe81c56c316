"""From the command to the verdict, at a hand's pace: `python -m tests.benchmarks.sweep_bench`.

A whole `sweeprig sweep` in a terminal of its own, with the time of the clock, on the simulated rig. Its operator is
this file: it reads each question and each new instruction for a while, then answers or moves the lever. Both times are
own choices, no source; what is left is the program's own.
"""

from __future__ import annotations

import argparse
import os
import re
import statistics
import tempfile
import time
from contextlib import suppress
from pathlib import Path

from tests.support.terminal import Terminal

ASKED_S = 3.0  # the operator reads a question and plugs the sensor
SEEN_S = 0.7  # the operator sees that the screen says something new
PACES_S = (1.0, 2.0, 3.0)  # of a stroke from stop to stop
AIM_S = 25.0  # most for the median


class Operator:
    """Reads the screen of one sweep and presses keys."""

    def __init__(self, terminal: Terminal) -> None:
        self._t = terminal
        self._due: list[tuple[float, str]] = []
        self._asked = False
        self._strokes = -1

    def looks(self, t: Terminal) -> bool:
        """Take in what the screen says and press what is due; never says that the end is there."""
        text, now = t.text(), time.monotonic()
        if not self._asked and "OFF the harness" in text:
            self._asked = True
            self._due.append((now + ASKED_S, "y\n"))
        if "to begin" in text and self._strokes < 0:
            self._moves(0, now)
        done = re.search(r"strokes (\d+) of (\d+)", text)
        if done and int(done[1]) > max(self._strokes, 0) and int(done[1]) < int(done[2]):
            self._moves(int(done[1]), now)
        while self._due and self._due[0][0] <= now:
            t.send(self._due.pop(0)[1])
        return False

    def _moves(self, strokes: int, now: float) -> None:
        self._strokes = strokes
        self._due.append((now + SEEN_S, "c" if strokes % 2 else "o"))


def once(sensor: str, stroke_s: float, seed: int, home: Path) -> tuple[float, int]:
    """Return the time from the command to the end of its output [s], and the exit status."""
    began = time.monotonic()
    port = f"sim://{sensor}?rehearse=yes&stroke={stroke_s}&seed={seed}"
    terminal = Terminal("-m", "sweeprig", "sweep", "--port", port, home=home)
    operator = Operator(terminal)
    with suppress(AssertionError):  # the command has ended
        terminal.until(operator.looks)
    status = terminal.process.wait()
    took = time.monotonic() - began
    terminal.close()
    return took, status


def main() -> None:
    """Print the median and the longest of each pace."""
    parser = argparse.ArgumentParser(description="From the command to the verdict")
    parser.add_argument("--runs", type=int, default=10)
    runs = parser.parse_args().runs
    print(
        f"from the command to the verdict, {runs} sweeps of a good sensor each, load {os.getloadavg()[0]:.1f}"
    )
    print(f"{'stroke':>8}{'median':>10}{'longest':>10}{'pass':>8}   within {AIM_S:g} s")
    with tempfile.TemporaryDirectory() as home:
        for stroke_s in PACES_S:
            rows = [once("good", stroke_s, 2 * k, Path(home)) for k in range(runs)]
            median = statistics.median(r[0] for r in rows)
            passed = sum(r[1] == 0 for r in rows)
            within = sum(r[0] <= AIM_S for r in rows)
            longest = max(r[0] for r in rows)
            cells = f"{stroke_s:6.1f} s{median:8.1f} s{longest:8.1f} s{passed:8}   {within} of {runs}"
            print(cells, flush=True)


if __name__ == "__main__":
    main()
