# ruff: noqa: E501, PLR0917
"""Detector against a seeded, labelled population.

`python -m tests.benchmarks.population_bench [--quick|--full] [--first-seed N]`

The population is made here, window by window, from conversions with noise. It has no front end and no
real converter in it, so its rates hold for this population only. Beside ours stands the plain method:
min/max and a fixed jump.
"""

from __future__ import annotations

import argparse
import os
import time
from multiprocessing import Pool

import numpy as np

from sweeprig.analysis.analyse import analyse
from sweeprig.analysis.statistics import clopper_pearson
from sweeprig.capture.model import Channel, Sense, Starts, Trace

WINDOW, CONVERSION_S, N = 166, 6e-6, 5000
WINDOW_S, LSB_V = WINDOW * CONVERSION_S, 3.3 / 0.6 / 4096
PLAIN_JUMP_V = 0.1
KINDS = ("clean", "worn", "loose", "single", "supply", "flat")
WANTED = {"worn": "worn-place", "loose": "loose-connection", "supply": "supply-dropout", "flat": "flat-spot"}


def lever(rng: np.random.Generator) -> np.ndarray:
    """Place 0..1 at every tenth of a window: rests at exact stops, uneven strokes, hesitation, snaps, bounces."""
    fine = N * 10
    strokes = int(rng.integers(3, 8))
    cuts = np.sort(rng.uniform(0.06, 0.94, strokes))
    x, at, level = np.zeros(fine), 0, 0.0
    for k, cut in enumerate(cuts):
        start = max(at, int(cut * fine))
        room = (int(cuts[k + 1] * fine) if k + 1 < strokes else fine) - start
        snap = level == 1.0 and rng.random() < 0.2
        length = int(
            max(300, min(room * 0.7, fine * rng.uniform(0.05, 0.2)) if not snap else 10 * rng.uniform(30, 60))
        )
        stop = min(fine, start + length)
        u = np.linspace(0, 1, length)[: stop - start]
        move = u**2 if snap else u * u * u * (10 - 15 * u + 6 * u * u)
        if not snap and rng.random() < 0.3:  # hesitation
            move = move + 0.06 * np.sin(2 * np.pi * u) * np.sin(np.pi * u) ** 2
        if not snap:
            tremor = 0.004 * np.sin(2 * np.pi * rng.uniform(8, 12) * np.arange(u.size) * WINDOW_S / 10)
            move = move + tremor * np.sin(np.pi * u)
        x[at:start], x[start:stop] = level, level + (1 - 2 * level) * move
        level, at = 1 - level, stop
        if snap:
            n = min(300, fine - at)
            x[at : at + n] = 0.04 * np.abs(np.sin(np.linspace(0, np.pi, n)))
            at += n
    x[at:] = level
    return np.clip(x, 0, 1)


def conversions(rng: np.random.Generator, kind: str) -> tuple[np.ndarray, np.ndarray, dict[str, float]]:
    """Signal and supply, one value per conversion, shape (N * WINDOW,) [V], with the truth."""
    x = lever(rng)
    if kind == "flat":
        a = rng.uniform(0.2, 0.7)
        x = np.where((x > a) & (x < a + 0.05), a, x)
    low, high, rail = rng.uniform(0.3, 0.8), rng.uniform(3.9, 4.6), rng.uniform(4.8, 5.2)
    if rng.random() < 0.3:
        low, high = high, low
    clean = np.interp(np.arange(N * WINDOW) / WINDOW * 10, np.arange(x.size), low + (high - low) * x)
    clean += rng.uniform(0, 0.004) * np.sin(2 * np.pi * 50 * np.arange(N * WINDOW) * CONVERSION_S)
    supply = np.full(N * WINDOW, rail)
    truth = {"first": low, "second": high, "place": np.nan, "at": np.nan, "s": np.nan}
    return _spoil(rng, kind, clean, supply, np.interp(np.arange(N), np.arange(x.size) / 10, x), truth)


def _spoil(
    rng: np.random.Generator,
    kind: str,
    v: np.ndarray,
    supply: np.ndarray,
    x: np.ndarray,
    truth: dict[str, float],
) -> tuple[np.ndarray, np.ndarray, dict[str, float]]:
    depth, length = rng.uniform(0, 0.5), 10 ** rng.uniform(np.log10(5e-5), np.log10(0.02))
    if kind == "worn":
        place = rng.uniform(0.15, 0.85)
        windows = np.flatnonzero(np.diff(np.sign(x - place)) != 0)
        length, truth["place"] = min(length, 0.003), place
    elif kind == "loose":
        windows = rng.integers(50, N - 100, int(rng.integers(4, 12)))
    else:
        windows = rng.integers(50, N - 100, 1 if kind in ("single", "supply") else 0)
    for w in windows:
        a = int((w + rng.random()) * WINDOW)
        b = a + max(2, round(length / CONVERSION_S))
        v[a:b] *= depth
        if kind == "supply":
            supply[a:b] *= depth
        truth["at"], truth["s"] = w * WINDOW_S, length
    return v, supply, truth


def channel(rng: np.random.Generator, v: np.ndarray, noise_v: float) -> Channel:
    codes = np.round((v + rng.normal(0, noise_v, v.size).astype(np.float32)) / LSB_V) * LSB_V
    codes = codes.reshape(N, WINDOW)
    return Channel(codes.mean(axis=1), codes.min(axis=1), codes.max(axis=1))


