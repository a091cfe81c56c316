"""False accepts and false rejects of whole judgements, beside the global risks that JCGM 106 gives.

A made population: closed throttle normal about the middle of 0.4 to 0.5 V, each sensor measured once by a rig whose
calibration errs as its own covariance says. Verdicts come from `judge`; JCGM 106's rates from its integrals with
the same standard uncertainty. The population and the rigs are invented.

With --twins the same population is simulated instead, each sensor on another rig that was never calibrated, from
codes to verdict.

    python -m tests.benchmarks.verdict_bench [--sensors 20000] [--seed 0]
    python -m tests.benchmarks.verdict_bench --twins 500
"""

from __future__ import annotations

import argparse
import math
import statistics
import time
from collections import Counter
from dataclasses import dataclass, replace

import numpy as np
from tests.support.conformity import global_risks
from tests.support.exact import clopper_pearson

from sweeprig.analysis.model import Analysis, End, RawExtremes, Stroke
from sweeprig.bench.review.review import Choices, review_capture
from sweeprig.calibration.model import Calibration, ChannelCalibration, Line
from sweeprig.capture.model import Channel, SweepSetup, Trace
from sweeprig.frontend import FrontEnd, front_end
from sweeprig.judge.judge import judge
from sweeprig.judge.model import Check, Verdict
from sweeprig.judge.profile import Profile, load_profile
from sweeprig.judge.rig import Rig
from sweeprig.twin.capture import play
from sweeprig.twin.sensors import load_sensor
from sweeprig.words import Sense

MEAN_V, SPREAD_V = 0.45, 0.03  # of the population; 90.4 % of it conforms
LOW_V, HIGH_V = 0.4, 0.5
SUPPLY_V = 5.0
GAIN_V = 3.3 / 0.6 / 4096
U_CALIBRATION_V = (0.001, 0.004, 0.010)  # standard uncertainty of a calibration's offset
U_REST_V = 0.0003  # of one end from its rests
FACTORS = (0.0, 1.0)


@dataclass(frozen=True)
class Case:
    """One sensor as it is and as it was judged under each guard factor."""

    true_v: float
    u_v: float
    verdicts: tuple[Verdict, ...]


def trace_of(supply_v: float, n: int = 50) -> Trace:
    level = np.full(n, 2.5)
    rail = np.full(n, supply_v)
    return Trace(
        t_s=np.arange(n) * 1e-3,
        signal_a=Channel(level, level, level),
        signal_b=None,
        supply=Channel(rail, rail, rail),
        window_s=1e-3,
        n_per_window=166,
        lsb_v=GAIN_V,
        full_scale_v=5.5,
        gap_before=np.zeros(n, dtype=bool),
    )


def calibration_of(u_v: float) -> Calibration:
    line = Line(offset_v=0.0, gain_v=GAIN_V, var_offset=u_v**2, var_gain=0.0, cov=0.0)
    channels = tuple(ChannelCalibration(channel=c, line=line) for c in range(3))
    return Calibration(kind="line", rig_uid="made", build="full", chip="rp2040", channels=channels)


def analysis_of(low_v: float, high_v: float, supply_v: float) -> Analysis:
    strokes = tuple(Stroke(10 * k, 10 * k + 10, low_v, high_v, 1, True) for k in range(4))
    low, high = (End(v, U_REST_V, math.inf, 5, 900, 0.0, 0.0, v / supply_v, agree=5) for v in (low_v, high_v))
    return Analysis(
        sense=Sense.RISING,
        sense_evidence="told",
        low=low,
        high=high,
        strokes=strokes,
        rests=(),
        events=(),
        track_map=None,
        track_map_b=None,
        two_tracks=None,
        linearity=None,
        plain=RawExtremes(low_v, high_v),
        supply_v=supply_v,
        noise_v=1e-3,
        smoothness_percent=None,
        findings=(),
        not_shown=(),
    )


def closed_check(
    analysis: Analysis,
    trace: Trace,
    *,
    profile: Profile,
    calibration: Calibration,
    end: FrontEnd,
    factor: float,
) -> Check:
    judged = judge(
        analysis=analysis,
        trace=trace,
        setup=SweepSetup(track_ohm=5000.0),
        profile=profile,
        rig=Rig(calibration, end),
        guard_factor=factor,
    )
    return next(c for c in judged.checks if c.name == "closed")


