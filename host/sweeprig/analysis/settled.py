"""Encounters behind a filter: all that happens before the signal has come back is one, with the levels around it.

An input holds the level while a contact is open and lets it go with a time constant of some ms; a low pass before a
logger also comes back slowly. Levels between the lifts of one worn spot then say nothing about the lever. Own.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from sweeprig.analysis.model import FloatArray
from sweeprig.analysis.runs import BESIDE, Run, level_and_speed, line_of

STRAIGHT_S = 0.006  # s for which a signal that has settled goes straight on
SETTLES_S = 0.03  # s that a signal slows down for at most: five time constants of 6 ms. Own choice, no source
ASTRAY_S = 0.06  # s from an edge to where the signal left the path, or is back on it, at most; own choice
TOGETHER_S = 0.02  # s between two runs of one encounter, at most; own choice, no source
LONGEST_S = 0.12  # s of an encounter that is looked at as a whole: longer, a hand's path is no straight line
DEEP_PERCENT = 6.0  # % of supply: of an edge of an encounter; less is left as it is. Own choice, no source
MOST_LEFT = 4  # places that it may have left the path at
FEWEST = 4  # windows of a straight line
BEND = 0.25  # of the least edge, by which a straight line may bend
OFF = 0.5  # of the least edge, by which a level is off the path
ASTRAY_SHARE = 0.25  # of the edge: so far off the path a level is astray. Own choice, no source
STEP_BEND = (
    0.05  # of the edge, by which a signal bends before and after a step of the track at most; own choice
)
OFF_SHARE = 0.1  # of the depth of the encounter: so far off it is not back


class Scale(NamedTuple):
    """What counts as an edge, and times in windows."""

    limit: float  # [V] least edge
    window_s: float
    supply_v: float

    @property
    def deep_v(self) -> float:
        """Edge of a contact that opens [V]; less may be the texture of a track."""
        return DEEP_PERCENT / 100 * self.supply_v

    def windows(self, seconds: float) -> int:
        """Return a time in windows."""
        return round(seconds / self.window_s)

    @property
    def straight(self) -> int:
        """Windows of a straight line."""
        return max(FEWEST, self.windows(STRAIGHT_S))


def encounters_of(runs: list[Run], mean: FloatArray, scale: Scale) -> list[Run]:
    """Return the runs, those between which the signal never came back as one, to where it is back.

    Levels are those before the first and after the last of an encounter.
    """
    if not runs:
        return []
    out: list[Run] = []
    groups = _groups(runs, scale)
    ends = [group[0].start for group in groups[1:]] + [mean.size]
    for own, end in zip(groups, ends, strict=True):
        if max(_edge_v(run, mean) for run in own) < scale.deep_v:
            out += own
            continue
        free = (out[-1].stop if out else 0, end)
        out += _joined(_come_back(own, free, mean, scale), [run.stop for run in own], mean, scale.limit)
    return out


def settled(edge: int, end: int, mean: FloatArray, bend_v: float, scale: Scale) -> int:
    """First window from an edge to `end` from which on the signal goes straight on, and not back ever more slowly."""
    last = min(end, edge + scale.windows(SETTLES_S))
    for stop in range(edge, last):
        after = mean[stop : min(end, stop + scale.straight)]
        if after.size < FEWEST or not _slows_down(after, bend_v):
            return stop
    return last


def straight_before(start: int, least: int, mean: FloatArray, bend_v: float, scale: Scale) -> int:
    """Return the window before which the signal goes straight on, SETTLES_S before `start` and at `least` at most."""
    first = max(least, start - scale.windows(SETTLES_S))
    for at in range(start, first, -1):
        before = mean[max(0, at - scale.straight) : at]
        if before.size < FEWEST or _bend(before) <= bend_v:
            return at
    return first


def _slows_down(values: FloatArray, least_v: float) -> bool:
    """Whether values bend by more than that off a straight line, the second half slower than the first."""
    half = values.size // 2
    first, second = float(values[half] - values[0]), float(values[-1] - values[-1 - half])
    return _bend(values) > least_v and abs(first) > abs(second)


def _bend(values: FloatArray) -> float:
    """How far values leave the straight line from the first to the last [V]."""
    return float(np.abs(values - np.linspace(values[0], values[-1], values.size)).max())


def _groups(runs: list[Run], scale: Scale) -> list[list[Run]]:
    """Runs that follow one another closely, LONGEST_S in all at most."""
    near, longest = scale.windows(TOGETHER_S), scale.windows(LONGEST_S)
    out = [[runs[0]]]
    for run in runs[1:]:
        if run.start - out[-1][-1].stop <= near and run.stop - out[-1][0].start <= longest:
            out[-1].append(run)
        else:
            out.append([run])
    return out


def _edge_v(run: Run, mean: FloatArray) -> float:
    """How far a run leaves the level before it [V]."""
    return float(np.abs(np.append(mean[run.start : run.stop], run.after) - run.before).max())


def _to(run: Run, stop: int, mean: FloatArray) -> Run:
    """The run to where it has settled, with the level from there on."""
    after = mean[stop : stop + BESIDE].tolist()
    if stop == run.stop or not after:
        return run
    return run._replace(stop=stop, after=level_and_speed(after, -1)[0])


def _from(run: Run, start: int, mean: FloatArray) -> Run:
    """The run from where the signal left the path, with the level before."""
    if start == run.start:
        return run
    before = mean[max(0, start - BESIDE) : start].tolist()
    return run._replace(start=start, before=level_and_speed(before, 1)[0])


def _come_back(own: list[Run], free: tuple[int, int], mean: FloatArray, scale: Scale) -> list[Run]:
    """The runs of a group, from where the signal left the path to where it is back on it, where no edge shows that.

    A level that sinks with the movement, or slowly, leaves and comes back without one. `free`: windows that belong to
    no other group.
    """
    first, last = own[0], own[-1]
    off = min(_off(first, last, mean), _off_course(first.start, last.stop, mean))
    least = max(scale.limit, OFF_SHARE * off)
    deepest = max(_edge_v(run, mean) for run in own)
    if off <= max(least, ASTRAY_SHARE * deepest) or last.stop - first.start > scale.windows(LONGEST_S):
        return own
    beside = (
        mean[max(0, first.start - scale.straight) : first.start],
        mean[last.stop : last.stop + scale.straight],
    )
    if all(part.size and _bend(part) <= max(BEND * scale.limit, STEP_BEND * deepest) for part in beside):
        return own  # a step: the signal goes straight on at both levels
    starts = [first.start, *_left_at(first.start, free[0], mean, scale)]
    stops = [last.stop, *_back_at(last.stop, free[1], mean, scale)]
    tried = sorted(((a, b) for a in starts for b in stops), key=lambda span: span[1] - span[0])
    for start, stop in tried[1:]:
        earlier, later = _from(first, start, mean), _to(last, stop, mean)
        whole = earlier._replace(stop=stop, after=later.after)
        astray = np.abs(mean[start:stop] - line_of(whole))
        astray[first.start - start : last.stop - start] = 0.0
        if _off(earlier, later, mean) <= least and float(astray.max()) > ASTRAY_SHARE * deepest:
            return _spanning(own, earlier, later)
    return own


def _spanning(own: list[Run], first: Run, last: Run) -> list[Run]:
    """The runs of a group that begins and ends further out."""
    if len(own) == 1:
        return [first._replace(stop=last.stop, after=last.after, paired=True)]
    return [first._replace(paired=True), *own[1:-1], last._replace(paired=True)]


def _left_at(start: int, least: int, mean: FloatArray, scale: Scale) -> list[int]:
    """Windows, at most MOST_LEFT, before which a signal goes straight on and after which it does not; latest first."""
    out, before = [], True
    for at in range(start - 1, max(least, start - scale.windows(ASTRAY_S)), -1):
        straight = _is_straight(mean[max(least, at - scale.straight) : at], scale)
        if straight and not before:
            out.append(at)
        before = straight
    return out[:MOST_LEFT]


def _back_at(stop: int, most: int, mean: FloatArray, scale: Scale) -> list[int]:
    """Windows from which on a signal goes straight on, some windows from one to the next."""
    out: list[int] = []
    for at in range(stop + 1, min(most, stop + scale.windows(ASTRAY_S))):
        apart = not out or at - out[-1] >= scale.straight // 2
        if apart and _is_straight(mean[at : min(most, at + scale.straight)], scale):
            out.append(at)
    return out


def _is_straight(values: FloatArray, scale: Scale) -> bool:
    return values.size >= FEWEST and _bend(values) <= BEND * scale.limit


def _off(first: Run, last: Run, mean: FloatArray) -> float:
    """How far the level after is from where the movement on both sides would have taken that before [V]."""
    into = level_and_speed(mean[max(0, first.start - BESIDE) : first.start].tolist(), 1)[1]
    out = level_and_speed(mean[last.stop : last.stop + BESIDE].tolist(), -1)[1]
    return abs(last.after - first.before - (into + out) / 2 * (last.stop - first.start))


def _off_course(start: int, stop: int, mean: FloatArray) -> float:
    """How far the first window after is from where the movement before leads [V]: that may stop soon after."""
    if start < 1 or stop >= mean.size:
        return np.inf
    speed = level_and_speed(mean[max(0, start - BESIDE) : start].tolist(), 1)[1]
    return abs(float(mean[stop] - mean[start - 1]) - speed * (stop - start + 1))


def _joined(own: list[Run], edges: list[int], mean: FloatArray, limit: float) -> list[Run]:
    """The runs of one group, joined where the level between two is off the line around all; `edges`: their own."""
    whole = own[0]._replace(stop=own[-1].stop, after=own[-1].after)
    off = np.abs(mean[whole.start : whole.stop] - line_of(whole))
    least = max(OFF * limit, OFF_SHARE * float(off.max()))
    out = [own[0]]
    for edge, run in zip(edges, own[1:], strict=False):
        between = off[edge - whole.start : run.start - whole.start]
        if between.size and float(np.median(between)) <= least:
            out.append(run)
            continue
        out[-1] = out[-1]._replace(stop=run.stop, after=run.after, paired=out[-1].paired or run.paired)
    return out
