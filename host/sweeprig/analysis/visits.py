"""Which rests are at a stop: of each visit to an end the outermost rest, and of the visits those that agree."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from sweeprig.analysis.model import FloatArray, Rest

REACH = 0.10  # of the way between the turning points: what belongs to one visit of an end
PAUSE = 0.005  # of the way: a rest further in than this from the outermost of its visit is a pause
AGREE = 0.005  # of the way: visits this near each other met the same stop
FIRST_PART = 256  # windows
STOP = 0.02  # of the way: a visit that ends further in than this did not reach the stop


@dataclass(frozen=True)
class TurningPoint:
    """A turning point of the lever."""

    at: int  # index of its window
    level_v: float
    low: bool  # the signal rises from here


@dataclass(frozen=True)
class Visit:
    """One visit of an end, from coming near to going away."""

    low: bool
    level_v: float  # of its outermost rest, else of its turning point
    rests: tuple[int, ...]  # numbers of the rests at that level
    pauses: tuple[int, ...] = ()  # of those further in
    turn_v: float = 0.0  # of its turning point
    turn_at: int = 0  # index of its window


@dataclass(frozen=True)
class Stop:
    """What the visits of one end met."""

    agree: int  # visits that met it
    visits: tuple[Visit, ...]  # at it, in order of time
    short: tuple[Visit, ...]  # that turned round further in
    passed: int = 0  # visits that turned round further out
    passed_v: float = 0.0  # by how much the furthest of them
    held_short_v: float = (
        0.0  # [V] by how much a visit between others came to rest before it, at most; 0: none did
    )


def turns_of(values: FloatArray, least: float) -> tuple[TurningPoint, ...]:
    """Alternating extremes of `values` (n,) at least `least` apart."""
    best = {1: 0, -1: 0}  # index of the highest and of the lowest value since the last turn
    turns: list[TurningPoint] = []
    direction = 0
    for i, v in enumerate(values.tolist()):
        for way in (1, -1) if direction == 0 else (direction,):
            ahead = way * (v - values[best[way]])
            if ahead > 0:
                best[way] = i
            elif -ahead >= least:
                turns.append(TurningPoint(best[way], float(values[best[way]]), way < 0))
                direction, best[-way] = -way, i
                break
    if not turns:
        return ()
    last = best[direction]
    return (*turns, TurningPoint(last, float(values[last]), direction < 0))


def visits_of(
    path: FloatArray, turns: tuple[TurningPoint, ...], rests: tuple[Rest, ...]
) -> tuple[Visit, ...]:
    """One visit for each turning point."""
    if len(turns) < 2:
        return ()
    way = _way([t.level_v for t in turns])
    return tuple(_visit(path, t, rests, way) for t in turns)


def _visit(path: FloatArray, turn: TurningPoint, rests: tuple[Rest, ...], way: float) -> Visit:
    first, last = _near(path, turn, REACH * way)
    own = [k for k, r in enumerate(rests) if first <= (r.start + r.stop) // 2 < last]
    if not own:
        return Visit(turn.low, turn.level_v, (), turn_v=turn.level_v, turn_at=turn.at)
    outward = -1.0 if turn.low else 1.0
    outermost = max(own, key=lambda k: outward * rests[k].value_v)
    level = rests[outermost].value_v
    at = tuple(k for k in own if abs(rests[k].value_v - level) <= PAUSE * way)
    return Visit(turn.low, level, at, tuple(k for k in own if k not in at), turn.level_v, turn.at)


def _near(path: FloatArray, turn: TurningPoint, reach: float) -> tuple[int, int]:
    """Windows around a turning point that stay within `reach` of it."""
    before, after = (
        _stays(values, turn.level_v, reach) for values in (path[: turn.at][::-1], path[turn.at :])
    )
    return turn.at - before, turn.at + after


def _stays(values: FloatArray, level_v: float, reach: float) -> int:
    """How many of the values, from the first on, stay within `reach` of a level; looked at in ever longer parts."""
    done, size = 0, FIRST_PART
    while done < values.size:
        away = np.flatnonzero(np.abs(values[done : done + size] - level_v) > reach)
        if away.size:
            return done + int(away[0])
        done, size = done + size, 2 * size
    return int(values.size)


def stop_of(visits: tuple[Visit, ...], *, low: bool) -> Stop | None:
    """Return the outermost level that two visits agree on, else the outermost; None without a rest there."""
    own = [v for v in visits if v.low == low]
    rested = [v for v in own if v.rests]
    if not rested:
        return None
    way = _way([v.level_v for v in visits])
    met = _met(own, way)
    at = _outermost([v for v, n in zip(own, met, strict=True) if v.rests and n > 1] or rested, low)
    there = [bool(v.rests) and abs(v.level_v - at.level_v) <= STOP * way for v in own]
    near = tuple(v for v, is_there in zip(own, there, strict=True) if is_there)
    short = tuple(v for v, is_there in zip(own, there, strict=True) if not is_there)
    passed = [out for v in own if (out := (at.level_v - v.turn_v) * (1 if low else -1)) > STOP * way]
    held_v = _held(short, visits, at.level_v, way)
    return Stop(met[own.index(at)], near, short, len(passed), max(passed, default=0.0), held_v)


def _held(short: tuple[Visit, ...], visits: tuple[Visit, ...], level_v: float, way: float) -> float:
    """How far short of a stop a visit rested that is not the first nor the last: there a capture begins or ends.

    One that turned round nearer to the stop than STOP may have touched it.
    """
    inner = [v for v in short if v.rests and v not in (visits[0], visits[-1])]
    depths = [min(abs(v.level_v - level_v), abs(v.turn_v - level_v)) for v in inner]
    return max((d for d in depths if STOP * way < d <= REACH * way), default=0.0)


def _met(own: list[Visit], way: float) -> list[int]:
    """How many visits met the level of each: with their rests, or turned round there, far further out than those."""
    levels, turns = (np.array(x) for x in zip(*((v.level_v, v.turn_v) for v in own), strict=True))
    turned = np.abs(turns - levels) > STOP * way
    return [
        int(
            np.count_nonzero(
                (np.abs(levels - v) <= AGREE * way) | (turned & (np.abs(turns - v) <= AGREE * way))
            )
        )
        for v in levels
    ]


def _way(levels: list[float]) -> float:
    return max(levels) - min(levels)


def _outermost(visits: list[Visit], low: bool) -> Visit:
    return min(visits, key=lambda v: v.level_v if low else -v.level_v)


def placed(rests: tuple[Rest, ...], low: Stop | None, high: Stop | None) -> tuple[Rest, ...]:
    """Return the rests with their place and the number of their visit; pauses on the way are in the middle."""
    out = list(rests)
    for place, stop in (("low", low), ("high", high)):
        for number, visit in enumerate(stop.visits if stop is not None else ()):
            for k in visit.rests:
                out[k] = replace(rests[k], place=place, visit=number)
    return tuple(out)