def one(job: tuple[str, int]) -> dict[str, object]:
    """One sweep made and analysed: what was found, and what was true."""
    kind, seed = job
    rng = np.random.default_rng([KINDS.index(kind), seed])
    v, supply, truth = conversions(rng, kind)
    noise = rng.uniform(0.3, 2.0) * LSB_V
    t = Trace(
        t_s=np.arange(N) * WINDOW_S, signal_a=channel(rng, v, noise), signal_b=channel(rng, v / 2, noise),
        supply=channel(rng, supply, noise), window_s=WINDOW_S, n_per_window=WINDOW, lsb_v=LSB_V, full_scale_v=5.5,
        gap_before=np.zeros(N, bool),
    )  # fmt: skip
    began = time.perf_counter()
    a = analyse(t, starts=Starts.CLOSED, told_sense=Sense.UNKNOWN)
    took = time.perf_counter() - began
    ends = [
        (e.value_v - w, e.u_v)
        for e, w in zip((a.low, a.high), sorted((truth["first"], truth["second"])), strict=True)
        if e
    ]
    own = [e for e in a.events if e.channel != 1]
    worn = [f.where_percent for f in a.findings if f.code == "worn-place" and f.channel == 0]
    place = truth["place"] * 100 if truth["first"] < truth["second"] else 100 - truth["place"] * 100
    return {
        "kind": kind, "codes": sorted({str(f.code) for f in a.findings}), "event": bool(own), "ends": ends, "took": took,
        "plain": bool((np.abs(np.diff(t.signal_a.mean_v)) > PLAIN_JUMP_V).any()),
        "plain_ends": [a.plain.min_v - min(truth["first"], truth["second"]), a.plain.max_v - max(truth["first"], truth["second"])],
        "place_error": abs(np.mean(worn[0]) - place) if worn and worn[0] and kind == "worn" else None, "seed": seed,
    }  # fmt: skip


def rate(hits: int, n: int) -> str:
    low, high = clopper_pearson(hits, n)
    return f"{hits}/{n} = {100 * hits / n:.2f} % [{100 * low:.2f}, {100 * high:.2f}]"


def show(rows: list[dict[str, object]]) -> None:
    clean = [r for r in rows if r["kind"] == "clean"]
    print("false alarms, clean, ours :", rate(sum(bool(r["codes"]) for r in clean), len(clean)))
    print("false alarms, clean, plain:", rate(sum(bool(r["plain"]) for r in clean), len(clean)))
    print("seeds and codes of our false alarms:", [(r["seed"], r["codes"]) for r in clean if r["codes"]][:8])
    drops = [r for r in rows if r["kind"] in ("worn", "loose", "single", "supply")]
    print(
        "detected, at least half the signal for 50 us or more, ours :",
        rate(sum(bool(r["event"]) for r in drops), len(drops)),
    )
    print("detected, the same, plain:", rate(sum(bool(r["plain"]) for r in drops), len(drops)))
    print("missed seeds:", [(r["kind"], r["seed"]) for r in drops if not r["event"]][:8])
    for kind, code in WANTED.items():
        own = [r for r in rows if r["kind"] == kind]
        print(f"cause of {kind}: {code}", rate(sum(code in r["codes"] for r in own), len(own)))
        seen: dict[str, int] = {}
        for r in own:
            key = "+".join(r["codes"]) or "none"
            seen[key] = seen.get(key, 0) + 1
        print("   named:", seen)
    places = [r["place_error"] for r in rows if r["place_error"] is not None]
    print("place error of worn, % of span: median, 95 %:", np.quantile(places, (0.5, 0.95)).round(3))
    ends = np.array([e for r in rows for e in r["ends"]])
    print(
        "end error, mV: median, 95 %, max:", (1e3 * np.quantile(np.abs(ends[:, 0]), (0.5, 0.95, 1))).round(3)
    )
    plain = np.abs([e for r in rows for e in r["plain_ends"]])
    print("end error of plain min/max, mV: median, 95 %:", (1e3 * np.quantile(plain, (0.5, 0.95))).round(1))
    print("coverage of +-1.96 u:", rate(int((np.abs(ends[:, 0]) <= 1.96 * ends[:, 1]).sum()), len(ends)))
    print(
        "analysis, three channels, ms: median, 95 %:",
        (1e3 * np.quantile([r["took"] for r in rows], (0.5, 0.95))).round(1),
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    size = parser.add_mutually_exclusive_group()
    size.add_argument("--quick", action="store_true")
    size.add_argument("--full", action="store_true")
    parser.add_argument(
        "--first-seed", type=int, default=0, help="sweeps never used for tuning: 1000000 and up"
    )
    told = parser.parse_args()
    full, first = told.full, told.first_seed
    os.nice(10)
    jobs = [
        (k, first + s)
        for k in KINDS
        for s in range((10_000 if k == "clean" else 400) if full else (400 if k == "clean" else 60))
    ]
    with Pool(2) as pool:
        show(list(pool.imap_unordered(one, jobs, chunksize=8)))


if __name__ == "__main__":
    main()
