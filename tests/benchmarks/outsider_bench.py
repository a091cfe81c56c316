"""Verdicts on a population that was drawn by somebody who has not seen the analysis.

`python -m tests.benchmarks.outsider_bench POPULATION [--only TEXT] [--group NAME] [--sound] [--seeds N] [--report]
[--keep FOLDER] [--beside TREE] [--rows FILE] [--worst]`

POPULATION is the folder or the import name of a package with `KINDS` and `draw(kind, seed)`, such as
tests/benchmarks/population. Even seeds are the part to
work with; `--report` takes the odd ones, once, at the end. `--beside` judges the same cases with another tree of this
project. Rates carry exact 95 % intervals (Clopper and Pearson).
"""

from __future__ import annotations

import argparse
import json
import math
import os
import pickle
import re
import subprocess
import sys
import tempfile
from collections.abc import Iterable
from dataclasses import asdict, dataclass, field
from functools import partial
from multiprocessing import Pool
from pathlib import Path
from typing import Any

from tests.benchmarks.outsider_cases import population_of, review
from tests.support.exact import clopper_pearson

from sweeprig.calibration.drift import AGEING, DIVIDER, GROUND_LEAD, LEAKAGE
from sweeprig.calibration.uncertainty import LOAD, SINCE_CALIBRATION, combine
from sweeprig.errors import SweeprigError

# What each cause of the population may be called; more than one where physics allows no telling apart.
CAUSES = {
    "worn-spot": {"track"}, "dip": {"track"}, "rough-track": {"track"}, "flat-spot": {"track"}, "step": {"track"},
    "loose-signal": {"connection"}, "loose-signal-b": {"connection"}, "loose-ground": {"ground"},
    "loose-supply": {"supply", "connection"}, "unplugged": {"wiring", "connection", "supply", "ground"},
    "supply-sag": {"supply"}, "supply-dropout": {"supply"}, "no-supply": {"supply", "wiring"},
    "ground-offset": {"ground", "mounting"}, "ground-shift": {"ground", "mounting"}, "interference": {"interference"},
    "short-to-ground": {"wiring", "connection", "ground"}, "short-to-supply": {"wiring", "connection", "ground"},
    "tracks-joined": {"wiring"},
    "tracks-disagree": {"track", "wiring"}, "stuck": {"mounting", "wiring", "track"}, "end-low": {"mounting"},
    "end-high": {"mounting"}, "closed-high": {"mounting"}, "wrong-span": {"mounting"}, "mount-slip": {"mounting"},
    "switch": {"wiring"}, "digital-signal": {"wiring"},
}  # fmt: skip


LISTED = {  # how a result says that it could not show a fault
    "flat-spot": "Flat spots", "dip": "Shallow dips at ", "ground-shift": "Ground offset", "rough-track": "Roughness",
    "worn-spot": "Steps, and wiper lifts smaller", "step": "Steps, and",
}  # fmt: skip
LATER = (*SINCE_CALIBRATION, AGEING, DIVIDER, LEAKAGE, GROUND_LEAD)  # none of it moves in the population
LIMITS = ("closed-out-of-range", "open-out-of-range", "margin-closed", "margin-open")


@dataclass
class Row:
    """What became of one case."""

    kind: str
    group: str
    seed: int
    sound: bool
    verdict: str  # pass | fail | undecided | refused | crash
    codes: list[str] = field(default_factory=list)  # of faults and doubts
    faults: list[str] = field(default_factory=list)  # of faults alone, the rig's own left out
    want: list[str] = field(default_factory=list)  # the population's causes
    causes: list[str] = field(default_factory=list)
    reason: str = ""
    beyond: bool = False  # an end stands outside the profile's limits in truth: a fail is right
    must_not: list[str] = field(default_factory=list)
    may_be_undecided: bool = False
    right: bool | None = None  # every cause named; None where none is wanted
    build: str = ""  # of the rig; none for a table
    listed: bool = False  # the result says that it could not show these faults at their places
    place_error: float | None = None  # % of travel
    covered: dict[str, bool] = field(default_factory=dict)
    errors: dict[str, list[float]] = field(
        default_factory=dict
    )  # error and half-width, that without the load's, and that without what changes after a calibration either


