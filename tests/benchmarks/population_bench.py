"""Analysis against a seeded, labelled population of simulated sensors, beside the plain method.

`python -m tests.benchmarks.population_bench [--quick | --full] [--first-seed N]`

The population is drawn by sweeprig.twin.population, which knows nothing of the analysis. The plain method is a bare
min/max for the ends and a fixed jump of the mean for dropouts. `--full`: 10,000 clean sweeps and 200 of each fault.
"""

from __future__ import annotations

import argparse
import os
import time
from collections import Counter
from dataclasses import dataclass, field
from multiprocessing import Pool

import numpy as np

from sweeprig.analysis.analyse import analyse
from sweeprig.analysis.model import Analysis
from sweeprig.analysis.statistics import clopper_pearson
from sweeprig.capture.model import Sense, Starts, Trace
from sweeprig.frontend import front_end
from sweeprig.trim.nominal import nominal_trim
from sweeprig.trim.volts import to_trace
from sweeprig.twin.capture import Played
from sweeprig.twin.population import CLEAN, FAULTY, Case, case

PLAIN_JUMP_V = 0.1
HALF_S = 50e-6  # at least half of the signal gone at the converter for so long: must be seen
SIZES = {"quick": (300, 30), "usual": (2000, 100), "full": (10_000, 200)}
DROPOUTS = ("worn", "loose", "loose-ground", "single", "supply-dropout", "worn-and-loose")
# What each kind of fault should be called by its cause; more than one where physics allows no telling apart.
CAUSES = {
    "worn": {"track"}, "loose": {"connection"}, "loose-ground": {"ground"}, "supply-dropout": {"supply"},
    "supply-sag": {"supply"}, "flat": {"track"}, "dead-band": {"mounting"}, "rough": {"track"}, "bump": {"track"},
    "interference": {"interference"}, "stuck": {"mounting", "wiring"}, "tracks-shorted": {"wiring"},
    "open-signal": {"wiring"}, "short-to-ground": {"wiring"}, "short-to-supply": {"wiring"}, "pwm": {"wiring"},
    "digital": {"wiring"}, "switch": {"wiring"}, "over-range": {"rig"},
}  # fmt: skip


@dataclass
class Row:
    """What became of one sweep."""

    kind: str
    seed: int
    codes: str
    causes: frozenset[str]
    must: int  # events that reach half the signal for HALF_S at the converter
    seen: int  # of those
    plain_seen: int
    plain_alarm: bool
    took_s: float
    place_error: float | None = None
    plain_ends: list[float] = field(default_factory=list)


def trace_of(played: Played) -> Trace:
    """Return the trace as an untrimmed rig gives it."""
    rig = played.capture.rig
    return to_trace(played.capture, trim=nominal_trim(rig), front_end=front_end(str(rig["build"])))


def one(job: tuple[str, int]) -> Row:
    """Make and analyse one sweep."""
    drawn = case(*job)
    played = drawn.play()
    trace = trace_of(played)
    began = time.perf_counter()
    found = analyse(
        trace, starts=Starts(drawn.spec.hand.starts), told_sense=Sense.UNKNOWN, sensor_kind=drawn.spec.kind
    )
    took = time.perf_counter() - began
    must, seen, plain = _dropouts(played, trace, found)
    row = Row(
        drawn.kind, drawn.seed, "+".join(sorted({f.code.value for f in found.findings})) or "none",
        frozenset(f.cause.value for f in found.findings if f.severity != "note"), must, seen, plain,
        _plain_alarm(trace), took,
    )  # fmt: skip
    _ends(row, played, found)
    _place(row, drawn, found)
    return row


def _jumps(trace: Trace) -> np.ndarray:
    return np.flatnonzero(np.abs(np.diff(trace.signal_a.mean_v)) > PLAIN_JUMP_V)


def _plain_alarm(trace: Trace) -> bool:
    return bool(_jumps(trace).size)


def _dropouts(played: Played, trace: Trace, found: Analysis) -> tuple[int, int, int]:
    """Return how many events must be seen, are seen, and are seen by the plain method."""
    wanted = [r for r in played.reached() if r.half_s >= HALF_S and r.event.stop_s < trace.t_s[-1]]
    jump_s = trace.t_s[_jumps(trace)]
    seen = plain = 0
    for r in wanted:
        early, late = r.event.start_s - 0.003, r.event.stop_s + 0.003
        seen += any(e.start_s <= late and e.end_s >= early for e in found.events)
        plain += bool(((jump_s >= early) & (jump_s <= late)).any())
    return len(wanted), seen, plain


