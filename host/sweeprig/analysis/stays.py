"""A signal that jumps away at one place and comes back there, stroke after stroke: a track that is open beyond it.

A plug or wire that comes off does so anywhere; a lever that passes one place in every stroke and finds nothing beyond
it has a track that ends there, or a Hall output that goes round to its other end.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from statistics import median

from sweeprig.analysis.events import RawEvent
from sweeprig.analysis.model import FloatArray
from sweeprig.analysis.runs import EDGE, is_level
from sweeprig.analysis.unplugged import Off

JUMP_PERCENT = 10.0  # % of supply of either edge. Own choice, no source
MOVED_PERCENT = 10.0  # % of supply that a lever may have moved from leaving to coming back
AGREE_PERCENT = 2.0  # % of supply between the levels of two stays
FEWEST = 2
LONG_S = 0.1  # s: longer than a contact bounces. Own choice, no source
MOST_ODD = 0.25  # share of the stays that may be at another level


def with_stays(
    raw: tuple[RawEvent, ...], mean_v: FloatArray, *, supply_v: float, window_s: float
) -> tuple[RawEvent, ...]:
    """Return the events, each pair of steps that leaves and comes back at the place of all of them made one event."""
    percent = supply_v / 100
    edges = [e for e in raw if e.step and e.stop - e.start <= EDGE]
    steps = [e for e in edges if abs(e.depth_v) >= JUMP_PERCENT * percent]
    pairs = [
        (left, back)
        for left, back in pairwise(steps)
        if left.depth_v * steps[0].depth_v > 0
        and _is_stay(left, back, mean_v, moved_v=MOVED_PERCENT * percent)
    ]  # the first step leaves: what a capture begins with is the path
    same = _at_one_level(pairs, AGREE_PERCENT * percent)
    if len(same) < FEWEST or len(same) < (1 - MOST_ODD) * len(pairs):
        return raw
    stays = [_stay(*pair, window_s) for pair in same]
    others = [e for e in raw if not any(s.start <= e.start < s.stop for s in stays)]
    return tuple(sorted([*others, *stays], key=lambda e: e.start))


def _before(e: RawEvent) -> float:
    """Level before a step, whose path is the middle of the levels around it [V]."""
    return e.path_v - e.depth_v / 2


def _after(e: RawEvent) -> float:
    return e.path_v + e.depth_v / 2


def _is_stay(left: RawEvent, back: RawEvent, mean_v: FloatArray, *, moved_v: float) -> bool:
    returns = left.depth_v * back.depth_v < 0 and abs(_before(left) - _after(back)) <= moved_v
    edge_v = min(abs(left.depth_v), abs(back.depth_v))
    return returns and is_level(mean_v[left.stop : back.start], edge_v)


def _at_one_level(pairs: list[tuple[RawEvent, RawEvent]], near_v: float) -> list[tuple[RawEvent, RawEvent]]:
    """The stays whose levels, lower and higher of before and after, are those of the most, none within another."""
    if not pairs:
        return []
    levels = [sorted((_before(left), _after(back))) for left, back in pairs]
    usual = [median(side) for side in zip(*levels, strict=True)]
    out: list[tuple[RawEvent, RawEvent]] = []
    for pair, own in zip(pairs, levels, strict=True):
        free = not out or pair[0].start > out[-1][1].start
        if free and all(abs(a - b) <= near_v for a, b in zip(own, usual, strict=True)):
            out.append(pair)
    return out


def _stay(left: RawEvent, back: RawEvent, window_s: float) -> RawEvent:
    seconds = (back.start - left.stop + 1) * window_s
    path_v = (_before(left) + _after(back)) / 2
    return replace(left, stop=back.stop, duration_s=seconds, path_v=path_v, step=False)


def without_stays(
    runs: tuple[Off, ...], raw: tuple[RawEvent, ...], *, supply_v: float, window_s: float
) -> tuple[Off, ...]:
    """Return the times at a rail; none is off for good where long events at one level, again and again, hold all."""
    long = [e for e in raw if not e.step and (e.stop - e.start) * window_s >= LONG_S]
    level = median([e.path_v for e in long]) if long else 0.0
    same = [e for e in long if abs(e.path_v - level) <= AGREE_PERCENT / 100 * supply_v]
    held = [any(e.start <= r.start + 3 and e.stop >= r.stop - 3 for e in same) for r in runs]
    if len(same) < FEWEST or not all(h for h, r in zip(held, runs, strict=True) if r.lasts):
        return runs
    return tuple(replace(r, lasts=False) for r in runs)