def one(job: tuple[str, int], *, where: str, keep: str) -> Row:
    """Draw and judge one case."""
    population = population_of(where)
    case, kind = _drawn(population, job, keep), population.KINDS[job[0]]
    truth = case.truth
    row = Row(kind.name, kind.group, job[1], truth.sound, "crash", must_not=list(truth.must_not))
    row.may_be_undecided, row.want = truth.may_be_undecided, sorted({f.cause for f in truth.faults})
    try:
        outcome = review(case)
    except SweeprigError as exc:
        row.verdict, row.reason = "refused", str(exc)
        return row
    except Exception as exc:  # noqa: BLE001 - a crash is a result here
        row.reason = repr(exc)
        return row
    row.build = case.build or ""
    _judged(row, outcome, truth)
    return row


def _drawn(population: Any, job: tuple[str, int], keep: str) -> Any:
    path = Path(keep) / f"{job[0]}-{job[1]}.pickle"
    if keep and path.is_file():
        return pickle.loads(path.read_bytes())
    case = population.draw(*job)
    if keep:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(pickle.dumps(case))
    return case


def _judged(row: Row, outcome: Any, truth: Any) -> None:
    found = [f for f in outcome.judgement.findings if f.severity != "note"]
    row.verdict, row.reason = outcome.judgement.verdict.value, outcome.judgement.reason
    row.codes = [f"{f.code.value}{'' if f.severity == 'fault' else '?'}" for f in found]
    row.faults = [f.code.value for f in found if f.severity == "fault" and f.cause.value != "rig"]
    row.causes = sorted({f.cause.value for f in found})
    row.beyond = _beyond(outcome.profile, truth)
    wanted = [CAUSES.get(w, set()) for w in row.want]
    row.right = all(w & set(row.causes) for w in wanted) if any(wanted) else None
    row.place_error = _place(found, truth)
    row.listed = all(_listed(f, outcome.judgement.not_shown) for f in truth.faults)
    for name in ("closed_v", "open_v", "closed_ratio", "open_ratio"):
        q, true = outcome.judgement.quantities.get(name), getattr(truth, name)
        if q is not None and q.value is not None and q.u95 is not None and true is not None:
            row.covered[name] = abs(q.value - true) <= q.u95
            own = combine([b for b in q.budget if b.name != LOAD])  # the truth is as loaded
            then = combine([b for b in q.budget if b.name not in (LOAD, *LATER)])
            row.errors[name] = [q.value - true, q.u95, own.u95, then.u95]


def _listed(fault: Any, not_shown: tuple[str, ...]) -> bool:
    """Whether a result lists a fault among what it could not show; a dip with its place."""
    begin = LISTED.get(fault.cause)
    told = [t for t in not_shown if begin and t.startswith(begin)]
    if fault.cause != "dip":
        return bool(told)
    spans = [m for t in told for m in re.findall(r"(\d+) to (\d+)", t)]
    return any(int(a) <= 100 * fault.place <= int(b) for a, b in spans)


def _beyond(profile: Any, truth: Any) -> bool:
    limits, falls = profile.limits, truth.sense == "falling" and profile.sensor.sense == "either"
    for wanted, ratio in ((limits.closed, truth.closed_ratio), (limits.open, truth.open_ratio)):
        if wanted is None or ratio is None:
            continue
        v = (1 - ratio if falls else ratio) * profile.supply.nominal_v
        if not wanted.low <= v <= wanted.high:
            return True
    return False