def one_case(rng: np.random.Generator, u_calibration_v: float, profile: Profile, end: FrontEnd) -> Case:
    true_v = float(rng.normal(MEAN_V, SPREAD_V))
    calibration = calibration_of(u_calibration_v)
    errors = rng.normal(0.0, 1.0, 3)
    low_v = true_v + u_calibration_v * errors[0] + U_REST_V * errors[1]
    supply_v = SUPPLY_V + u_calibration_v * errors[2]
    trace, analysis = trace_of(supply_v), analysis_of(low_v, 4.5, supply_v)
    checks = [
        closed_check(analysis, trace, profile=profile, calibration=calibration, end=end, factor=f)
        for f in FACTORS
    ]
    u95 = checks[0].u95 or math.nan
    return Case(true_v, u95 / 1.959964, tuple(c.verdict for c in checks))


def one_twin(rng: np.random.Generator, seed: int) -> Case | None:
    """One simulated sensor and rig, judged under each guard factor; None where its closed end was not seen."""
    true_v = float(rng.normal(MEAN_V, SPREAD_V))
    spec = replace(load_sensor("good"), closed_v=true_v)
    capture = play(spec, seed=seed, rig_seed=seed, seconds=3.0, build="full").capture
    judged = [
        review_capture(capture, Choices(track_ohm=spec.track_ohm, guard_factor=f)).judgement for f in FACTORS
    ]
    checks = [next((c for c in j.checks if c.name == "closed" and c.u95), None) for j in judged]
    if None in checks:
        return None
    u = statistics.fmean((c.u95 or math.nan) / 1.959964 for c in checks if c)
    return Case(true_v, u, tuple(c.verdict for c in checks if c))


def twins(n: int, seed: int) -> None:
    rng = np.random.default_rng([seed, 7])
    cases = [one_twin(rng, 10_000 * (seed + 1) + k) for k in range(n)]
    seen = [c for c in cases if c is not None]
    print(
        f"Simulated sensors on rigs never calibrated; {n - len(seen)} of {n} showed no rest at closed throttle."
    )
    report("nominal calibration", seen)


def rate(hits: int, trials: int) -> str:
    low, high = clopper_pearson(hits, trials)
    return f"{100 * hits / trials:7.3f} [{100 * low:6.3f}, {100 * high:6.3f}]"


def report(title: str, cases: list[Case]) -> None:
    n = len(cases)
    u = statistics.fmean(c.u_v for c in cases)
    print(f"\n{title}; closed throttle's u {1e3 * u:.2f} mV, {n} sensors")
    print(
        f"  {'rule':22}{'false accept %':>30}{'JCGM 106':>10}{'false reject %':>30}{'JCGM 106':>10}{'undecided %':>13}"
    )
    for k, factor in enumerate(FACTORS):
        w = factor * 1.959964 * u
        r = global_risks(
            mean=MEAN_V,
            spread=SPREAD_V,
            u=u,
            low=LOW_V,
            high=HIGH_V,
            accept_low=LOW_V + w,
            accept_high=HIGH_V - w,
        )
        seen = Counter((c.verdicts[k], LOW_V <= c.true_v <= HIGH_V) for c in cases)
        accept = seen[Verdict.PASS, False]
        reject = seen[Verdict.FAIL, True] + seen[Verdict.UNDECIDED, True]
        undecided = seen[Verdict.UNDECIDED, True] + seen[Verdict.UNDECIDED, False]
        name = "simple acceptance" if factor == 0 else f"guard band w = {factor:g} U"
        print(
            f"  {name:22}{rate(accept, n):>30}{100 * r.false_accept:10.3f}{rate(reject, n):>30}"
            f"{100 * r.false_reject:10.3f}{100 * undecided / n:13.2f}"
        )
    failed = sum(c.verdicts[-1] is Verdict.FAIL and LOW_V <= c.true_v <= HIGH_V for c in cases)
    print(
        f"  of these, conforming ones that the guard-banded rule calls fail, not undecided: {rate(failed, n)} %"
    )


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--sensors", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--twins", type=int, default=0)
    args = parser.parse_args()
    if args.twins:
        twins(args.twins, args.seed)
        return
    profile = load_profile("adjustable-potentiometer")
    profile = replace(profile, limits=replace(profile.limits, open=None))
    end = front_end("full")
    print(
        "In brackets: exact 95 % intervals (Clopper and Pearson). False reject: conforms and is not passed."
    )
    for u in U_CALIBRATION_V:
        rng = np.random.default_rng([args.seed, round(1e6 * u)])
        began = time.perf_counter()
        cases = [one_case(rng, u, profile, end) for _ in range(args.sensors)]
        report(f"calibration's u {1e3 * u:g} mV", cases)
        spent = time.perf_counter() - began
        print(f"  {1e3 * spent / len(cases) / len(FACTORS):.2f} ms for each judgement")


if __name__ == "__main__":
    main()
