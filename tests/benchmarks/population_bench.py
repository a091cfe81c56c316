"""Analysis against a seeded, labelled population of simulated sensors, beside the plain method.

`python -m tests.benchmarks.population_bench [--quick | --full] [--clean N] [--each N] [--first-seed N]`

The population is drawn by tests/support/population, which knows nothing of the analysis. The plain method is a bare
min/max for the ends and a fixed jump of the mean for dropouts. `--full`: 10,000 clean sweeps and 200 of each fault.

"Tellable" leaves out sweeps in which the fault did not show itself in a way that anyone could name: what counts is
in `tellable`, from the truth alone. Both rates are printed.
"""

from __future__ import annotations

import argparse
import os
import time
from collections import Counter
from dataclasses import dataclass, field
from multiprocessing import Pool

import numpy as np
from tests.support.exact import clopper_pearson
from tests.support.population import CLEAN, FAULTY, Case, case

from sweeprig.analysis.analyse import analyse
from sweeprig.analysis.model import Analysis
from sweeprig.calibration.nominal import nominal_calibration
from sweeprig.calibration.volts import to_trace
from sweeprig.capture.model import Hookup, Sense, Starts, SweepSetup, Trace
from sweeprig.frontend import front_end
from sweeprig.judge.judge import judge
from sweeprig.judge.profile import load_profile
from sweeprig.judge.rig import Rig
from sweeprig.twin.capture import Played
from sweeprig.twin.scene import KNOT_S