def _ends(row: Row, played: Played, found: Analysis) -> None:
    """Note how far the ends are from the truth once the rig's own gain and offset are taken out by the clean sweep."""
    truth = sorted((played.truth.closed_v, played.truth.open_v))
    if found.low is None or found.high is None or row.kind != CLEAN:
        return
    gain = (found.high.value_v - found.low.value_v) / (truth[1] - truth[0])
    row.plain_ends = [
        (found.plain.min_v - found.low.value_v) / gain,
        (found.plain.max_v - found.high.value_v) / gain,
    ]


def _place(row: Row, drawn: Case, found: Analysis) -> None:
    worn = [f for f in found.findings if f.code == "worn-place" and f.channel == 0 and f.where_percent]
    if drawn.kind != "worn" or not worn:
        return
    low, high = worn[0].where_percent or (0.0, 0.0)
    rising = drawn.spec.open_v > drawn.spec.closed_v
    places = [100 * p if rising else 100 - 100 * p for p in drawn.places]
    row.place_error = min(abs((low + high) / 2 - p) for p in places)


def rate(hits: int, n: int) -> str:
    """Return a rate with its exact 95 % bounds."""
    if not n:
        return "none"
    low, high = clopper_pearson(hits, n)
    return f"{hits}/{n} = {100 * hits / n:.2f} % [{100 * low:.2f}, {100 * high:.2f}]"


def show(rows: list[Row]) -> None:
    """Print the whole comparison."""
    clean = [r for r in rows if r.kind == CLEAN]
    alarms = [r for r in clean if r.codes != "none"]
    print("false alarms on clean sweeps, ours :", rate(len(alarms), len(clean)))
    print("false alarms on clean sweeps, plain:", rate(sum(r.plain_alarm for r in clean), len(clean)))
    print("   ours, seeds:", [(r.seed, r.codes) for r in alarms][:8])
    drops = [r for r in rows if r.kind in DROPOUTS]
    must = sum(r.must for r in drops)
    print(
        f"dropouts of at least half the signal for {HALF_S * 1e6:.0f} us at the converter, in {len(drops)} sweeps"
    )
    print("   detected, ours :", rate(sum(r.seen for r in drops), must))
    print("   detected, plain:", rate(sum(r.plain_seen for r in drops), must))
    _show_causes(rows)
    errors = [r.place_error for r in rows if r.place_error is not None]
    print("place of worn, error in % of span, median and 95 %:", np.quantile(errors, (0.5, 0.95)).round(2))
    plain = 1e3 * np.abs([e for r in clean for e in r.plain_ends])
    print(
        "plain min/max away from the rests on clean sweeps, mV, median and 95 %:",
        np.quantile(plain, (0.5, 0.95)).round(1),
    )
    took = [r.took_s * 1e3 for r in rows]
    print("analysis of 5 s, three channels, ms, median and 95 %:", np.quantile(took, (0.5, 0.95)).round(1))


def _show_causes(rows: list[Row]) -> None:
    print("cause named (right: it is among those named; alone: no other is named with it)")
    right_of_all = n_of_all = 0
    for kind in sorted({r.kind for r in rows} - {CLEAN}):
        own = [r for r in rows if r.kind == kind]
        named = Counter(r.codes for r in own).most_common(5)
        want = CAUSES.get(kind)
        if want:
            right = sum(bool(want & r.causes) for r in own)
            alone = sum(r.causes <= want and bool(r.causes) for r in own)
            right_of_all, n_of_all = right_of_all + right, n_of_all + len(own)
            print(f"   {kind:16}right {rate(right, len(own))}, alone {alone}; {dict(named)}")
        else:
            print(f"   {kind:16}{dict(named)}")
    print("   all of these:", rate(right_of_all, n_of_all))


def main() -> None:
    """Draw, play, analyse, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", dest="size", action="store_const", const="quick", default="usual")
    parser.add_argument("--full", dest="size", action="store_const", const="full")
    parser.add_argument(
        "--first-seed", type=int, default=1_000_000, help="below 1000000: used while building"
    )
    told = parser.parse_args()
    n_clean, n_each = SIZES[told.size]
    os.nice(10)
    jobs = [(CLEAN, told.first_seed + s) for s in range(n_clean)]
    jobs += [(kind, told.first_seed + s) for kind in FAULTY for s in range(n_each)]
    began = time.perf_counter()
    with Pool(2) as pool:
        rows = list(pool.imap_unordered(one, jobs, chunksize=4))
    print(f"{len(rows)} sweeps in {time.perf_counter() - began:.0f} s, seeds from {told.first_seed}")
    show(rows)


if __name__ == "__main__":
    main()
