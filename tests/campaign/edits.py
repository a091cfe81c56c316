"""Captures changed by somebody who knows what a verdict is made of, digests made anew."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from random import Random

import numpy as np
from tests.campaign.files import whole_way
from tests.campaign.tally import Attack, Try

from sweepboard import wire
from sweeprig.bench.review.review import review_file
from sweeprig.capture.file import pack
from sweeprig.capture.model import Capture, Hookup
from sweeprig.judge.model import Verdict
from sweeprig.link.messages import Gap
from sweeprig.twin.capture import capture_of

Edit = Callable[[Capture, np.ndarray, Random], Capture]
DROP_CODES, DROP_SUM = 1000, 2000  # of a dropout of two conversions, which the mean of a window hardly shows


def _worn(seed: int) -> tuple[Capture, np.ndarray]:
    """Return a capture with a short dropout at one place of every stroke, and the rows that hold them."""
    capture = capture_of("good", seed=seed)
    records = capture.records
    mean = records.sums[:, 0] / capture.window
    low, high = np.quantile(mean, (0.02, 0.98))
    rows = np.flatnonzero(np.diff(np.sign(mean - low - 0.3 * (high - low))) != 0)
    mins, sums = records.mins.copy(), records.sums.copy()
    mins[rows, 0] -= np.minimum(mins[rows, 0], DROP_CODES).astype(np.uint16)
    sums[rows, 0] -= DROP_SUM
    return replace(capture, records=replace(records, mins=mins, sums=sums)), rows


def _exchanged(capture: Capture, rows: np.ndarray, _: Random) -> Capture:
    r = capture.records
    mins, maxs = r.mins.copy(), r.maxs.copy()
    mins[rows], maxs[rows] = maxs[rows].copy(), mins[rows].copy()
    return replace(capture, records=replace(r, mins=mins, maxs=maxs))


def _above_mean(capture: Capture, rows: np.ndarray, random: Random) -> Capture:
    mins = capture.records.mins.copy()
    mean = (capture.records.sums[rows] // capture.window).astype(np.uint16)
    mins[rows] = np.minimum(mean + np.uint16(random.choice((1, 3, 100))), wire.CODE_MASK)
    return replace(capture, records=replace(capture.records, mins=mins))


def _flagged(capture: Capture, rows: np.ndarray, random: Random) -> Capture:
    flags = capture.records.flags.copy()
    flags[rows] ^= np.uint16(1 << random.randrange(16))
    return replace(capture, records=replace(capture.records, flags=flags))


def _removed(capture: Capture, rows: np.ndarray, _: Random) -> Capture:
    keep = np.ones(len(capture.records), bool)
    keep[rows] = False
    return replace(capture, records=capture.records[keep])


def _with_gaps(capture: Capture, rows: np.ndarray, random: Random) -> Capture:
    gaps = tuple(Gap(int(row), random.choice((1, 2, 50)), random.randrange(1, 5)) for row in rows)
    return replace(capture, gaps=gaps)


def _tapped(capture: Capture, _: np.ndarray, _random: Random) -> Capture:
    return replace(capture, setup=replace(capture.setup, hookup=Hookup.TAPPED))


EDITS: tuple[Edit, ...] = (_exchanged, _above_mean, _flagged, _removed, _with_gaps, _tapped)


def captures_records(folder: Path) -> Try:
    """A worn capture with records, flags or gaps changed where its dropouts are, or everywhere: it never passes."""
    del folder
    worn = [_worn(seed) for seed in range(3)]

    def attempt(random: Random, own: Path) -> str:
        capture, rows = random.choice(worn)
        for _ in range(random.choice((1, 1, 2))):
            where = rows if random.random() < 0.8 else np.arange(len(capture.records))
            capture = random.choice(EDITS)(capture, where[where < len(capture.records)], random)
        file = own / "a.sweep"
        file.write_bytes(pack(capture))
        outcome = review_file(file)
        whole_way(outcome)
        return "it passes" if outcome.judgement.verdict is Verdict.PASS else ""

    return attempt


ATTACKS: dict[str, Attack] = {"captures, records": captures_records}