def _place(found: Iterable[Any], truth: Any) -> float | None:
    wanted = [100 * f.place for f in truth.faults if f.place is not None]
    spans = [f.where_percent for f in found if f.where_percent and f.cause.value == "track"]
    if not wanted or not spans:
        return None
    return min(max(0.0, low - at, at - high) for low, high in spans for at in wanted)


# --- printing


def rate(hits: int, n: int) -> str:
    """Return a rate with its exact 95 % bounds."""
    if not n:
        return "-"
    low, high = clopper_pearson(hits, n)
    return f"{hits}/{n} = {100 * hits / n:.1f} % [{100 * low:.1f}, {100 * high:.1f}]"


def _quantile(values: list[float], share: float) -> float:
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, math.ceil(share * len(ordered)) - 1)] if ordered else math.nan


def where_the_fault_is(row: Row) -> bool:
    """Whether a fault is named where none may be."""
    named = [c for c in row.faults if not (row.beyond and c in LIMITS)]
    return row.sound and (bool(named) or row.verdict == "crash" or (row.verdict == "fail" and not row.beyond))


def line_of(name: str, rows: list[Row]) -> str:
    """Return what became of the cases of one kind or group."""
    verdicts = "/".join(str(sum(r.verdict == v for r in rows)) for v in ("pass", "undecided", "fail"))
    sound = [r for r in rows if r.sound]
    faulty = [r for r in rows if not r.sound]
    text = f"{name:34.34} {verdicts:>12}"
    if sound:
        decided = [r for r in sound if not r.may_be_undecided]
        text += f"  condemned {rate(sum(map(where_the_fault_is, sound)), len(sound))}"
        text += f", passed {rate(sum(r.verdict == 'pass' for r in decided), len(decided))}"
    if faulty:
        told = [r for r in faulty if r.right is not None and not r.may_be_undecided]
        bad = [r for r in faulty if r.verdict == "pass" and "sound" in r.must_not]
        text += f"  hit {rate(sum(bool(r.codes) for r in faulty), len(faulty))}, passed wrongly {len(bad)}"
        text += f" ({sum(r.listed for r in bad)} listed as not shown)" if bad else ""
        text += f", cause {rate(sum(bool(r.right) for r in told), len(told))}"
        errors = [r.place_error for r in faulty if r.place_error is not None]
        if errors:
            text += f", place {_quantile(errors, 0.5):.1f} / {_quantile(errors, 0.95):.1f} %"
    covered = [c for r in rows for c in r.covered.values()]
    return text + (f"  covered {sum(covered)}/{len(covered)}" if covered else "")


def show(rows: list[Row], *, kinds: bool) -> None:
    """Print the kinds, the groups and the whole; columns of verdicts are pass/undecided/fail."""
    if kinds:
        for kind in dict.fromkeys(r.kind for r in rows):
            print(line_of(kind, [r for r in rows if r.kind == kind]))
    print()
    for group in dict.fromkeys(r.group for r in rows):
        print(line_of(f"[{group}]", [r for r in rows if r.group == group]))
    print(line_of("[all]", rows))
    for name in ("closed_v", "open_v", "closed_ratio", "open_ratio"):
        _show_coverage(name, rows)


def _show_coverage(name: str, rows: list[Row]) -> None:
    own = [r for r in rows if name in r.covered and r.sound]
    held = rate(sum(r.covered[name] for r in own), len(own))
    half = _quantile([r.errors[name][1] for r in own], 0.5)
    print(f"   {name:13} of sound sensors inside its 95 % interval: {held}, half-width {half:.4g} (median)")
    for what, mine in _makers(own):
        errors = [r.errors[name] for r in mine]
        for text, k in (("without the load's line", 2), ("and without drift", 3)):
            held = rate(sum(abs(e[0]) <= e[k] for e in errors), len(mine))
            half = _quantile([e[k] for e in errors], 0.5)
            print(f"      {text:23}, {what:16}: {held}, half-width {half:.4g} (median)")


