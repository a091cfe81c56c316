"""A place that the strokes of one direction meet and those of the other do not: a wiper that tilts as it turns back."""

from __future__ import annotations

import math

from sweeprig.analysis.detection_power import CLUSTER_P
from sweeprig.analysis.gathered import Gathered, inside
from sweeprig.analysis.model import Event

FEWEST = 3  # strokes
SHARE = 0.75  # of the strokes of that direction that pass the place
LEAST_PERCENT = 2.0  # of travel: how far from one another events count as at one place, at least


def passes_one_way(own: tuple[Event, ...], at: Gathered, n_passes: int) -> int | None:
    """Strokes of one direction over a place that nearly all of these meet, and none of the other; None where not so.

    `own`: all events that are left, with those elsewhere; `n_passes`: strokes over it, either way. Strokes follow one
    another to and fro, so those of one direction have even or odd numbers. Nor where chance alone would gather as many
    events as each of these strokes has within one place in CLUSTER_P of all sweeps.
    """
    met = {e.stroke for e in own if e.stroke is not None and inside(e, at.where)}
    if len(met) < FEWEST or len({k % 2 for k in met}) > 1:
        return None
    n = max(len(met), (n_passes + 1) // 2)
    if len(met) < SHARE * n or chance_of(own, met, n, at) > CLUSTER_P:
        return None
    return n


def chance_of(own: tuple[Event, ...], met: set[int], n: int, at: Gathered) -> float:
    """Chance, at most, that these strokes, any so many of n, meet one place by themselves, of either direction."""
    way = min(met) % 2
    width = max(LEAST_PERCENT, at.where[1] - at.where[0]) / 100
    counts = sorted(sum(1 for e in own if e.stroke == k and not e.at_rest) or 1 for k in met if k % 2 == way)
    each = [1 - (1 - min(1.0, 2 * width)) ** k for k in counts]
    return 2 * math.comb(n, len(met)) * counts[-1] * math.prod(each[:-1])
