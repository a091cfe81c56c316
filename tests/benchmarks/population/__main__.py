"""Self-test: draws one case of each kind, checks it and prints one line a kind."""

from __future__ import annotations

import argparse
import hashlib
import time
from collections import Counter

import numpy as np

from population import KINDS, Case, draw
from population.cases import WINDOW


def digest(case: Case) -> str:
    """A short digest of the data of a case."""
    sha = hashlib.sha256((case.csv_text or "").encode())
    for array in (case.sums, case.mins, case.maxs):
        if array is not None:
            sha.update(array.tobytes())
    return sha.hexdigest()[:12]


def problems(case: Case) -> list[str]:
    """What contradicts itself in a case."""
    found, truth = [], case.truth
    if truth.sound != KINDS[case.kind].sound or truth.sound != (not truth.faults):
        found.append("sound differs")
    if case.source != KINDS[case.kind].source:
        found.append("source differs")
    if case.sums is not None and case.mins is not None and case.maxs is not None:
        mean = case.sums / WINDOW
        if not (np.all(case.mins <= mean) and np.all(mean <= case.maxs) and np.all(case.maxs < 4096)):
            found.append("records out of order")
    elif not case.csv_text or not case.csv_text.startswith("time_s,signal_v,supply_v"):
        found.append("no data")
    return found


def line(case: Case, seconds: float) -> str:
    """One line of the table."""
    truth = case.truth
    n = len(case.sums) if case.sums is not None else (case.csv_text or "").count("\n") - 1
    ends = " ".join("  -   " if v is None else f"{v:6.3f}" for v in (truth.closed_v, truth.open_v))
    faults = ", ".join(
        f"{f.cause}/{f.channel} x{f.events} seen {f.seen} d{f.depth_pct:.1f}%" for f in truth.faults
    )
    marks = ("?" if truth.may_be_undecided else " ") + f"{truth.full_strokes:3d}"
    return f"{case.kind:36s} {case.source:5s} n={n:6d} {ends} {marks} {seconds:5.2f}s {faults or '-'}"


def main() -> int:
    """Draw, check, print; returns 1 if a case contradicts itself."""
    parser = argparse.ArgumentParser(description="Draw one case of each kind.")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--only", default="", help="part of the kind's name")
    parser.add_argument("--twice", action="store_true", help="draw each case twice and compare")
    args = parser.parse_args()
    bad, spent, groups = 0, 0.0, Counter(k.group for k in KINDS.values())
    for name in KINDS:
        if args.only not in name:
            continue
        start = time.perf_counter()
        case = draw(name, args.seed)
        seconds = time.perf_counter() - start
        spent += seconds
        wrong = problems(case)
        if args.twice and digest(draw(name, args.seed)) != digest(case):
            wrong.append("second draw differs")
        bad += bool(wrong)
        print(line(case, seconds), *wrong)
    print(
        f"{len(KINDS)} kinds: "
        + ", ".join(f"{g} {n}" for g, n in sorted(groups.items()))
        + f"; {spent:.1f} s, {bad} bad"
    )
    return 1 if bad else 0


if __name__ == "__main__":
    raise SystemExit(main())