def _makers(rows: list[Row]) -> list[tuple[str, list[Row]]]:
    """Rows by what they were measured with."""
    names = {"full": "calibrated rigs", "plain": "never calibrated", "": "tables"}
    return [(text, [r for r in rows if r.build == build]) for build, text in names.items()]


def show_worst(rows: list[Row]) -> None:
    """Print each case that went wrong."""
    for r in rows:
        wrong = where_the_fault_is(r) or (not r.sound and r.verdict == "pass" and "sound" in r.must_not)
        named = not r.sound and r.right is False and not r.may_be_undecided
        missed = [n for n, c in r.covered.items() if not c]
        if wrong or named or missed or r.verdict in ("crash", "refused"):
            codes = "+".join(r.codes)
            print(f"{r.kind:32} {r.seed:4} {r.verdict:9} {codes:40} want {r.want} {missed} {r.reason[:160]}")


def _run(jobs: list[tuple[str, int]], told: argparse.Namespace) -> list[Row]:
    work = partial(one, where=told.population, keep=told.keep)
    if told.processes < 2:
        return [work(j) for j in jobs]
    with Pool(told.processes) as pool:
        return list(pool.imap(work, jobs, chunksize=4))


def _beside(told: argparse.Namespace) -> list[Row]:
    """Rows of the same cases from another tree, judged by a process that imports that tree."""
    here, tree = Path(__file__).resolve().parents[2], Path(told.beside).resolve()
    paths = [str(tree / "host"), str(tree / "firmware"), str(tree)]
    args = [a for a in sys.argv[1:] if a != "--worst"]
    at = args.index("--beside")
    rows = Path(told.keep or tempfile.mkdtemp()).resolve() / "beside.json"  # it runs in another folder
    code = "import sys; from tests.benchmarks.outsider_bench import main; main()"
    run = [sys.executable, "-c", code, *args[:at], *args[at + 2 :], "--rows", str(rows)]
    there = tree if (tree / "tests/benchmarks/outsider_bench.py").is_file() else here
    env = {**os.environ, "PYTHONPATH": os.pathsep.join([*paths[:2], str(there)])}
    subprocess.run(run, check=True, cwd=there, env=env, stdout=subprocess.DEVNULL)
    return [Row(**r) for r in json.loads(rows.read_text())]


def main() -> None:
    """Draw, judge, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("population", nargs="?", default="")
    parser.add_argument("--only", default="", help="part of the names of kinds")
    parser.add_argument("--group", default="")
    parser.add_argument("--sound", action="store_true", help="sound sensors alone")
    parser.add_argument("--seeds", type=int, default=1, help="how many of each kind")
    parser.add_argument("--first", type=int, default=0, help="of the seeds, counted in the part")
    parser.add_argument("--report", action="store_true", help="odd seeds: the part that is reported once")
    parser.add_argument("--keep", default="", help="folder for drawn cases")
    parser.add_argument("--beside", default="", help="another tree of this project")
    parser.add_argument("--rows", default="", help="file to write the rows to, as JSON")
    parser.add_argument("--worst", action="store_true", help="each case that went wrong")
    parser.add_argument("--processes", type=int, default=1)
    told = parser.parse_args()
    if not told.population:
        print("name a population: its folder or its import name")
        return
    kinds = [k for k in population_of(told.population).KINDS.values() if k.sound or not told.sound]
    wanted = [k.name for k in kinds if told.only in k.name and told.group in ("", k.group)]
    seeds = [2 * (told.first + s) + told.report for s in range(told.seeds)]
    rows = _run([(k, s) for k in wanted for s in seeds], told)
    if told.rows:
        Path(told.rows).write_text(json.dumps([asdict(r) for r in rows]))
    show(rows, kinds=True)
    if told.worst:
        show_worst(rows)
    if told.beside:
        print("\n=== beside:", told.beside)
        show(_beside(told), kinds=True)


if __name__ == "__main__":
    main()
