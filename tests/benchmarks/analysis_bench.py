"""Time and memory of the analysis alone: 5 s sweeps, and captures of up to ten minutes, sound and full of events.

`python -m tests.benchmarks.analysis_bench`
"""

from __future__ import annotations

import time
import tracemalloc
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from tests.benchmarks.population_bench import trace_of

from sweeprig.analysis.analyse import analyse
from sweeprig.capture.model import Channel, Sense, Starts, Trace
from sweeprig.twin.capture import play
from sweeprig.twin.sensors import load_sensor

RUNS = 20
LONG_RUNS = 3
SHORT = ("good", "two-tracks-half-scale", "worn", "loose-connector", "rough", "flat-spot", "interference")
LONG = ("two-tracks-half-scale", "loose-connector")
TIMES = (30, 60, 120)  # five-second sweeps one after another: 2.5, 5 and 10 minutes


def once(trace: Trace) -> None:
    """One analysis."""
    analyse(trace, starts=Starts.CLOSED, given_sense=Sense.UNKNOWN)


def median_s(work: Callable[[], None], runs: int) -> float:
    """Median time on one core, other work on the machine left out, of `runs` after one that is not counted [s]."""
    work()
    took = []
    for _ in range(runs):
        began = time.process_time()
        work()
        took.append(time.process_time() - began)
    return float(np.median(took))


def sweep(name: str, *, n: int = 5000) -> Trace:
    """`n` windows of one simulated sensor; where it has one signal, half of it stands in for the second."""
    trace = trace_of(play(load_sensor(name), seed=11, seconds=5.1))
    half = _channel(trace.signal_a, lambda v: v / 2)
    return cut(trace if trace.signal_b else replace(trace, signal_b=half), n)


def _channel(c: Channel | None, make: Callable[[np.ndarray], np.ndarray]) -> Channel | None:
    return None if c is None else Channel(make(c.mean_v), make(c.min_v), make(c.max_v))


def _with(trace: Trace, make: Callable[[np.ndarray], np.ndarray]) -> Trace:
    n = make(trace.t_s).size
    a = _channel(trace.signal_a, make)
    assert a is not None
    return replace(
        trace,
        t_s=np.arange(n) * trace.window_s,
        signal_a=a,
        signal_b=_channel(trace.signal_b, make),
        supply=_channel(trace.supply, make),
        gap_before=make(trace.gap_before),
    )


def cut(trace: Trace, n: int) -> Trace:
    """The first n windows."""
    return _with(trace, lambda v: v[:n])


def repeated(trace: Trace, times: int) -> Trace:
    """The sweep to and fro, `times` times, so that it has no step between one and the next."""
    return _with(trace, lambda v: np.concatenate([v if k % 2 == 0 else v[::-1] for k in range(times)]))


def peak_mb(trace: Trace) -> float:
    """Most memory that one analysis takes beyond its trace [MB]."""
    tracemalloc.start()
    once(trace)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak / 1e6


def main() -> None:
    """Measure and print."""
    print(f"5000 records, three channels, median of {RUNS} warm runs:")
    for name in SHORT:
        trace = sweep(name)
        print(f"   {name:22} {1e3 * median_s(lambda trace=trace: once(trace), RUNS):7.1f} ms")  # type: ignore[misc]
    print(f"long captures, median of {LONG_RUNS} warm runs, and peak memory of one:")
    for name in LONG:
        for times in TIMES:
            trace = repeated(sweep(name), times)
            took = median_s(lambda trace=trace: once(trace), LONG_RUNS)  # type: ignore[misc]
            print(f"   {name:22} {trace.t_s.size:7d} records {took:6.2f} s {peak_mb(trace):6.0f} MB")


if __name__ == "__main__":
    main()