PLAIN_JUMP_V = 0.1
HALF_S = 50e-6  # at least half of the signal gone at the converter for so long: must be seen
SHOWS_PERCENT = 2.0  # % of supply at the converter: a dropout that shows
SLOWEST_FLAT_S = 2.5e-3  # a flat stretch that is passed faster leaves two windows at one level
BEND_V = 0.18  # a bend of 3 % of supply beside the line, a fifth of it being taken up by the line's own fit
SIZES = {"quick": (300, 30), "usual": (2000, 200), "full": (10_000, 200)}
DROPOUTS = ("worn", "loose", "loose-ground", "single", "supply-dropout", "worn-and-loose")
# What each kind of fault should be called by its cause; more than one where physics allows no telling apart.
CAUSES = {
    "worn": {"track"}, "loose": {"connection"}, "loose-ground": {"ground"}, "ground-shift": {"ground"},
    "supply-dropout": {"supply"}, "supply-sag": {"supply"}, "flat": {"track"}, "dead-band": {"mounting"},
    "rough": {"track"}, "bump": {"track"}, "interference": {"interference"}, "stuck": {"mounting", "wiring"},
    "tracks-shorted": {"wiring"}, "open-signal": {"wiring"}, "short-to-ground": {"wiring"},
    "short-to-supply": {"wiring"}, "pwm": {"wiring"}, "digital": {"wiring"}, "switch": {"wiring"},
    "over-range": {"rig"},
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
    tellable: bool = True
    place_error: float | None = None
    plain_ends: list[float] = field(default_factory=list)
    errors: list[float] = field(default_factory=list)  # of the ends [V]
    plain_errors: list[float] = field(default_factory=list)
    covered: list[bool] = field(default_factory=list)


def trace_of(played: Played) -> Trace:
    """Return the trace as an uncalibrated rig gives it."""
    rig = played.capture.rig
    return to_trace(
        played.capture, calibration=nominal_calibration(rig), front_end=front_end(str(rig["build"]))
    )


def one(job: tuple[str, int]) -> Row:
    """Make and analyse one sweep."""
    drawn = case(*job)
    played = drawn.play()
    trace = trace_of(played)
    began = time.perf_counter()
    found = analyse(
        trace, starts=Starts(drawn.spec.hand.starts), given_sense=Sense.UNKNOWN, sensor_kind=drawn.spec.kind
    )
    took = time.perf_counter() - began
    must, seen, plain = _dropouts(played, trace, found)
    row = Row(
        drawn.kind, drawn.seed, "+".join(sorted({f.code.value for f in found.findings})) or "none",
        frozenset(f.cause.value for f in found.findings if f.severity != "note"), must, seen, plain,
        _plain_alarm(trace), took, tellable(drawn, played, trace),
    )  # fmt: skip
    _ends(row, played, found)
    _stated(row, drawn, played, trace, found)
    _place(row, drawn, found, played)
    return row


def tellable(drawn: Case, played: Played, trace: Trace) -> bool:
    """Return whether this sweep shows its fault well enough to be named, from the truth alone."""
    if drawn.kind == "worn":
        return len(_passes_met(drawn, played)) >= 2
    if drawn.kind == "flat":
        return _slow_passes(drawn, played) >= 3
    if drawn.kind == "ground-shift":
        return trace.ground_v is not None
    if drawn.kind == "bump":
        return abs(drawn.spec.faults[0].volts) >= BEND_V
    return True


def _passes_met(drawn: Case, played: Played) -> set[int]:
    """Passes over a worn spot, numbered, in which a dropout showed."""
    x = played.world.scene.places
    crossed = np.flatnonzero(np.diff(x > drawn.places[0])) * KNOT_S
    shown = [
        r.event.start_s for r in played.reached() if r.depth_percent >= SHOWS_PERCENT and r.event.channel == 0
    ]
    return {int(np.argmin(np.abs(crossed - t))) for t in shown if crossed.size}


def _slow_passes(drawn: Case, played: Played) -> int:
    """Passes all the way over a flat stretch that last SLOWEST_FLAT_S, without turning round in it."""
    fault, x = drawn.spec.faults[0], played.world.scene.places
    side = np.where(x < fault.place - fault.width / 2, -1, np.where(x > fault.place + fault.width / 2, 1, 0))
    outside = np.flatnonzero(side)
    over = side[outside[1:]] != side[outside[:-1]]
    return int(np.count_nonzero(np.diff(outside)[over] * KNOT_S >= SLOWEST_FLAT_S))


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


def _stated(row: Row, drawn: Case, played: Played, trace: Trace, found: Analysis) -> None:
    """Note the error of both ends of an uncalibrated rig, and whether the stated 95 % interval holds the truth."""
    rig = played.capture.rig
    judged = judge(
        analysis=found, trace=trace, setup=SweepSetup(hookup=Hookup(drawn.hookup)),
        profile=load_profile(drawn.spec.profile), rig=Rig(nominal_calibration(rig), front_end(str(rig["build"]))),
    )  # fmt: skip
    truth = sorted((played.truth.closed_v, played.truth.open_v))
    plain = (found.plain.min_v, found.plain.max_v)
    for name, true_v, plain_v in zip(("low_v", "high_v"), truth, plain, strict=True):
        q = judged.quantities.get(name)
        if row.kind == CLEAN and q is not None and q.value is not None and q.u95 is not None:
            row.errors.append(q.value - true_v)
            row.covered.append(abs(q.value - true_v) <= q.u95)
            row.plain_errors.append(plain_v - true_v)


def _place(row: Row, drawn: Case, found: Analysis, played: Played) -> None:
    worn = [f for f in found.findings if f.code == "worn-spot" and f.channel == 0 and f.where_percent]
    if drawn.kind != "worn" or not worn:
        return
    low, high = worn[0].where_percent or (0.0, 0.0)
    row.place_error = min(abs((low + high) / 2 - p) for p in _span_percent(drawn, played))


def _span_percent(drawn: Case, played: Played) -> np.ndarray:
    """Where the worn spots are in per cent of the signal's span, which the rig's load bends against the lever's."""
    level = played.world.levels_v(np.array(drawn.places), played.outputs)[0]
    return np.asarray(100 * (level - played.truth.closed_v) / (played.truth.open_v - played.truth.closed_v))


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
    if errors:
        print(
            "place of worn, error in % of span, median and 95 %:",
            np.quantile(errors, (0.5, 0.95)).round(2),
            len(errors),
        )
    if not clean:
        return
    for name, of in (("ours ", "errors"), ("plain", "plain_errors")):
        errors = 1e3 * np.abs([e for r in clean for e in getattr(r, of)])
        print(
            f"ends of clean sweeps against truth, uncalibrated rigs, {name}, mV, median and 95 %:",
            np.quantile(errors, (0.5, 0.95)).round(1),
        )
    covered = [c for r in clean for c in r.covered]
    print(
        "   stated 95 % intervals that hold the truth, uncalibrated rigs:", rate(sum(covered), len(covered))
    )
    plain = 1e3 * np.abs([e for r in clean for e in r.plain_ends])
    print(
        "plain min/max away from the rests on clean sweeps, mV, median and 95 %:",
        np.quantile(plain, (0.5, 0.95)).round(1),
    )
    took = [r.took_s * 1e3 for r in rows]
    print("analysis of 5 s, three channels, ms, median and 95 %:", np.quantile(took, (0.5, 0.95)).round(1))


def _show_causes(rows: list[Row]) -> None:
    print("cause named (right: it is among those named; alone: no other is named with it)")
    right_of_all = n_of_all = right_of_told = n_told = 0
    for kind in sorted({r.kind for r in rows} - {CLEAN}):
        own = [r for r in rows if r.kind == kind]
        named = Counter(r.codes for r in own).most_common(5)
        want = CAUSES.get(kind)
        if want:
            right = [r for r in own if want & r.causes]
            told, both = [r for r in own if r.tellable], sum(r.tellable for r in right)
            alone = sum(r.causes <= want and bool(r.causes) for r in own)
            right_of_all, n_of_all = right_of_all + len(right), n_of_all + len(own)
            right_of_told, n_told = right_of_told + both, n_told + len(told)
            print(
                f"   {kind:16}tellable {rate(both, len(told))}; all {len(right)}/{len(own)}, alone {alone}; "
                f"{dict(named)}"
            )
        else:
            print(f"   {kind:16}{dict(named)}")
    print("   all kinds with a cause of their own, tellable:", rate(right_of_told, n_told))
    print("   all kinds with a cause of their own, every sweep:", rate(right_of_all, n_of_all))
    _show_both(rows)


def _show_both(rows: list[Row]) -> None:
    """Two faults at once, and a single event."""
    both = [r for r in rows if r.kind == "worn-and-loose"]
    print(
        "   worn-and-loose, both named:",
        rate(sum({"track", "connection"} <= r.causes for r in both), len(both)),
    )
    single = [r for r in rows if r.kind == "single" and r.must]
    print("   single dropouts that must be seen, called stray:", rate(
        sum(r.codes == "stray-dropout" for r in single), len(single)))  # fmt: skip


def main() -> None:
    """Draw, play, analyse, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", dest="size", action="store_const", const="quick", default="usual")
    parser.add_argument("--full", dest="size", action="store_const", const="full")
    parser.add_argument(
        "--first-seed", type=int, default=1_000_000, help="below 1000000: used while building"
    )
    parser.add_argument("--clean", type=int, help="how many clean sweeps")
    parser.add_argument("--each", type=int, help="how many of each fault")
    told = parser.parse_args()
    n_clean, n_each = SIZES[told.size]
    n_clean = n_clean if told.clean is None else told.clean
    n_each = n_each if told.each is None else told.each
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
